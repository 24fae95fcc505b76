"""Takes modes out again that the data do not call for.

A mode is suspect when it is faint against its own error, or so near a louder one that
their distance is not sure. Each suspect is left out on trial and everything is fitted
again; it stays out unless the fit becomes worse by more than a mode's price.
"""

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.fit import Fit, covariance, refine, with_modes
from hoopwise.listen.search import Floor, spectrum
from hoopwise.listen.split import GROUP_HZ, PRICE
from hoopwise.listen.window import Window

Real = NDArray[np.float64]

FAINT: Final = 7.0
"""Amplitude over its standard deviation below which a mode is suspect."""
SURE_APART: Final = 4.0
"""Distance of two modes over its standard deviation above which they are two."""


def local_level(window: Window, fit: Fit, floor: Floor) -> Real:
    """(K,) noise or misfit around each mode, whichever is larger."""
    power, spacing = spectrum(window, fit.residual)
    half = max(1, round(20.0 / spacing))
    total = np.concatenate([[0.0], np.cumsum(power)])
    i = np.clip(np.round(fit.f / spacing).astype(int), half, len(power) - half - 1)
    residual = (total[i + half + 1] - total[i - half]) / (2 * half + 1)
    return np.asarray(np.maximum(floor.at(fit.f), residual))


def simplify(window: Window, fit: Fit, floor: Floor, most: int = 6) -> Fit:
    """Backward elimination of suspects, the most doubtful first."""
    cleared: set[int] = set()
    fit, doubt, level = _without_ghosts(window, fit, floor)
    for _ in range(most):
        open_to_doubt = np.where(np.isin(np.arange(fit.modes), list(cleared)), np.inf, doubt)
        if not fit.modes or np.min(open_to_doubt) >= 1.0:
            break
        worst = int(np.argmin(open_to_doubt))
        keep = np.arange(fit.modes) != worst
        trial = with_modes(window, fit, fit.f[keep], fit.a[keep], floor.typical)
        trial = refine(window, trial, floor.typical, steps=8)
        worse = 2.0 * (trial.cost - fit.cost) * floor.typical / level[worst]
        if worse < PRICE:
            fit = trial
            cleared = {i - (i > worst) for i in cleared}
            doubt, level = judged(window, fit, floor)[:2]
        else:
            cleared.add(worst)
    return fit


@lru_cache(maxsize=4)
def judged(window: Window, fit: Fit, floor: Floor) -> tuple[Real, Real, Real]:
    """Doubt and noise level of each mode, and the covariance of all parameters.

    Remembered, because the fit that is kept was judged before; leave the arrays as they are.
    """
    level = local_level(window, fit, floor)
    cov = covariance(window, fit, level, floor.typical)
    return _doubts(fit, cov), level, cov


def _without_ghosts(window: Window, fit: Fit, floor: Floor) -> tuple[Fit, Real, Real]:
    """All modes whose amplitude is within three standard deviations of nothing, at once."""
    doubt, level, cov = judged(window, fit, floor)
    k = fit.modes
    sd = np.sqrt(np.maximum(np.diag(cov)[2 * k : 4 * k], 0.0))
    keep = np.abs(fit.c) > 3.0 * np.maximum(sd[:k], sd[k:])
    # of two inseparable modes both look like nothing; that is for the trials to settle
    near = np.abs(fit.f[:, None] - fit.f[None, :]) + np.where(np.eye(k) > 0, np.inf, 0.0)
    keep |= near.min(axis=1, initial=np.inf) < GROUP_HZ
    if keep.all():
        return fit, doubt, level
    trial = with_modes(window, fit, fit.f[keep], fit.a[keep], floor.typical)
    trial = refine(window, trial, floor.typical, steps=4)
    return trial, *judged(window, trial, floor)[:2]


def _doubts(fit: Fit, cov: Real) -> Real:
    """(K,) below 1 for a suspect; the fainter of two modes too close is the suspect."""
    k = fit.modes
    if k == 0:
        return np.empty(0)
    sd = np.sqrt(np.maximum(np.diag(cov), 0.0)) + 1e-300
    loud = np.abs(fit.c)
    doubt = loud / np.maximum(sd[2 * k : 3 * k], sd[3 * k : 4 * k]) / FAINT
    gap = np.abs(fit.f[:, None] - fit.f[None, :])
    v = cov[:k, :k]
    gap_sd = np.sqrt(np.maximum(np.diag(v)[:, None] + np.diag(v)[None, :] - 2.0 * v, 1e-300))
    louder = (loud[None, :] > loud[:, None]) & (gap < GROUP_HZ)
    apart = np.where(louder, gap / gap_sd / SURE_APART, np.inf)
    return np.asarray(np.minimum(doubt, apart.min(axis=1)))
