"""The two-head chart: low note and ring of a drum over both heads' tensions."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.heads import heads_of
from hoopwise.acoustics.limits import YIELD_STRESS_PA, check_drum
from hoopwise.acoustics.low_note import head_notes, low_notes
from hoopwise.drum import Drum, Film
from hoopwise.errors import RangeError

Floats = NDArray[np.float64]

SIZE: Final = 60
LOADS: Final = (0.01, 0.7)
"""Part of the film's elastic limit at the chart's edges: slack, and where advice ends."""


@dataclass(frozen=True)
class TwoHeadChart:
    """Maps over B batter tensions (rows) and S second-head tensions (columns)."""

    batter_tension_n_m: Floats
    """(B,)."""
    second_tension_n_m: Floats
    """(S,)."""
    batter_note_hz: Floats
    """(B,) each head's own note: its (0,1), the other head held still."""
    second_note_hz: Floats
    note_hz: Floats
    """(B, S) low note of the drum."""
    ring_s: Floats
    """(B, S) its ring time."""
    batter_share: Floats
    """(B, S) part of its motion that the batter carries."""


def two_head_chart(drum: Drum, size: int = SIZE) -> TwoHeadChart:
    """Chart of a drum with two heads, ``size`` tensions each, evenly spaced by ratio.

    Raises
    ------
    RangeError
        The drum has one head only, or lies outside the model.
    """
    if drum.second is None:
        raise RangeError(f"{drum.name} has one head; a two-head chart needs both.")
    check_drum(drum)  # before a film of no thickness spoils the spacing
    batter, second = _tensions(drum.batter.film, size), _tensions(drum.second.film, size)
    pairs = np.stack(np.meshgrid(batter, second, indexing="ij"), axis=-1).reshape(-1, 2)
    found = low_notes(heads_of(drum, True, True), pairs)
    shape = (size, size)
    return TwoHeadChart(
        batter_tension_n_m=batter,
        second_tension_n_m=second,
        batter_note_hz=head_notes(drum, "batter", batter),
        second_note_hz=head_notes(drum, drum.second_side, second),
        note_hz=found.frequency_hz.reshape(shape),
        ring_s=found.t60_s.reshape(shape),
        batter_share=found.first_share.reshape(shape),
    )


def _tensions(film: Film, size: int) -> Floats:
    limit = YIELD_STRESS_PA * film.thickness_m
    return np.asarray(np.geomspace(LOADS[0] * limit, LOADS[1] * limit, size))
