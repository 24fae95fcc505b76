"""When exactly a tap begins.

A coarse rise of energy is refined to the sample by an AIC change point (Maeda 1985):
the split of a short stretch into quiet and loud parts of the greatest likelihood.
"""

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]


def change_point(x: Real, floor: float = 0.0) -> int:
    """Index at which a stretch turns from quiet to loud: the least AIC.

    ``floor`` is a variance added to both sides, so that digital silence is no infinity.
    """
    n = len(x)
    if n < 8:
        return 0
    power = np.concatenate([[0.0], np.cumsum(x * x)])
    k = np.arange(2, n - 2)
    before = power[k] / k + floor
    after = (power[-1] - power[k]) / (n - k) + floor
    score = k * np.log(before) + (n - k) * np.log(after)
    return int(k[np.argmin(score)])


def refine_onset(x: Real, rate: float, coarse: int) -> float:
    """Onset (sample index, fractional) near ``coarse``, a sample known to a few ms.

    Looks from 15 ms before to 5 ms after; narrows the stretch twice, so that the loud
    part holds only the first rise.
    """
    lowest = max(0, coarse - round(0.015 * rate))
    highest = min(len(x), coarse + round(0.005 * rate))
    stretch = x[lowest:highest]
    if len(stretch) < 16:
        return float(coarse)
    floor = 1e-12 * float(np.max(np.abs(stretch)) ** 2) + 1e-24
    at = change_point(stretch, floor)
    for ahead_s in (0.002, 0.0007):
        stop = min(len(stretch), at + max(4, round(ahead_s * rate)))
        at = change_point(stretch[:stop], floor)
    return float(lowest + at)
