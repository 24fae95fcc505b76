"""Maximum-likelihood refinement of the shared poles over all taps.

Model of tap t at time s after its onset:  sum_k Re[A_tk exp(i theta_tk - a_k s)],
theta_tk = 2 pi f_k (s + g_t (1 - exp(-b s)) / b).  The amplitudes are linear and are
projected out tap by tap, the glides g_t are eliminated from the normal equations, so
that only f_k, ln a_k and ln b are left: variable projection in Kaufman's form (BIT 15,
1975; FROM MEMORY) with the analytic Jacobian and Levenberg's damping.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.glide import settling, settling_slope
from hoopwise.listen.joint_data import Floats, Round
from hoopwise.listen.joint_poles import Complexes, Poles

GLIDE_SPREAD = 0.3
"""Glides follow strength squared to within this share (weak prior) ..."""
GLIDE_SLACK = 5e-4
"""... and this much."""
RATE_SPREAD = 0.7
"""Weak prior on ln b round the energy's own decay."""
TWIN_SPREAD = 0.3
"""Weak prior: ln of the decays' ratio within a close pair."""
TWIN_HZ = 6.0
PASSES = 12


@dataclass(frozen=True)
class Prior:
    """What is expected before the fit: glide over taps and its rate."""

    share: Floats
    """(T,) each tap's energy over the strongest tap's."""
    glide_rate: float


@dataclass(frozen=True)
class TapFit:
    """One tap's part of the normal equations, in units of its own noise."""

    amplitude: Complexes
    """(K,) at the window's start in decay, at the onset in phase."""
    gram_inverse: Floats
    """(2K, 2K) covariance of (Re A, Im A) at unit noise, poles and glide given."""
    slope: Floats
    """(2K + 2,) projected Jacobian times residual: f, ln a, ln b, g."""
    curve: Floats
    """(2K + 2, 2K + 2) projected J'J."""
    drag: Floats
    """(2K, 2K + 2) change of the amplitudes with each parameter."""
    residual: Floats
    """(n,) what is left of the samples, over the noise rms."""

    @property
    def square(self) -> float:
        """Sum of squared residuals over noise variance."""
        return float(self.residual @ self.residual)


@dataclass(frozen=True)
class Fit:
    """Poles with the normal equations at them."""

    poles: Poles
    taps: tuple[TapFit, ...]
    scale: Floats
    """(T,) noise rms by which each tap was divided."""
    cost: float
    slope: Floats
    """(2K + 1,) over f, ln a, ln b; glides eliminated."""
    curve: Floats


@dataclass(frozen=True)
class Waves:
    """What the modes of all taps have in common at one set of poles."""

    times_s: Floats
    real: Floats
    """(K, N) modes without glide; decay from the first time, phase from the onset."""
    imag: Floats
    settling_s: Floats
    """(N,) extra phase time of a unit glide."""
    settling_slope_s: Floats
    """(N,) its derivative by ln b."""

    @classmethod
    def at(cls, times_s: Floats, poles: Poles) -> "Waves":
        """Waves on an even grid of times, built from products of two short tables."""
        rate = 2j * np.pi * poles.frequency_hz - poles.decay_per_s
        block, step = 64, times_s[1] - times_s[0]
        fine = np.exp(rate[:, None] * (np.arange(block) * step))
        coarse = np.exp(rate[:, None] * (np.arange(0, len(times_s), block) * step))
        coarse *= np.exp(2j * np.pi * poles.frequency_hz * times_s[0])[:, None]
        wave = (coarse[:, :, None] * fine[:, None, :]).reshape(len(rate), -1)[:, : len(times_s)]
        return cls(
            times_s,
            np.ascontiguousarray(wave.real),
            np.ascontiguousarray(wave.imag),
            settling(times_s, poles.glide_rate),
            settling_slope(times_s, poles.glide_rate),
        )

    def basis(self, poles: Poles, glide: float, count: int, out: Floats) -> None:
        """Rows Re and -Im of one tap's modes, first ``count`` samples, into ``out`` (2K, n)."""
        k = len(self.real)
        real, imag = self.real[:, :count], self.imag[:, :count]
        turns = (2 * np.pi * glide) * poles.frequency_hz[:, None] * self.settling_s[:count]
        # a glide turns a mode by a few radians at most: single precision is 1e-6 of it
        phase = turns.astype(np.float32)
        cos, sin = np.cos(phase), np.sin(phase)
        np.multiply(real, cos, out=out[:k])
        out[:k] -= imag * sin
        np.multiply(imag, cos, out=out[k:])
        out[k:] += real * sin
        np.negative(out[k:], out=out[k:])


def fit_tap(data: Round, poles: Poles, waves: Waves, index: int, scale: float) -> TapFit:
    """Amplitudes and projected normal equations of one tap; ``scale`` is its noise rms."""
    n, count = int(data.lengths[index]), len(poles.frequency_hz)
    g = float(poles.glide[index])
    rows = np.empty((4 * count + 3, n))
    basis, by_f, by_a = rows[: 2 * count], rows[2 * count : 3 * count], rows[3 * count : -3]
    waves.basis(poles, g, n, basis)
    y = data.samples[index, :n] / scale
    gram = basis @ basis.T
    gram.flat[:: 2 * count + 1] *= 1 + 1e-9
    inverse = np.linalg.inv(gram)
    c = inverse @ (basis @ y)
    rows[-1] = y - c @ basis
    t, u = waves.times_s[:n], waves.settling_s[:n]
    re, im = basis[:count], basis[count:]
    x, v = c[:count, None], c[count:, None]
    np.multiply(re, v, out=by_f)
    by_f -= x * im  # the imaginary part of each mode: im holds its negative
    turn = -2 * np.pi * (poles.frequency_hz @ by_f)
    by_f *= -2 * np.pi * (t + g * u)
    np.multiply(re, x * -poles.decay_per_s[:, None], out=by_a)
    by_a -= (v * poles.decay_per_s[:, None]) * im
    by_a *= t - t[0]
    rows[-3] = turn * (g * waves.settling_slope_s[:n])
    rows[-2] = turn * u
    products = rows[2 * count :] @ rows.T
    cross = products[:-1, : 2 * count]
    drag = inverse @ cross.T
    return TapFit(
        amplitude=np.asarray((c[:count] + 1j * c[count:]) * scale),
        gram_inverse=np.asarray(inverse),
        slope=products[:-1, -1],
        curve=products[:-1, 2 * count : -1] - cross @ drag,
        drag=drag,
        residual=rows[-1].copy(),
    )


def evaluate(data: Round, poles: Poles, scale: Floats, prior: Prior) -> Fit:
    """Cost and normal equations over all taps at these poles."""
    waves = Waves.at(data.times_s, poles)
    taps = tuple(fit_tap(data, poles, waves, i, float(scale[i])) for i in range(data.taps))
    mean, spread = glide_prior(poles, prior)
    size = 2 * len(poles.frequency_hz) + 1
    slope, curve = np.zeros(size), np.zeros((size, size))
    cost = 0.0
    for tap, g, expected, width in zip(taps, poles.glide, mean, spread, strict=True):
        stiff = tap.curve[-1, -1] + 1 / width**2
        pull = tap.slope[-1] - (g - expected) / width**2
        lever = tap.curve[:-1, -1] / stiff
        slope += tap.slope[:-1] - lever * pull
        curve += tap.curve[:-1, :-1] - np.outer(lever, tap.curve[-1, :-1])
        cost += tap.square + ((g - expected) / width) ** 2
    cost += _add_priors(poles, prior, slope, curve)
    return Fit(poles, taps, scale, cost, slope, curve)


def glide_prior(poles: Poles, prior: Prior) -> tuple[Floats, Floats]:
    """Expected glide of each tap and its spread: in proportion to strength squared."""
    level = float(poles.glide @ prior.share / (prior.share @ prior.share))
    spread = GLIDE_SPREAD * abs(level) * prior.share + GLIDE_SLACK
    return level * prior.share, spread


def _add_priors(poles: Poles, prior: Prior, slope: Floats, curve: Floats) -> float:
    """Add the weak priors on ln b and on the decays of close pairs; their cost."""
    off = float(np.log(poles.glide_rate / prior.glide_rate)) / RATE_SPREAD
    slope[-1] -= off / RATE_SPREAD
    curve[-1, -1] += RATE_SPREAD**-2
    cost = off**2
    count = len(poles.frequency_hz)
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
    return cost


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
        pull = tap.slope[-1] - (glide[i] - mean[i]) / spread[i] ** 2
        stiff = tap.curve[-1, -1] + spread[i] ** -2
        hope += pull**2 / stiff
        glide[i] += (pull - tap.curve[-1, :-1] @ move) / (stiff * (1 + damping))
    frequency = fit.poles.frequency_hz + np.clip(move[:count], -4, 4)
    decay = fit.poles.decay_per_s * np.exp(np.clip(move[count : 2 * count], -0.7, 0.7))
    order = np.argsort(frequency)
    stepped = Poles(
        frequency_hz=frequency[order],
        decay_per_s=np.clip(decay, 0.5, 260.0)[order],
        glide=np.clip(glide, -0.01, 0.08),
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

    The cost is in units of the noise variance: 1 is one standard deviation of one parameter.
    """
    fit = evaluate(data, poles, scale, prior)
    damping = 1e-4
    for _ in range(passes):
        stepped, hope = step_from(fit, prior, damping)
        if hope < settle or damping > 1e3:
            break
        trial = evaluate(data, stepped, scale, prior)
        if trial.cost <= fit.cost:
            fit, damping = trial, damping / 10
        else:
            damping = max(damping * 30, 1e-3)
    return fit


def keep_poles(poles: Poles, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Poles:
    """The chosen poles only."""
    return replace(
        poles, frequency_hz=poles.frequency_hz[keep], decay_per_s=poles.decay_per_s[keep]
    )
