"""Maximum-likelihood refinement of the shared poles over all taps.

Model of tap t at time s after its onset:  sum_k Re[A_tk exp(i theta_tk - a_k s)],
theta_tk = 2 pi f_k (s + g_t (1 - exp(-b s)) / b).  The amplitudes are linear and are
projected out tap by tap, the glides g_t are eliminated from the normal equations, so
that only f_k, ln a_k and ln b are left: variable projection in Kaufman's form (BIT 15,
1975; FROM MEMORY) with the analytic Jacobian and Levenberg's damping.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.joint.data import Floats, Round
from hoopwise.listen.joint.poles import Poles
from hoopwise.listen.joint.tap import TapFit, Waves, all_taps, normals

GLIDE_SPREAD = 0.3
"""Glides follow strength squared to within this share (weak prior) ..."""
GLIDE_SLACK = 5e-4
"""... and this much."""
RATE_SPREAD = 0.7
"""Weak prior on ln b round the energy's own decay."""
TWIN_SPREAD = 0.3
"""Weak prior: ln of the decays' ratio within a close pair."""
TWIN_HZ = 6.0
LEAST_GLIDE = -0.01
MOST_GLIDE = 0.08
PASSES = 12
LEAST_HOLD = 0.1
"""Damping after a failed step, at least."""


@dataclass(frozen=True)
class Prior:
    """What is expected before the fit: glide over taps and its rate."""

    share: Floats
    """(T,) each tap's energy over the strongest tap's."""
    glide_rate: float


@dataclass(frozen=True, eq=False)
class Fit:
    """Poles with the normal equations at them, which are worked out when first asked for."""

    poles: Poles
    taps: tuple[TapFit, ...]
    scale: Floats
    """(T,) noise rms by which each tap was divided."""
    prior: Prior
    cost: float

    @property
    def slope(self) -> Floats:
        """(2K + 1,) over f, ln a, ln b; glides eliminated."""
        return self._normal[0]

    @property
    def curve(self) -> Floats:
        """(2K + 1, 2K + 1) of the same."""
        return self._normal[1]

    @cached_property
    def _normal(self) -> tuple[Floats, Floats]:
        mean, spread = glide_prior(self.poles, self.prior)
        _, slope, curve = _pole_prior(self.poles, self.prior)
        each = normals(self.taps)
        curves = np.array([tap.curve for tap in each])
        slopes = np.array([tap.slope for tap in each])
        stiff = curves[:, -1, -1] + spread**-2
        pull = slopes[:, -1] - (self.poles.glide - mean) / spread**2
        follow = curves[:, :-1, -1]
        slope += slopes[:, :-1].sum(axis=0) - (pull / stiff) @ follow
        curve += curves[:, :-1, :-1].sum(axis=0) - (follow.T / stiff) @ follow
        return slope, curve


def evaluate(data: Round, poles: Poles, scale: Floats, prior: Prior) -> Fit:
    """Cost and amplitudes over all taps at these poles."""
    waves = Waves.at(data.times_s, poles)
    taps = all_taps(data, poles, waves, scale)
    mean, spread = glide_prior(poles, prior)
    cost, *_ = _pole_prior(poles, prior)
    cost += sum(tap.square for tap in taps)
    cost += float(np.sum(((poles.glide - mean) / spread) ** 2))
    return Fit(poles, taps, scale, prior, cost)


def glide_prior(poles: Poles, prior: Prior) -> tuple[Floats, Floats]:
    """Expected glide of each tap and its spread: in proportion to strength squared."""
    level = float(poles.glide @ prior.share / (prior.share @ prior.share))
    spread = GLIDE_SPREAD * abs(level) * prior.share + GLIDE_SLACK
    return level * prior.share, spread


def _pole_prior(poles: Poles, prior: Prior) -> tuple[float, Floats, Floats]:
    """The weak priors on ln b and on the decays of close pairs: cost, slope and curve."""
    count = len(poles.frequency_hz)
    slope, curve = np.zeros(2 * count + 1), np.zeros((2 * count + 1, 2 * count + 1))
    off = float(np.log(poles.glide_rate / prior.glide_rate)) / RATE_SPREAD
    slope[-1] -= off / RATE_SPREAD
    curve[-1, -1] += RATE_SPREAD**-2
    cost = off**2
    for k in range(count - 1):
        if poles.frequency_hz[k + 1] - poles.frequency_hz[k] < TWIN_HZ:
            i, j = count + k, count + k + 1
            lean = float(np.log(poles.decay_per_s[k] / poles.decay_per_s[k + 1]))
            weight = TWIN_SPREAD**-2
            slope[i] -= lean * weight
            slope[j] += lean * weight
            curve[i, i] += weight
            curve[j, j] += weight
            curve[i, j] -= weight
            curve[j, i] -= weight
            cost += lean**2 * weight
    return cost, slope, curve


def step_from(fit: Fit, prior: Prior, damping: float) -> tuple[Poles, float]:
    """Poles after one damped Gauss-Newton step, and the fall of the cost that it expects."""
    count = len(fit.poles.frequency_hz)
    diagonal = np.diag(fit.curve)
    scale = 1 / np.sqrt(np.maximum(diagonal, 1e-12 * diagonal.max()))
    scaled = fit.curve * np.outer(scale, scale)
    scaled[np.diag_indices_from(scaled)] += damping + 1e-10
    move = scale * np.linalg.solve(scaled, scale * fit.slope)
    hope = float(move @ fit.slope)
    mean, spread = glide_prior(fit.poles, prior)
    glide = fit.poles.glide.copy()
    for i, tap in enumerate(fit.taps):
        slope, curve = tap.normal.slope[-1], tap.normal.curve[-1]
        pull = slope - (glide[i] - mean[i]) / spread[i] ** 2
        stiff = curve[-1] + spread[i] ** -2
        hope += pull**2 / stiff
        glide[i] += (pull - curve[:-1] @ move) / (stiff * (1 + damping))
    frequency = fit.poles.frequency_hz + np.clip(move[:count], -4, 4)
    decay = fit.poles.decay_per_s * np.exp(np.clip(move[count : 2 * count], -0.7, 0.7))
    order = np.argsort(frequency)
    stepped = Poles(
        frequency_hz=frequency[order],
        decay_per_s=np.clip(decay, 0.5, 260.0)[order],
        glide=np.clip(glide, LEAST_GLIDE, MOST_GLIDE),
        glide_rate=float(fit.poles.glide_rate * np.exp(np.clip(move[-1], -0.5, 0.5))),
    )
    return stepped, hope


def refine(
    data: Round,
    poles: Poles,
    scale: Floats,
    prior: Prior,
    passes: int = PASSES,
    settle: float = 0.1,
) -> Fit:
    """Damped Gauss-Newton until a step promises to lower the cost by less than ``settle``.

    Counted in units of the residuals' own variance: 1 is one standard deviation of one
    parameter.
    """
    fit = evaluate(data, poles, scale, prior)
    damping = 1e-4
    settle *= unit(fit)
    for _ in range(passes):
        stepped, hope = step_from(fit, prior, damping)
        if hope < settle or damping > 1e3:
            break
        trial = evaluate(data, stepped, scale, prior)
        kept = (fit.cost - trial.cost) / hope
        if kept >= 0:
            fit = trial
        damping = _next_damping(damping, kept)
    return fit


def _next_damping(damping: float, kept: float) -> float:
    """Damping after a step that kept this share of its promise.

    A step fails by the poles that hardly matter, and only strong damping holds those.
    """
    if kept < 0:
        return max(30 * damping, LEAST_HOLD)
    if kept < 0.25:
        return 3 * damping
    return damping / (10 if kept > 0.6 else 2)


def unit(fit: Fit) -> float:
    """Mean square of the residuals, in noise units, or 1 if that is less."""
    count = sum(len(tap.residual) for tap in fit.taps)
    return max(1.0, sum(tap.square for tap in fit.taps) / count)


def keep_poles(poles: Poles, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Poles:
    """The chosen poles only."""
    return replace(
        poles, frequency_hz=poles.frequency_hz[keep], decay_per_s=poles.decay_per_s[keep]
    )
