"""A scripted engine for the bench: its drum's unevenness is known, its answers are quick.

It stands in for listening and inference where a test is about the bench itself. The
deviations follow the turns by a known gain; nothing is inferred from the samples except
that they hold sound.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from hoopwise.bench.engine import Practice, Samples, Take, Work
from hoopwise.drum import Drum, Side
from hoopwise.errors import RoundError
from hoopwise.infer.types import (
    Ask,
    HeadMode,
    OtherHead,
    Reading,
    RodReading,
    SecondAnswer,
    Trust,
)
from hoopwise.listen.types import Note
from hoopwise.plan.order import across, working_order
from hoopwise.plan.types import TurnPlan

RATE = 44100
GAIN_PER_TURN = 0.8
NOTE_HZ = 163.1
_SHAPES = ((0, 1, 1.0), (1, 1, 1.62), (2, 1, 2.2), (0, 2, 2.43), (3, 1, 2.8), (1, 2, 3.1))


def scripted_tap(number: int = 0, rate: int = RATE, seconds: float = 0.9) -> Samples:
    """0.3 s of room, then a tap of six damped modes; peak about 0.3 of full scale."""
    rng = np.random.default_rng(number)
    t = np.arange(int(seconds * rate)) / rate
    sound = np.zeros_like(t)
    for m, n, ratio in _SHAPES:
        level = 0.09 * (1.0 + 0.1 * rng.standard_normal())
        sound += level * np.exp(-t * (9.0 + 3.0 * m + n)) * np.sin(2 * np.pi * NOTE_HZ * ratio * t)
    strike = int(0.0015 * rate)
    sound[:strike] += 0.3 * np.sin(np.pi * np.arange(strike) / strike)
    quiet = np.zeros(int(0.3 * rate))
    whole = np.concatenate([quiet, sound])
    return np.asarray(whole + 3e-5 * rng.standard_normal(len(whole)))


@dataclass
class ScriptedDrum:
    """Deviations that answer turns."""

    deviations: np.ndarray
    rate: int = RATE

    def tap(self, place: float, number: int) -> Samples:
        return scripted_tap(number)

    def turned(self, turns: Sequence[float], number: int) -> None:
        self.deviations = self.deviations + GAIN_PER_TURN * np.asarray(turns)


@dataclass
class ScriptedWork:
    """Reads the scripted drum; knows nothing but its script."""

    engine: "ScriptedEngine"
    drum: Drum
    deviations: np.ndarray
    reads: int = 0

    def read(self, takes: Sequence[Take]) -> Reading:
        if self.engine.failure is not None:
            raise self.engine.failure
        if any(np.max(np.abs(samples)) < 1e-3 for _, samples, _ in takes):
            raise RoundError("A tap of this round is silent.")
        self.reads += 1
        counts = [sum(rod == i + 1 for rod, _, _ in takes) for i in range(self.drum.rods)]
        return _reading(self.deviations, counts, self.engine)

    def advise(self) -> TurnPlan:
        turns = [
            0.0 if abs(d) < 0.015 else -round(32 * d / GAIN_PER_TURN) / 32 for d in self.deviations
        ]
        left = self.deviations + GAIN_PER_TURN * np.asarray(turns)
        return TurnPlan(
            rods=tuple(turns),
            order=working_order(turns),
            expected=tuple(float(v) for v in left),
            expected_sd=(0.012,) * len(turns),
            expected_mean_tension_n_m=3200.0,
            expected_note_hz=NOTE_HZ,
            sentences=("Total tension is kept; the low note stays.",),
        )

    def turned(self, turns: TurnPlan) -> None:
        self.engine.turned.append(turns.rods)
        self.deviations = self.deviations + GAIN_PER_TURN * np.asarray(turns.rods)


@dataclass
class ScriptedEngine:
    """An engine whose readings are written down."""

    deviations: tuple[float, ...] = (
        0.011, -0.043, 0.062, 0.004, -0.016, 0.021, -0.047, 0.031, -0.009, -0.014,
    )  # fmt: skip
    trust: str = "high"
    failure: Exception | None = None
    ask: Ask | None = None
    flaws: tuple[str, ...] = ()
    turned: list[tuple[float, ...]] = field(default_factory=list)

    def start(self, rods: int) -> np.ndarray:
        """The script's deviations for that many rods, mean 0."""
        values = np.resize(np.asarray(self.deviations), rods)
        return np.asarray(values - values.mean())

    def work(self, drum: Drum, side: Side, other_head: OtherHead) -> Work:
        return ScriptedWork(self, drum, self.start(drum.rods))

    def find(self, samples: Samples, rate: int) -> list[tuple[float, float, tuple[str, ...]]]:
        """Strikes by plain level, at least half a second apart."""
        loud = np.flatnonzero(np.abs(samples) > 0.05)
        onsets: list[float] = []
        for at in loud / rate:
            if not onsets or at - onsets[-1] > 0.5:
                onsets.append(float(at))
        ends = [*onsets[1:], len(samples) / rate]
        return [(a, b, self.flaws) for a, b in zip(onsets, ends, strict=True)]

    def practice(self, drum: Drum, side: Side, other_head: OtherHead, seed: int) -> Practice:
        return ScriptedDrum(self.start(drum.rods))


def _reading(deviations: np.ndarray, counts: list[int], engine: ScriptedEngine) -> Reading:
    rods = len(deviations)
    heard = [NOTE_HZ * 1.62 * (1 + 0.1 * d) for d in deviations]
    mean = float(np.mean(heard))
    readings = []
    for i, deviation in enumerate(deviations):
        partner = across(i + 1, rods)
        shared = heard[i] if partner is None else 0.5 * (heard[i] + heard[partner - 1])
        low = shared if counts[i] else None
        readings.append(
            RodReading(
                rod=i + 1,
                deviation=float(deviation),
                deviation_sd=0.009 if counts[i] > 1 else 0.013,
                taps=counts[i],
                heard_low_hz=low,
                heard_low_cents=None if low is None else float(1200 * np.log2(low / mean)),
                heard_ring_hz=NOTE_HZ * 2.8 * (1 + 0.2 * deviation) if counts[i] else None,
            )
        )
    return _with_doubt(
        Reading(
            rods=tuple(readings),
            mean_tension_n_m=3200.0,
            mean_tension_sd_n_m=40.0,
            note=Note(NOTE_HZ, 0.05, 0.74, 38.0),
            modes=tuple(
                HeadMode(m, n, NOTE_HZ * ratio, 0.05, 0.8 / (1 + 0.4 * m), -3.0 * (m + n))
                for m, n, ratio in _SHAPES
            ),
            beats_hz=(4.5,) if float(np.abs(deviations).max()) > 0.02 else (),
            trust=Trust("high", ("The taps fit one answer.",), 1.0, (1, 2, 3, 4)),
            advice=(),
            contact_ms=3.1,
        ),
        engine,
    )


def _with_doubt(reading: Reading, engine: ScriptedEngine) -> Reading:
    if engine.trust == "high":
        return reading
    rods = len(reading.rods)
    flipped = tuple(r.deviation * (-1) ** i for i, r in enumerate(reading.rods))
    trust = Trust(
        "none" if engine.trust == "none" else "low",
        ("Two answers explain these taps nearly as well; they differ in every other rod.",),
        1.8,
    )
    ask = engine.ask or Ask("trial turn", min(3, rods), 1 / 16)
    return replace(reading, trust=trust, ask=ask, second_answer=SecondAnswer(flipped, 0.41))
