"""The only door from the bench to listening, inference, plans and the practice drum.

The bench knows these four protocols; ``RealEngine`` fills them with hoopwise's own
functions, imported when first used so that the server is ready at once.
"""

import dataclasses
from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Drum, Side
from hoopwise.infer.types import OtherHead, Reading
from hoopwise.plan.types import TurnPlan

Samples = NDArray[np.float64]
Take = tuple[float, Samples, int]
"""Place (a rod's number, half more for halfway to the next), samples, rate (Hz)."""


class Work(Protocol):
    """One head being evened; remembers its rounds."""

    def read(self, takes: Sequence[Take]) -> Reading:
        """What a round of taps tells."""
        ...

    def advise(self) -> TurnPlan:
        """What to turn after the last reading."""
        ...

    def turned(self, turns: TurnPlan) -> None:
        """What was really turned."""
        ...


class Practice(Protocol):
    """A simulated drum that answers taps."""

    rate: int

    def tap(self, place: float, number: int) -> Samples:
        """Sound of the numbered tap at a place, 0.3 s of room before it."""
        ...

    def turned(self, turns: Sequence[float], number: int) -> None:
        """Turn the rods, by a hand that is a little off."""
        ...


class Engine(Protocol):
    """Everything that the bench asks of the rest of hoopwise."""

    def work(self, drum: Drum, side: Side, other_head: OtherHead) -> Work:
        """Begin on a head."""
        ...

    def find(self, samples: Samples, rate: int) -> list[tuple[float, float, tuple[str, ...]]]:
        """Taps in a recording: onset (s), end (s), flaws."""
        ...

    def practice(self, drum: Drum, side: Side, other_head: OtherHead, seed: int) -> Practice:
        """A practice drum; the same seed gives the same drum."""
        ...


class RealEngine:
    """Hoopwise itself."""

    def work(self, drum: Drum, side: Side, other_head: OtherHead) -> Work:
        """Begin on a head."""
        import hoopwise as hw

        return hw.HeadWork(drum, side=side, other_head=other_head)

    def find(self, samples: Samples, rate: int) -> list[tuple[float, float, tuple[str, ...]]]:
        """Taps in a recording: onset (s), end (s), flaws."""
        import hoopwise as hw

        return [(t.onset_s, t.end_s, t.flaws) for t in hw.find_taps(samples, rate)]

    def practice(self, drum: Drum, side: Side, other_head: OtherHead, seed: int) -> Practice:
        """A practice drum; the same seed gives the same drum."""
        return _SimulatedDrum(drum, side, other_head, seed)

    def warm_up(self) -> None:
        """Import what the first tap will need."""
        rate = 44100
        noise = 1e-4 * np.random.default_rng(0).standard_normal(rate)
        self.find(noise, rate)


class _SimulatedDrum:
    """The renderer's practice drum, its chance tied to the number of the tap or turn."""

    def __init__(self, drum: Drum, side: Side, other_head: OtherHead, seed: int) -> None:
        from hoopwise.render.practice import practice_drum

        self._seed = seed
        self._drum = practice_drum(drum, side, seed, other_head=other_head)
        self.rate = self._drum.rate

    def tap(self, place: float, number: int) -> Samples:
        """Sound of the numbered tap at a place."""
        rng = np.random.default_rng((self._seed, 1, number))
        return self._drum.tap(place, rng=rng)

    def turned(self, turns: Sequence[float], number: int) -> None:
        """Turn the rods, by a hand that is a little off."""
        rng = np.random.default_rng((self._seed, 2, number))
        self._drum = self._drum.turned(tuple(turns), rng=rng)


def plan_with(plan: TurnPlan, turns: Sequence[float]) -> TurnPlan:
    """A plan whose turns are those that were really made."""
    return dataclasses.replace(plan, rods=tuple(turns))
