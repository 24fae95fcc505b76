"""The law that a gliding mode's phase follows, fitted to the phase.

The tension, and so the square of the frequency, rises with the energy in the head
(Kirchhoff and Carrier's string carried over to the membrane). The mode's own share of it
goes with its amplitude A squared; what the head's other modes lift it by cannot be seen in
A, and dies sooner, so it is one more exponential, kept only where the phase bears it out:

    f(t) = f0 sqrt(1 + k A(t)^2 + m exp(-b t)),   m >= 0.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

RATES: Final = np.geomspace(1.25, 4.0, 8)
"""Rates b that are tried, over that of A^2: other modes die 1.25 to 4 times as soon."""
LIFT_SD: Final = 1.0
"""Other modes lift the mode about as far as it lifts itself, or less."""
PRICE: Final = 25.0
"""Chi square that the other modes' lift must save: five standard deviations, because several
rates are tried and what a real drum leaves over is no white noise."""
LEAST_K, MOST_K = -0.05, 3.0
"""Bounds of k A^2 at the onset."""


@dataclass(frozen=True)
class Law:
    """The law's numbers; times count from the onset."""

    frequency_hz: float
    """Settled frequency f0."""
    k: float = 0.0
    """Relative tension per squared amplitude."""
    lift: float = 0.0
    """m: relative tension at the onset that other modes account for."""
    lift_rate: float = 1.0
    """b, 1/s."""

    def stretch(self, t_s: Real, power: Real) -> Real:
        """Frequency over f0 at times ``t_s`` where A^2 is ``power``; never below 0.7."""
        tension = 1.0 + self.k * power + self.lift * np.exp(-self.lift_rate * t_s)
        # a beat's peak can pass what a negative k allows
        return np.asarray(np.sqrt(np.maximum(tension, 0.5)))


@dataclass(frozen=True)
class LawFit:
    """A law fitted to the phase."""

    law: Law
    sd_hz: float
    """Standard deviation of f0 from what the law leaves over."""
    left_rad: Real
    """Phase that the law leaves over."""


@dataclass(frozen=True)
class _Step:
    """Weighted least squares of one candidate: steps of the law's numbers."""

    by: Real
    """Steps of the phase at the onset, f0 and k."""
    cov: Real
    """(3, 3), for errors of variance 1."""
    left: Real
    """Weighted phase left over."""
    lift: float = 0.0
    rate: float = 1.0


def fit_law(t: Real, amplitude: Real, phase: Real, now: Law, decay: float, level: float) -> LawFit:
    """Correct the law ``now`` by one Gauss-Newton step.

    Parameters
    ----------
    t, amplitude : (n,) times (s) and the mode's amplitude; weights of the phase
    phase : (n,) unwrapped phase (rad) that ``now`` leaves over
    decay, level : float
        The mode's decay rate (1/s) and its amplitude at the onset.
    """
    power = amplitude**2
    stretch = now.stretch(t, power)
    slope = np.pi * now.frequency_hz / stretch
    rows = np.stack([np.ones(len(t)), 2.0 * np.pi * stretch, slope * power])
    rows[1:] = integral(t, rows[1:])
    rates = 2.0 * decay * RATES
    lifts = integral(t, slope * np.exp(-np.multiply.outer(rates, t)))
    own = now.lift * integral(t, slope * np.exp(-now.lift_rate * t))
    step = _best_step(
        rows * amplitude, lifts * amplitude, (phase + own) * amplitude, rates, now.k, level
    )
    free = max(1, len(t) - 3 - (step.lift > 0.0))
    variance = float(step.left @ step.left) / free * _correlation(step.left)
    k = float(np.clip(now.k + step.by[2], LEAST_K / level**2, MOST_K / level**2))
    return LawFit(
        law=Law(now.frequency_hz + float(step.by[1]), k, step.lift, step.rate),
        sd_hz=float(np.sqrt(step.cov[1, 1] * variance)),
        left_rad=step.left / amplitude,
    )


def _best_step(rows: Real, lifts: Real, target: Real, rates: Real, k: float, level: float) -> _Step:
    """The step without a lift, or with the lift that saves the most, if it pays."""
    q, r = np.linalg.qr(rows.T)
    inverse = np.linalg.pinv(r)
    by, cov = inverse @ (q.T @ target), inverse @ inverse.T
    left = target - q @ (q.T @ target)
    simple = _Step(by, cov, left)
    sd = LIFT_SD * (k + float(by[2])) * level**2
    if sd <= 0.0 or len(left) < 12:
        return simple
    shared = q.T @ lifts.T
    free = lifts - (q @ shared).T
    pull, weight = free @ left, np.einsum("ij,ij->i", free, free)
    allowed = pull > 0.0
    if not allowed.any():
        return simple
    best = int(np.argmax(np.where(allowed, pull**2 / weight, 0.0)))
    rest = left - pull[best] / weight[best] * free[best]
    noise = float(rest @ rest) / max(1, len(rest) - 5) * _correlation(rest)
    stiff = weight + noise / sd**2
    best = int(np.argmax(np.where(allowed, pull**2 / stiff, 0.0)))
    if pull[best] ** 2 / stiff[best] <= PRICE * noise:
        return simple
    lift = float(pull[best] / stiff[best])
    moved = inverse @ shared[:, best]
    return _Step(
        by=by - lift * moved,
        cov=cov + np.outer(moved, moved) / stiff[best],
        left=left - lift * free[best],
        lift=lift,
        rate=float(rates[best]),
    )


def integral(t: Real, x: Real) -> Real:
    """Integral of the last axis of ``x`` from the first time to each, by trapezoids."""
    steps = 0.5 * (x[..., 1:] + x[..., :-1]) * np.diff(t)
    zero = np.zeros((*x.shape[:-1], 1))
    return np.concatenate([zero, np.cumsum(steps, axis=-1)], axis=-1)


def _correlation(x: Real) -> float:
    """How many neighbouring samples tell the same: 1 for white, more for slow errors."""
    x = x - x.mean()
    power = float(x @ x)
    if power <= 0.0:
        return 1.0
    rho = float(np.clip(x[1:] @ x[:-1] / power, 0.0, 0.98))
    return (1.0 + rho) / (1.0 - rho)
