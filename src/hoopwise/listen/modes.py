"""The damped modes of one tap, as its listener sees them: frequencies, ring times, pairs.

Two components too near in frequency to be told apart, but with different ring times, are
one mode with a two-stage decay; two that are surely apart are a split pair.
"""

import itertools
import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.listen.hard import modes_of_hard_hit
from hoopwise.listen.samples import as_samples
from hoopwise.listen.tapfit import TapFit, fit_tap
from hoopwise.listen.taps import find_taps
from hoopwise.listen.types import Mode
from hoopwise.units import DECAY_60_DB

Real = NDArray[np.float64]

PAIR_HZ: Final = 12.0
"""Modes this near each other are listed as a pair."""
SURE: Final = 3.0
"""Standard deviations that make two modes two."""
OUT_OF_A_ROOM: Final = 7.0
"""Amplitude over its standard deviation below which a room may have made the mode."""
STRONG: Final = 0.25
"""Modes this near the loudest (12 dB) are listed even so: a room makes none so strong."""
LOWEST_HZ: Final = 20.0
SHORTEST_S: Final = 0.05
LONGEST_S: Final = 12.0
"""Ring times beyond these are artefacts of the fit, not modes of a head."""


def modes_of_tap(samples: ArrayLike, rate: float) -> list[Mode]:
    """The modes of the loudest tap in the samples, growing in frequency.

    Parameters
    ----------
    samples : (n,) numbers
        One channel, floats of full scale 1 or integers; best with 0.3 s before the tap.
    rate : float
        Samples per second, 8000 to 400000 Hz.

    Returns
    -------
    list of Mode
        Empty when no tap or no mode stands out of the noise.

    Raises
    ------
    RecordingError
        Not one channel of finite numbers, or a rate out of range.
    """
    x = as_samples(samples, rate)
    taps = find_taps(x, rate, judge="none")
    if not taps:
        return []
    tap = max(taps, key=lambda one: one.strength_db)
    later = [one.onset_s - tap.onset_s for one in taps if one.onset_s > tap.onset_s]
    found = fit_tap(x, rate, tap.onset_s * rate, min(later, default=math.inf))
    if found is None:
        return []
    return (
        modes_of_hard_hit(found.window, found.floor.noise) if found.rough else modes_of_fit(found)
    )


def modes_of_fit(found: TapFit) -> list[Mode]:
    """List a tap's fit as modes; two-stage decays and pairs are recognised."""
    fit, k = found.fit, found.fit.modes
    gains = found.window.gain(fit.f)
    sd = np.sqrt(np.maximum(np.diag(found.cov), 0.0))
    t60 = DECAY_60_DB / fit.a
    slow = _two_stage(found)
    real = (
        (fit.f > LOWEST_HZ)
        & (t60 >= SHORTEST_S)
        & (t60 <= LONGEST_S)
        & ~np.isin(np.arange(k), list(slow.values()))
    )
    if found.floor.echo is not None:
        size = np.abs(fit.c)
        sure = size > OUT_OF_A_ROOM * np.maximum(sd[2 * k : 3 * k], sd[3 * k : 4 * k])
        real &= sure | (size > STRONG * size.max())
    order = [int(i) for i in np.argsort(fit.f) if real[i]]
    pairs = _pairs(found, order)
    return [
        Mode(
            frequency_hz=float(fit.f[i]),
            frequency_sd_hz=float(sd[i]),
            t60_s=float(t60[i]),
            t60_sd_s=float(t60[i] * sd[k + i] / fit.a[i]),
            amplitude=float(abs(fit.c[i]) / gains[i]),
            amplitude_sd=float(max(sd[2 * k + i], sd[3 * k + i]) / gains[i]),
            phase_rad=float(np.angle(fit.c[i])),
            pair=pairs.get(i),
            slow_t60_s=float(t60[slow[i]]) if i in slow else None,
        )
        for i in order
    ]


def _gap(found: TapFit, i: int, j: int) -> tuple[float, float]:
    """Distance of two modes (Hz) and its standard deviation."""
    v = found.cov
    variance = v[i, i] + v[j, j] - 2.0 * v[i, j]
    return abs(float(found.fit.f[i] - found.fit.f[j])), float(np.sqrt(max(variance, 0.0)))


def _two_stage(found: TapFit) -> dict[int, int]:
    """Fast component to slow component, for modes that share one frequency."""
    fit = found.fit
    order = np.argsort(fit.f)
    stages: dict[int, int] = {}
    for i, j in itertools.pairwise(order):
        gap, sd = _gap(found, int(i), int(j))
        if gap < SURE * sd and gap < 1.0:
            fast, slow = (int(i), int(j)) if fit.a[i] > fit.a[j] else (int(j), int(i))
            if fit.a[fast] > 1.3 * fit.a[slow] and slow not in stages:
                stages[fast] = slow
    return stages


def _pairs(found: TapFit, order: list[int]) -> dict[int, int]:
    """Number of the pair for every mode that has a sure partner nearby."""
    pairs: dict[int, int] = {}
    number = 0
    for i, j in itertools.pairwise(order):
        gap, sd = _gap(found, i, j)
        if i not in pairs and gap < PAIR_HZ and gap > SURE * sd:
            pairs[i] = pairs[j] = number
            number += 1
    return pairs
