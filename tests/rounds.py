"""One simulated round that the tests of rounds share, so that it is made and read once."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.stretch import rim_map
from hoopwise.drum import Drum, load_drum
from hoopwise.infer.fit.answers import Answers
from hoopwise.infer.head.even_head import SLIDE
from hoopwise.infer.round_fit import fit_round
from hoopwise.infer.taps.takes import TapAtRod, take_in
from hoopwise.infer.taps.together import hear_together
from hoopwise.infer.taps.visits import CutTap
from hoopwise.infer.types import Ask, Reading, RodReading, SecondAnswer, Trust, TrustLevel
from hoopwise.listen.types import Note
from hoopwise.plan.turns import Gain, Response
from hoopwise.render.practice import PracticeDrum, practice_drum

TOM = load_drum("tom-14x14")
SNARE = load_drum("snare-14x5.5")
TAPS = 3
LEAD_S = 0.3


@lru_cache(maxsize=1)
def practice() -> PracticeDrum:
    """An uneven tom of 8 rods."""
    return practice_drum(TOM, "batter", 1)


@lru_cache(maxsize=1)
def sounds() -> dict[int, list[NDArray[np.float64]]]:
    """Three taps at each of its rods."""
    state, rng = practice(), np.random.default_rng(1)
    return {rod: [state.tap(rod, rng=rng) for _ in range(TAPS)] for rod in range(1, 9)}


def cut(sequence: list[tuple[int, int]], gap_s: float = 1.2) -> list[CutTap]:
    """Taps (rod, which of its three) as cut from one recording, evenly spaced."""
    rate = float(practice().rate)
    return [
        CutTap(sounds()[rod][which], rate, LEAD_S, gap_s * place)
        for place, (rod, which) in enumerate(sequence)
    ]


def fitted(drum: Drum, made: Sequence[TapAtRod]) -> Answers:
    """What is made of a round of taps on a batter head, the other one off."""
    takes, joint = hear_together(take_in(made, drum.rods), "off")
    return fit_round(drum, "batter", takes.usable, joint, "off", None).answers


def response(drum: Drum = SNARE, tension: float = 3500.0, gain: float = 1.0) -> Response:
    """How a batter head answers turns."""
    rim = rim_map(drum, "batter", slide=SLIDE)
    return Response(rim, drum.thread_pitch_m, tension, Gain(gain))


def told(
    level: TrustLevel = "high",
    rods: int = 8,
    note_hz: float = 90.0,
    tension: float = 1800.0,
    misfit: float = 1.0,
) -> Reading:
    """A reading made up for tests of what is said about it."""
    return Reading(
        rods=tuple(RodReading(rod, 0.1 * (-1) ** rod, 0.01, 2) for rod in range(1, rods + 1)),
        mean_tension_n_m=tension,
        mean_tension_sd_n_m=0.03 * tension,
        note=Note(note_hz, 0.1, 0.5, 0.0),
        modes=(),
        beats_hz=(),
        trust=Trust(level, ("The taps fit one answer.",), misfit),
        advice=(),
    )


def asking(reading: Reading, odds: float, second: tuple[float, ...] = (0.0,) * 8) -> Reading:
    """The same with a second answer that a turn of rod 3 would decide."""
    ask = Ask("trial turn", 3, 1 / 16, "Tighten rod 3 by 1/16 turn and tap the round again.")
    return replace(
        reading,
        trust=replace(reading.trust, level="low"),
        ask=ask,
        advice=("Tap 4 at rod 2 was left out: double hit.", ask.sentence),
        second_answer=SecondAnswer(second, odds),
    )
