"""Which mode an ear takes for the note: the low note, the edge ring, and when they mislead.

The edge ring is the mode that sounds loudest in the two octaves above the low note. How
loud a mode sounds is taken as its B-weighted energy over the first 0.3 s: B is the curve
for moderate levels, such as a tap's, and 0.3 s about what an ear adds up before it names a
pitch. It is a rule for warnings, not for measuring.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from hoopwise.listen.types import Mode, Note
from hoopwise.units import decay_rate, decibels, spoken_note

EAR_WINDOW_S: Final = 0.3
_SAME_MODE: Final = 0.05
"""A mode this near the settled note, as a fraction, is the note."""
_BESIDE: Final = 0.1
_NEXT_MODE: Final = 1.15
"""The edge ring lies at least this far above the note; less is the note's own split pair."""
_HIGHEST_RING: Final = 4.0
_HEARD_AS_PITCH_S: Final = 0.12
"""What dies away sooner is heard as part of the strike, not as a pitch."""
_OUTLASTS: Final = 1.5
_RIVAL_DB: Final = -6.0
QUIETEST_DB: Final = -60.0


@dataclass(frozen=True)
class Roles:
    """What the modes of a hit are to an ear; indices into its modes."""

    ear_db: tuple[float, ...]
    """How loud each mode sounds, dB relative to the one that sounds loudest."""
    low_note: int | None
    edge_ring: int | None
    warning: str | None
    """Why an ear could be misled; None when the low note stands out."""


def b_weighting_db(frequency_hz: float) -> float:
    """Gain in dB of the B-weighting (IEC 60651:1979, annex B, from its pole frequencies).

    Examples
    --------
    >>> abs(round(b_weighting_db(1000.0), 1))
    0.0
    """
    square = frequency_hz**2
    top = 12194.22**2 * square * frequency_hz
    middle = math.sqrt(square + 158.49**2)
    return decibels(top / ((square + 20.60**2) * middle * (square + 12194.22**2))) + 0.17


def sounding_db(mode: Mode) -> float:
    """B-weighted energy of a mode over the first 0.3 s, in dB of amplitude squared times s."""
    rate = 2.0 * decay_rate(mode.t60_s)
    energy = mode.amplitude**2 / 2.0 * -math.expm1(-rate * EAR_WINDOW_S) / rate
    return decibels(math.sqrt(energy)) + b_weighting_db(mode.frequency_hz)


def roles(modes: Sequence[Mode], note: Note | None) -> Roles:
    """Tell the low note and the edge ring among the modes of a hit."""
    if not modes:
        return Roles((), None, None, None)
    sounding = [sounding_db(mode) for mode in modes]
    ear_db = tuple(max(QUIETEST_DB, level - max(sounding)) for level in sounding)
    low = mode_at(modes, note.frequency_hz) if note else None
    if note is None or low is None:
        return Roles(ear_db, low, None, None)
    above = [
        i
        for i, mode in enumerate(modes)
        if _NEXT_MODE < mode.frequency_hz / note.frequency_hz < _HIGHEST_RING
        and mode.t60_s > _HEARD_AS_PITCH_S
    ]
    edge = max(above, key=lambda i: ear_db[i], default=None)
    warning = (
        None if edge is None else _warning(modes[edge], modes[low], ear_db[edge] - ear_db[low])
    )
    return Roles(ear_db, low, edge, warning)


def mode_at(modes: Sequence[Mode], frequency_hz: float) -> int | None:
    """Index of the mode nearest to a note, within 5 %; None when there is none.

    Quiet ones beside a much stronger one do not count: they are what a glide leaves over.
    """
    near = [i for i, m in enumerate(modes) if abs(m.frequency_hz / frequency_hz - 1.0) < _SAME_MODE]
    strongest = max((modes[i].amplitude for i in near), default=0.0)
    strong = [i for i in near if modes[i].amplitude >= _BESIDE * strongest]
    return min(strong, key=lambda i: abs(modes[i].frequency_hz - frequency_hz), default=None)


def _warning(edge: Mode, low: Mode, louder_db: float) -> str | None:
    where = f"the edge ring at {edge.frequency_hz:.0f} Hz ({spoken_note(edge.frequency_hz)})"
    if louder_db > 0.0:
        return (
            f"An ear may take {where} for the note: it sounds {louder_db:.0f} dB louder than "
            f"the low note at {low.frequency_hz:.0f} Hz."
        )
    if louder_db > _RIVAL_DB and edge.t60_s > _OUTLASTS * low.t60_s:
        return (
            f"An ear may take {where} for the note: it rings {edge.t60_s / low.t60_s:.1f} "
            f"times as long as the low note at {low.frequency_hz:.0f} Hz."
        )
    return None
