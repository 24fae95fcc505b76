"""All the sets of deviations that explain a round: the best one, and any close second.

What travels an odd number of times round the hoop shows only in amplitudes, and half the
rods' number of waves hardly at all: the fit can come to rest on the wrong side. So every
such wave of the answer is turned over and fitted again.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.least_sure import least_sure_widened
from hoopwise.infer.fit.rod_fit import Fit, fit
from hoopwise.infer.fit.rod_state import Point, Setting
from hoopwise.infer.fit.search import UNLIKELY, poor
from hoopwise.infer.head.prior import wave_matrix, wave_numbers

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_UNBELIEVED = 1.8
"""Cost that a settled fit may leave; more means frequencies that no tensions make."""
_MOST_ODD = 1.5
_ONE_ODD = 3.5
"""Scatter against what is expected, of most groups or of one, at which a fit explains little.

On simulated drums one group beyond it marks the fits that are furthest off.
"""
_SAME = 0.35
"""Answers nearer than this many standard deviations (rms) are the same answer."""


@dataclass(frozen=True)
class Answers:
    """Fits by growing cost, and how likely each is; the first is the best."""

    setting: Setting
    fits: tuple[Fit, ...]
    odds: FloatArray

    @property
    def best(self) -> Fit:
        """The most likely fit."""
        return self.fits[0]

    @property
    def cov(self) -> FloatArray:
        """(N, N) spread about the best answer, the others counted by their odds."""
        total = np.zeros_like(self.best.cov)
        for f, w in zip(self.fits, self.odds, strict=True):
            apart = f.deviation - self.best.deviation
            total += w * (f.cov + np.outer(apart, apart))
        return total


def evidence(result: Answers) -> float:
    """Log of how likely the round was before it was heard, but for a constant of its own."""
    best, prior = result.best, result.setting.prior
    room = np.linalg.slogdet(best.cov)[1] - np.linalg.slogdet(prior.cov)[1]
    return float(-best.surprise + 0.5 * room)


def unexplained(result: Answers) -> bool:
    """Whether a settled fit had to widen most groups' misfit or one out of all measure.

    Or whether it still leaves too much.
    """
    widen = result.setting.widen
    odd = np.median(widen) > _MOST_ODD or np.max(widen) > _ONE_ODD
    return bool(odd or poor(result.best, _UNBELIEVED))


def answers(setting: Setting, first: Fit, rivals: tuple[Point, ...] = ()) -> Answers:
    """Turn over each wave that amplitudes alone decide, fit again, keep what differs.

    So are rivals: where other searches of the same taps ended.
    """
    head = setting.head
    waves, numbers = wave_matrix(head.rods), wave_numbers(head.rods)
    found = [first, *(fit(setting, rival) for rival in rivals)]
    doubtful = [k for k in sorted(set(numbers[1:])) if k % 2 or 2 * k == head.rods]
    most = len(doubtful) if setting.strengths_are_free else 1
    for count in range(1, most + 1):
        for chosen in combinations(doubtful, count):
            turned = _turned(first.point, waves[np.isin(numbers, chosen)])
            if turned is not None:
                found.append(fit(setting, turned))
    found.sort(key=lambda f: f.surprise)
    kept: list[Fit] = []
    for f in found:
        likely = f.surprise - found[0].surprise < UNLIKELY
        if likely and not any(_same(f, other) for other in kept):
            kept.append(f)
    logs = np.array([-f.surprise + 0.5 * np.linalg.slogdet(f.cov)[1] for f in kept])
    odds = np.exp(logs - logs.max())
    kept[0] = least_sure_widened(setting, kept[0])
    return Answers(setting, tuple(kept), odds / odds.sum())


def _turned(point: Point, rows: FloatArray) -> Point | None:
    uneven = point.uneven.copy()
    part = rows.T @ (rows @ uneven[: rows.shape[1]])
    if np.sqrt(np.mean(part**2)) < 0.004:
        return None
    uneven[: len(part)] -= 2 * part
    return replace(point, uneven=uneven)


def _same(one: Fit, other: Fit) -> bool:
    sd = np.sqrt(np.diag(one.cov))
    apart = (one.deviation - other.deviation) / sd
    return bool(np.sqrt(np.mean(apart**2)) < _SAME)
