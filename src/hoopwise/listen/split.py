"""Looks whether a spectral peak is one mode or several very close ones.

Modes near each other are taken out of the window as one group, slowed down to a narrow
band, and modelled by one, two, three exponentials; a further one must pay for itself.
"""

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.bands import Band, band
from hoopwise.listen.fit import Fit, model_of
from hoopwise.listen.glide import warped
from hoopwise.listen.poles import Poles, esprit, polish, signal_space
from hoopwise.listen.search import Floor
from hoopwise.listen.window import Window

Real = NDArray[np.float64]

GROUP_HZ: Final = 22.0
PRICE: Final = 20.0
"""Chi square that a further mode (four numbers) must save, near its BIC of 4 ln 2n."""
ENOUGH: Final = 1.5
"""No further mode is looked for when this little, in noise power, is left over."""
MOST: Final = 4
DEGREES: Final = 9
"""Polynomials that stand for what a second mode in the same place would change."""
BOX: Final = 8
"""Samples over which they hardly change."""


def groups(f: Real, apart_hz: float = GROUP_HZ) -> list[NDArray[np.intp]]:
    """Indices of modes chained by gaps below ``apart_hz``, group by group."""
    if len(f) == 0:
        return []
    order = np.argsort(f)
    cuts = np.flatnonzero(np.diff(f[order]) >= apart_hz) + 1
    return list(np.split(order, cuts))


def split(window: Window, fit: Fit, floor: Floor) -> tuple[Real, Real]:
    """Frequencies and decay rates after every group has got the modes that it needs."""
    f_all: list[Real] = []
    a_all: list[Real] = []
    if fit.modes == 0:
        return np.empty(0), np.empty(0)
    single = _surely_single(window, fit, floor)
    for members in groups(fit.f):
        if len(members) == 1 and single[members[0]]:
            f_all.append(fit.f[members])
            a_all.append(fit.a[members])
            continue
        alone = fit.residual + model_of(window, fit, members)
        f, a = split_group(window, fit, floor, alone, members)
        f_all.append(f)
        a_all.append(a)
    return np.concatenate(f_all), np.concatenate(a_all)


def split_group(
    window: Window, fit: Fit, floor: Floor, alone: Real, members: NDArray[np.intp]
) -> tuple[Real, Real]:
    """The same for one group, given the window without all the other modes."""
    known = fit.f[members], fit.a[members]
    slow = _slowed(window, fit, alone, members)
    if slow is None:
        return known
    noise = 4.0 * float(floor.at(np.array([slow.carrier_hz]))[0]) * slow.rate_hz / window.rate_hz
    space = signal_space(slow.z, MOST)
    begin = -fit.a[members] + 2j * np.pi * (fit.f[members] - slow.carrier_hz)
    best = polish(slow.z, slow.t_s, begin, steps=3) if len(members) < MOST else None
    for order in range(len(members) + 1, MOST + 1):
        start = esprit(space, order, 1.0 / slow.rate_hz)
        trial = polish(slow.z, slow.t_s, start, steps=3)
        if best is None or _may_pay(best, trial, noise):
            trial = polish(slow.z, slow.t_s, trial.s)
        if best is None or _pays(best, trial, noise, len(slow.z)):
            best = trial
        elif best.rss < ENOUGH * noise * len(slow.z):
            break
    if best is None:
        return known
    # a pole far from the peak only mops up what the other modes left in the band
    s = best.s[np.abs(best.s.imag) < 2.0 * np.pi * (GROUP_HZ + 8.0)]
    if len(s) <= len(members):
        return known
    return slow.carrier_hz + s.imag / (2.0 * np.pi), -s.real


def _surely_single(window: Window, fit: Fit, floor: Floor) -> NDArray[np.bool_]:
    """(K,) whether what is left over around each mode is too little for another one to pay.

    A second mode nearby is the first one times a slow function of time; whatever low
    polynomials can take up of the residual bounds from above what it could save. Slow
    functions are constant over a few samples, which are therefore added up first.
    """
    k, n = fit.modes, len(window.y) // BOX * BOX
    waves = fit.basis[:, :n].reshape(2, k, n)
    slow = _polynomials(n // BOX)
    pull = _boxes(waves * fit.residual[:n]) @ slow.T
    # cosine and sine are taken as orthogonal and equally strong: a mode turns many times
    power = 0.5 * _boxes(np.sum(waves**2, axis=0))
    gram = (power[:, None, :] * slow) @ slow.T
    gram[:, np.arange(DEGREES), np.arange(DEGREES)] *= 1.0 + 1e-9
    answer = np.linalg.solve(gram, pull.transpose(1, 2, 0))
    saved = np.einsum("pkd,kdp->k", pull, answer)
    return np.asarray(saved < PRICE * floor.at(fit.f))


def _boxes(x: Real) -> Real:
    """Sums over successive boxes of samples along the last axis."""
    # a product, because numpy's sums along short axes are slow
    return np.asarray(x.reshape(*x.shape[:-1], -1, BOX) @ np.ones(BOX))


@lru_cache(maxsize=8)
def _polynomials(count: int) -> Real:
    """(DEGREES, count) Legendre polynomials over a window."""
    x = np.linspace(-1.0, 1.0, count)
    return np.ascontiguousarray(np.polynomial.legendre.legvander(x, DEGREES - 1).T)


def thin_out(window: Window, fit: Fit, crowd_hz: float, least: int = 3) -> tuple[Real, Real]:
    """Frequencies and decay rates with two modes in place of each crowd of ``least`` or more.

    A crowd is chained by gaps below ``crowd_hz``; it often stands for one pair that was
    modelled under a wrong glide.
    """
    f_all: list[Real] = []
    a_all: list[Real] = []
    for members in groups(fit.f, crowd_hz):
        f, a = fit.f[members], fit.a[members]
        if len(members) >= least:
            alone = fit.residual + model_of(window, fit, members)
            slow = _slowed(window, fit, alone, members)
            if slow is not None:
                start = esprit(signal_space(slow.z, 2), 2, 1.0 / slow.rate_hz)
                two = polish(slow.z, slow.t_s, start).s
                f, a = slow.carrier_hz + two.imag / (2.0 * np.pi), -two.real
        f_all.append(f)
        a_all.append(a)
    return np.concatenate(f_all), np.concatenate(a_all)


def _slowed(window: Window, fit: Fit, alone: Real, members: NDArray[np.intp]) -> Band | None:
    weight = np.abs(fit.c[members]) ** 2
    carrier = float(np.sum(weight * fit.f[members]) / np.sum(weight))
    skip = len(window.edge)
    clock = warped(window.t_s[skip:], fit.g, fit.b)
    return band(alone[skip:], window.t_s[skip:], carrier, clock)


def _may_pay(simple: Poles, rich: Poles, noise: float) -> bool:
    """Whether a half-polished account is near enough to its price to be polished on."""
    return 2.0 * (simple.rss - rich.rss) > 0.3 * PRICE * noise


def _pays(simple: Poles, rich: Poles, noise: float, count: int) -> bool:
    extra = len(rich.s) - len(simple.s)
    free = max(1, count - 2 * len(rich.s))
    scale = max(noise, rich.rss / free)
    sane = (-rich.s.real > 1.0) & (-rich.s.real < 120.0)
    gain = 2.0 * (simple.rss - rich.rss) / scale
    return bool(np.all(sane)) and gain > PRICE * extra
