"""How far the taps really allow the least sure part of an answer to be off.

A fit's covariance takes its cost for a bowl. Where the taps tell little (a small tight head
whose modes lie beyond the zero of the tip's push) it is a valley that is flatter, or bent.
So the answer is pushed along its least sure direction both ways, all else fitted again, and
where the cost grows less than a bowl's the bars are widened by what it shows.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.rod_fit import Fit, fit
from hoopwise.infer.fit.rod_state import Setting
from hoopwise.infer.head.prior import Belief

FloatArray = NDArray[np.float64]

_WIDE = 0.02
"""Least sure part (rms over the rods) from where on it is looked at: others are sure enough."""
_PUSHED = 2.0
"""How far it is pushed, in its own standard deviations."""
_HELD = 0.05
"""How tightly it is held there, likewise."""
_STEPS = 6
_STUCK = 0.1
"""A push that moved the answer by less, likewise, shows nothing of that side."""
_MOST = 2.0
"""A side is never taken to be wider than this many times what the fit says."""


def least_sure_widened(setting: Setting, best: Fit) -> Fit:
    """The same fit with the spread along its least sure direction as its cost shows it."""
    variances, directions = np.linalg.eigh(best.cov)
    sd, along = float(np.sqrt(variances[-1])), directions[:, -1]
    if sd < _WIDE * np.sqrt(len(along)):
        return best
    middle = fit(setting, best.point, steps=_STEPS).cost
    least = min(middle, best.cost)
    up, down = (_shown_sd(setting, best, along, side * sd, least) for side in (1.0, -1.0))
    # mean square of what falls off like a bell of its own to either side
    wider = (up**3 + down**3) / (up + down) / sd**2
    more = max(wider - 1.0, 0.0) * variances[-1]
    return replace(best, cov=best.cov + more * np.outer(along, along))


def _shown_sd(
    setting: Setting, best: Fit, along: FloatArray, signed_sd: float, least: float
) -> float:
    """Standard deviation to one side, from what the cost grows by when pushed there."""
    sd = abs(signed_sd)
    start = float(along @ best.deviation)
    held = _holding(setting, along, start + _PUSHED * signed_sd, _HELD * sd)
    pushed = fit(held, best.point, steps=_STEPS)
    grown = pushed.cost - _expectation_cost(held, pushed) + _expectation_cost(setting, pushed)
    moved = abs(float(along @ pushed.deviation) - start)
    if moved < _STUCK * sd:
        return sd
    bowl = 0.5 * (moved / sd) ** 2
    return sd * float(np.sqrt(bowl / max(grown - least, bowl / _MOST**2)))


def _holding(setting: Setting, along: FloatArray, value: float, sd: float) -> Setting:
    """The same setting with the deviations' part along a direction expected at a value."""
    prior = setting.prior
    cov = np.asarray(np.linalg.inv(prior.precision + np.outer(along, along) / sd**2))
    mean = cov @ (prior.precision @ prior.mean + along * value / sd**2)
    return replace(setting, prior=Belief(mean, cov))


def _expectation_cost(setting: Setting, fitted: Fit) -> float:
    """What a setting's expectation of the unevenness adds to a fit's cost."""
    off = setting.prior_root @ (setting.prior_spread[0] - fitted.point.uneven)
    return 0.5 * float(off @ off)
