"""The damped modes of one tap."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.listen.fit import Fit, covariance, refine, start, with_modes
from hoopwise.listen.glide import coarse_glide
from hoopwise.listen.noise import noise_before, noise_level
from hoopwise.listen.samples import as_samples
from hoopwise.listen.search import Floor, search, spectrum
from hoopwise.listen.split import split
from hoopwise.listen.taps import find_taps
from hoopwise.listen.types import Mode
from hoopwise.listen.window import Window, cut
from hoopwise.units import DECAY_60_DB

Real = NDArray[np.float64]


@dataclass(frozen=True)
class TapFit:
    window: Window
    fit: Fit
    floor: Floor
    onset: float
    cov: Real


def fit_tap(x: Real, rate: float, onset: float) -> TapFit | None:
    window = cut(x, rate, onset, 0.0035, 0.5)
    if window is None:
        return None
    noise = noise_before(x, rate, onset)
    if not noise.known:
        noise = noise_level(window.y[-len(window.y) // 3 :], window.rate_hz)
    typical = max(float(np.median(noise.level)), 1e-9 * float(np.mean(window.y**2)), 1e-30)
    floor = Floor(noise, typical)
    g, b = coarse_glide(window.y, window.t_s)
    fit = search(window, start(window, g, b, b), floor)
    if fit.modes == 0:
        return None
    loud = int(np.argmax(np.abs(fit.c)))
    fit = replace(fit, centre_b=2 * float(fit.a[loud]))
    f, a = split(window, fit, floor)
    fit = refine(window, with_modes(window, fit, f, a, typical), typical)
    fit = search(window, fit, floor, rounds=2)
    level = local_level(window, fit, floor)
    cov = covariance(window, fit, level, typical)
    return TapFit(window, fit, floor, onset, cov)


def local_level(window: Window, fit: Fit, floor: Floor) -> Real:
    power, spacing = spectrum(window, fit.residual)
    half = max(1, round(20.0 / spacing))
    c = np.concatenate([[0.0], np.cumsum(power)])
    i = np.clip(np.round(fit.f / spacing).astype(int), half, len(power) - half - 1)
    residual = (c[i + half + 1] - c[i - half]) / (2 * half + 1)
    return np.maximum(floor.at(fit.f), residual)


def modes_of_tap(samples: ArrayLike, rate: float) -> list[Mode]:
    x = as_samples(samples, rate)
    taps = find_taps(x, rate)
    if not taps:
        return []
    onset = taps[0].onset_s * rate
    found = fit_tap(x, rate, onset)
    if found is None:
        return []
    fit = found.fit
    k = fit.modes
    sd = np.sqrt(np.diag(found.cov))
    out = []
    for i in np.argsort(fit.f):
        t60 = DECAY_60_DB / fit.a[i]
        out.append(
            Mode(
                float(fit.f[i]),
                float(sd[i]),
                float(t60),
                float(t60 * sd[k + i] / fit.a[i]),
                float(abs(fit.c[i])),
                float(sd[2 * k + i]),
                float(np.angle(fit.c[i])),
            )
        )
    return out
