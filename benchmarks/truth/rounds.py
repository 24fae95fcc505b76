"""Rounds of taps on simulated drums, as one record that can be pickled."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.truth.draw import random_truth
from benchmarks.truth.drum import ToldTap, TrueDrum
from hoopwise.drum import Drum

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pooled:
    """One drum, its truth, and a round of taps."""

    seed: int
    nominal: Drum
    side: str
    other_head: str
    contact_s: float
    deviations: Array
    mean_tension_n_m: float
    frequency_hz: Array
    """True modes, settled."""
    t60_s: Array
    taps: list[tuple[int, Array, float]]
    """(rod, samples, rate), ``taps`` times around the hoop."""
    told: list[ToldTap]
    """The same taps with what really happened; their samples are left empty."""
    truth: TrueDrum


def round_of_taps(
    truth: TrueDrum,
    rng: np.random.Generator,
    taps: int,
    halfway: bool = False,
    **how: float | bool | None,
) -> list[tuple[float, Array, float]]:
    """Taps at every rod in turn, ``taps`` of each; ``how`` as in ``TrueDrum.tap``.

    ``halfway``: every other tap halfway to the next rod.
    """
    return [
        (place, truth.tap(place, rng, **how), float(truth.rate))  # type: ignore[arg-type]
        for rod in range(1, truth.rods + 1)
        for k in range(taps)
        for place in [rod + 0.5 * (halfway and k % 2)]
    ]


def pooled(seed: int, rods: int, taps: int, kind: str, other_head: str, contact_s: float) -> Pooled:
    """The drum of a seed, and a round of its taps."""
    rng = np.random.default_rng(seed)
    truth = random_truth(rng, rods, kind, other_head)  # type: ignore[arg-type]
    told = [
        (rod, truth.told_tap(rod, rng, contact_s))
        for rod in range(1, truth.rods + 1)
        for _ in range(taps)
    ]
    return Pooled(
        seed=seed,
        nominal=truth.nominal,
        side=kind,
        other_head=other_head,
        contact_s=contact_s,
        deviations=truth.deviations(),
        mean_tension_n_m=truth.mean_tension(),
        frequency_hz=truth.modes.omega.real / (2.0 * np.pi),
        t60_s=np.log(1000.0) / truth.modes.omega.imag,
        taps=[(rod, tap.samples, float(truth.rate)) for rod, tap in told],
        told=[replace(tap, samples=np.empty(0)) for _, tap in told],
        truth=truth,
    )
