"""All modes of a tap at once: joint least squares with one glide, and its error bars.

Model and symbols as in types.py. The parameters of K modes are kept as arrays; the
Jacobian is analytic. Weak priors keep the glide where the data say nothing.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.glide import GLIDE_SD, LOG_RATE_SD, settling, settling_slope, warped
from hoopwise.listen.window import Window

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LEAST_DECAY: Final = 0.5
MOST_DECAY: Final = 250.0
GLIDE_RANGE: Final = (-0.003, 0.3)
"""A struck head is never slacker; a little below zero leaves room for noise."""
HOPELESS: Final = 15.0
"""With this much left over per sample, slow progress is not worth the time."""
ENOUGH_GAIN: Final = 0.1
"""Steps converge quadratically: after one that gained this little the next gains nothing."""
RATE_RANGE: Final = (4.0, 120.0)
"""A slower glide could not be told from another frequency."""


@dataclass(frozen=True, eq=False)
class Fit:
    """Modes of a window: ``y ~ sum Re[c exp(2 pi i f tau(t) - a t)]`` and the rest."""

    f: Real
    """(K,) settled frequencies, Hz."""
    a: Real
    """(K,) decay rates, 1/s."""
    c: Complex
    """(K,) complex amplitudes at the onset."""
    g: float
    b: float
    centre_b: float
    """Where the prior of b stands, 1/s."""
    waves: Real
    """(2 K, grid) real part and negative imaginary part of exp(2 pi i f tau - a t)."""
    basis: Real
    """(2 K, n) what the decimated samples hold of ``waves``."""
    residual: Real
    """(n,) what the modes leave over."""
    cost: float
    """Half the penalised chi square: residual in noise units plus priors."""

    @property
    def modes(self) -> int:
        """Number of modes."""
        return len(self.f)


def with_modes(window: Window, fit: Fit, f: Real, a: Real, variance: float) -> Fit:
    """The same glide with other poles; amplitudes by linear least squares."""
    if len(f) == 0:
        blank = start(window, fit.g, fit.b, fit.centre_b)
        return replace(blank, cost=_cost(window.y, blank, variance))
    waves = _waves(window, f, a, fit.g, fit.b)
    basis = window.project(waves)
    gram = basis @ basis.T
    gram.flat[:: len(gram) + 1] *= 1.0 + 1e-9
    x = np.linalg.solve(gram, basis @ window.y)
    residual = window.y - x @ basis
    c = x[: len(f)] + 1j * x[len(f) :]
    cost = _cost(residual, fit, variance)
    return Fit(f, a, c, fit.g, fit.b, fit.centre_b, waves, basis, residual, cost)


def start(window: Window, g: float, b: float, centre_b: float) -> Fit:
    """A fit without modes, at the given glide."""
    none = np.empty(0)
    empty = np.empty(0, dtype=np.complex128)
    waves, basis = np.empty((0, len(window.grid_s))), np.empty((0, len(window.y)))
    return Fit(none, none, empty, g, b, centre_b, waves, basis, window.y, np.inf)


def _waves(window: Window, f: Real, a: Real, g: float, b: float) -> Real:
    t, k = window.grid_s, len(f)
    turns = np.multiply.outer(f, warped(t, g, b))
    turns -= np.rint(turns)
    # single precision is right to 2e-7 (-130 dB) within half a turn, and ten times as fast
    angle = (2.0 * np.pi * turns).astype(np.float32)
    fall = np.exp(np.multiply.outer(-a, t).astype(np.float32))
    waves = np.empty((2 * k, len(t)))
    np.multiply(np.cos(angle), fall, out=waves[:k])
    np.multiply(np.sin(angle), np.negative(fall, out=fall), out=waves[k:])
    return waves


def model_of(window: Window, fit: Fit, which: NDArray[np.intp]) -> Real:
    """(n,) what some of the modes (indices) contribute to the decimated samples."""
    part = fit.c[which]
    return part.real @ fit.basis[which] + part.imag @ fit.basis[which + fit.modes]


def _cost(residual: Real, fit: Fit, variance: float) -> float:
    log_b = np.log(fit.b / fit.centre_b) / LOG_RATE_SD
    return 0.5 * float(residual @ residual / variance + (fit.g / GLIDE_SD) ** 2 + log_b**2)


def jacobian(window: Window, fit: Fit) -> Real:
    """(4 K + 2, n) derivatives of the model by f, a, Re c, Im c (K each), g, ln b."""
    k, m, e = fit.modes, len(window.edge_t_s), len(window.edge)
    rows = np.empty((4 * k + 2, len(window.y)))
    rows[2 * k : 4 * k] = fit.basis
    # behind the edge the samples hold what the grid holds, and need no projection
    _slopes(fit, window.t_s[e:], fit.waves[:, m:], rows[:, e:])
    early = np.empty((4 * k + 2, m))
    _slopes(fit, window.edge_t_s, fit.waves[:, :m], early)
    rows[: 2 * k, :e] = early[: 2 * k] @ window.edge.T
    rows[-2:, :e] = early[-2:] @ window.edge.T
    return rows


def _slopes(fit: Fit, t: Real, waves: Real, out: Real) -> None:
    """Rows of the Jacobian for all but the amplitudes, at times ``t``."""
    k = fit.modes
    cosine, sine = waves[:k], waves[k:]
    re, im = fit.c.real[:, None], fit.c.imag[:, None]
    settle = settling(t, fit.b)
    turn = (2.0 * np.pi * re) * sine
    turn -= (2.0 * np.pi * im) * cosine
    lift = fit.f @ turn
    np.multiply(turn, t + fit.g * settle, out=out[:k])
    model = np.multiply(re, cosine, out=turn)
    model += im * sine
    np.multiply(model, -t, out=out[k : 2 * k])
    np.multiply(lift, settle, out=out[-2])
    np.multiply(lift, settling_slope(t, fit.b) * fit.g, out=out[-1])


def _prior(fit: Fit) -> tuple[Real, Real]:
    """Diagonal information of the priors and their pull, over all parameters."""
    weight = np.zeros(4 * fit.modes + 2)
    pull = np.zeros_like(weight)
    weight[-2:] = GLIDE_SD**-2.0, LOG_RATE_SD**-2.0
    pull[-2] = -fit.g * weight[-2]
    pull[-1] = -np.log(fit.b / fit.centre_b) * weight[-1]
    return weight, pull


def refine(
    window: Window, fit: Fit, variance: float, steps: int = 8, hold_glide: bool = False
) -> Fit:
    """Levenberg-Marquardt from ``fit``; ``variance`` is the noise per decimated sample.

    ``hold_glide`` keeps g and b as they are.
    """
    if fit.modes == 0:
        return fit
    damping = 1e-3
    for _ in range(steps):
        rows = jacobian(window, fit)
        weight, pull = _prior(fit)
        if hold_glide:
            rows[-2:], pull[-2:] = 0.0, 0.0
        normal = rows @ rows.T / variance
        gradient = rows @ fit.residual / variance + pull
        normal.flat[:: len(normal) + 1] += weight
        scale = np.sqrt(np.diag(normal)) + 1e-300
        normal /= np.outer(scale, scale)
        while damping < 1e4:
            damped = normal + damping * np.eye(len(scale))
            move = np.linalg.solve(damped, gradient / scale) / scale
            trial = _moved(window, fit, move, variance)
            if trial.cost <= fit.cost:
                break
            damping *= 10.0
        else:
            return fit
        gained = fit.cost - trial.cost
        fit, damping = trial, max(damping * 0.1, 1e-7)
        far = fit.cost > HOPELESS * len(window.y)
        if gained < ENOUGH_GAIN + (3e-3 if far else 1e-5) * fit.cost:
            break
    return fit


def _moved(window: Window, fit: Fit, move: Real, variance: float) -> Fit:
    k = fit.modes
    a = fit.a * np.exp(np.clip(move[k : 2 * k] / fit.a, -0.7, 0.7))
    f = fit.f + np.clip(move[:k], -8.0, 8.0)
    a = np.clip(a, LEAST_DECAY, MOST_DECAY)
    g = float(np.clip(fit.g + np.clip(move[-2], -0.02, 0.02), *GLIDE_RANGE))
    b = float(np.clip(fit.b * np.exp(np.clip(move[-1], -0.5, 0.5)), *RATE_RANGE))
    moved = replace(fit, g=g, b=b)
    return with_modes(window, moved, f, a, variance)


def covariance(window: Window, fit: Fit, level: Real, variance: float) -> Real:
    """(4 K + 2,) square covariance of f, a, Re c, Im c, g, ln b.

    ``level`` is the noise level at each mode: a mode's own rows are scaled by it.
    """
    rows = jacobian(window, fit)
    weight, _ = _prior(fit)
    normal = rows @ rows.T / variance
    normal.flat[:: len(normal) + 1] += weight
    scale = np.sqrt(np.diag(normal)) + 1e-300
    whitened = normal / np.outer(scale, scale)
    whitened.flat[:: len(whitened) + 1] *= 1.0 + 1e-10
    inverse = np.linalg.inv(whitened) / np.outer(scale, scale)
    lift = np.sqrt(np.maximum(level / variance, 1e-12))
    factor = np.concatenate([np.tile(lift, 4), np.ones(2)])
    return np.asarray(inverse * np.outer(factor, factor))
