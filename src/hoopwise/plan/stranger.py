"""Whether a round can be of the drum that the drum file describes.

A drum of another size can sound like this one at another tension, so agreement proves
nothing. What speaks against it is a low note that no such head has, or taps that no
tensions of this head explain.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from hoopwise.acoustics.heads import heads_of
from hoopwise.acoustics.limits import film_limit_n_m
from hoopwise.acoustics.low_note import low_notes
from hoopwise.drum import Drum, Side
from hoopwise.infer.types import OtherHead, Reading, Trust
from hoopwise.render.build import usual_tension
from hoopwise.units import spoken_note

_USUAL_TIMES: Final = 6.0
"""Heads are played within this factor of a usual tension, each way (an estimate, no source)."""
_LEEWAY: Final = 1.12
"""The other head, ringing, moves the low note by up to so much."""
_NO_FIT: Final = 2.0
_BAD_MISFIT: Final = 3.5
_FEW_KINDS: Final = 5


@dataclass(frozen=True)
class Doubt:
    """What speaks against this drum, in one sentence."""

    sentence: str
    certain: bool
    """Such a head cannot sound like this, so its tensions are not told either."""


def doubt(drum: Drum, side: Side, other_head: OtherHead, reading: Reading) -> Doubt | None:
    """The reason to think that another drum was tapped; None without one."""
    trust = reading.trust
    lowest, highest = _tension_reach_n_m(drum, side)
    if trust.level == "high" and lowest <= reading.mean_tension_n_m <= highest:
        return None
    name = f"{drum.name} ({side.replace('_', ' ')})"
    start = f"These taps do not sound like {name}: "
    end = " Check the drum file (diameter, film), which head was tapped, and the recording."
    low, high = note_reach_hz(drum, side, other_head)
    note = reading.note.frequency_hz
    if not low / _LEEWAY <= note <= high * _LEEWAY:
        return Doubt(
            f"{start}a head of its size and film sounds from {_said(low)} to {_said(high)}, and "
            f"the low note of this round is {_said(note)}.{end}",
            certain=trust.level == "none" or trust.misfit >= _NO_FIT,
        )
    if trust.level == "none":
        return None
    if not lowest <= reading.mean_tension_n_m <= highest:
        usual = usual_tension(drum, side)
        return Doubt(
            f"{start}they would need a mean tension of {reading.mean_tension_n_m:.0f} N/m, where "
            f"such a head is played near {usual:.0f} N/m.{end}",
            certain=trust.level == "low",
        )
    kinds = {(m.diameters, m.circles) for m in reading.modes if m.diameters is not None}
    if trust.misfit >= _BAD_MISFIT and len(kinds) <= _FEW_KINDS:
        return Doubt(
            f"{start}no tensions of its rods explain them, and only {len(kinds)} of its kinds of "
            f"ring are there.{end}",
            certain=False,
        )
    if trust.misfit >= _NO_FIT:
        return Doubt(
            f"Is it {name} that was tapped? No tensions of its rods explain these taps well.{end}",
            certain=False,
        )
    return None


def note_reach_hz(drum: Drum, side: Side, other_head: OtherHead) -> tuple[float, float]:
    """Lowest and highest low note (Hz) that such a head is played at, or can bear."""
    reach = np.array(_tension_reach_n_m(drum, side))[:, None]
    shells = [False] if other_head == "off" or drum.second is None else [False, True]
    # A head on the other end lies, as it gives way, between none and one held still.
    notes = [
        low_notes(heads_of(drum, side == "batter", side != "batter", held=h), reach).frequency_hz
        for h in shells
    ]
    return float(notes[0][0]), float(notes[-1][1])


def _tension_reach_n_m(drum: Drum, side: Side) -> tuple[float, float]:
    usual, limit = usual_tension(drum, side), film_limit_n_m(drum.head(side).film)
    return usual / _USUAL_TIMES, min(usual * _USUAL_TIMES, limit)


def with_doubt(reading: Reading, found: Doubt) -> Reading:
    """The reading with the doubt before its other sentences."""
    if found.certain:
        unknown = float("nan")
        return replace(
            reading,
            rods=tuple(replace(r, deviation=0.0, deviation_sd=math.inf) for r in reading.rods),
            mean_tension_n_m=unknown,
            mean_tension_sd_n_m=unknown,
            trust=Trust("none", (found.sentence,), reading.trust.misfit),
            advice=(),
            ask=None,
            second_answer=None,
            deviation_cov=(),
        )
    return with_low_trust(reading, found.sentence)


def with_low_trust(reading: Reading, sentence: str) -> Reading:
    """The reading with low trust, and the reason before its other sentences."""
    trust = Trust(
        "low", (sentence, *reading.trust.sentences), reading.trust.misfit,
        reading.trust.sure_harmonics,
    )  # fmt: skip
    return replace(reading, trust=trust)


def _said(frequency_hz: float) -> str:
    return f"{frequency_hz:.0f} Hz ({spoken_note(frequency_hz)})"
