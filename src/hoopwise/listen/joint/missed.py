"""Modes that had no start value of their own, looked for in what the fit leaves over.

Where a mode lies beside a louder one, the start values of a few taps may have none for it, or
one that was taken for the louder one's misfit. Over all taps it then stands out of the residual
like a tower.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.joint.data import Floats, Round
from hoopwise.listen.joint.order import prune
from hoopwise.listen.joint.poles import Poles
from hoopwise.listen.joint.refine import Fit, Prior, refine

TOWER_SIGMAS = 60.0
"""Height from where on it is worth a try; a good fit leaves up to 40 (simulated drums)."""
TOWER_SHARE = 0.3
"""Lower ones beside the highest are its own foothills as often as not."""
MOST = 3
APART_HZ = 12.0
ROUNDS = 2


def with_missed(data: Round, fit: Fit, scale: Floats, prior: Prior) -> Fit:
    """The fit with modes that stand in its residual; the same where none passes the tests."""
    for _ in range(ROUNDS):
        towers = _towers(data, fit)
        if not len(towers):
            break
        tried = refine(data, _joined_by(fit.poles, towers), scale, prior, passes=6, settle=0.5)
        tried = prune(data, tried, scale, prior)
        if tried.cost >= fit.cost:
            break
        fit = tried
    return fit


def _towers(data: Round, fit: Fit) -> Floats:
    """Pitches (Hz) at which the residuals of all taps together stand far above chance."""
    decay = float(np.median(fit.poles.decay_per_s))
    fade = np.exp(-decay * (data.times_s - data.times_s[0]))
    size = 1 << int(np.ceil(np.log2(4 * len(fade))))
    power: Floats = np.zeros(size // 2 + 1)
    for tap in fit.taps:
        shape = fade[: len(tap.residual)]
        power += 2 * np.abs(np.fft.rfft(tap.residual * shape, size)) ** 2 / np.sum(shape**2)
    hz = np.asarray(np.fft.rfftfreq(size, 1 / data.rate_hz), dtype=np.float64)
    sigmas = np.asarray((power - 2 * data.taps) / np.sqrt(4 * data.taps), dtype=np.float64)
    f = fit.poles.frequency_hz
    sigmas[(hz < f[0]) | (hz > f[-1])] = 0.0
    return _highest(hz, sigmas)


def _highest(hz: Floats, sigmas: Floats) -> Floats:
    """The highest peaks, apart from each other."""
    peak: NDArray[np.intp] = 1 + np.flatnonzero(
        (sigmas[1:-1] > sigmas[:-2]) & (sigmas[1:-1] >= sigmas[2:])
    )
    found: list[float] = []
    for i in peak[np.argsort(-sigmas[peak])]:
        if len(found) == MOST or sigmas[i] < max(TOWER_SIGMAS, TOWER_SHARE * sigmas[peak].max()):
            break
        if all(abs(hz[i] - other) > APART_HZ for other in found):
            found.append(float(hz[i]))
    return np.array(found)


def _joined_by(poles: Poles, hz: Floats) -> Poles:
    """The poles and new ones that ring as the nearest does."""
    nearest = np.argmin(np.abs(poles.frequency_hz[:, None] - hz), axis=0)
    f = np.concatenate([poles.frequency_hz, hz])
    a = np.concatenate([poles.decay_per_s, poles.decay_per_s[nearest]])
    order = np.argsort(f)
    return replace(poles, frequency_hz=f[order], decay_per_s=a[order])
