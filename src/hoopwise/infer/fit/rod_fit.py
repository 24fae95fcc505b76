"""Gauss-Newton fit of the rods' deviations to the moments of a round.

Unknown are the N deviations and a few waves of the seat, one log-frequency shift per mode
group, two complex numbers per group for the microphone, and per tap: strength, phase,
delay, contact time and the place that the tip really met. The taps' own unknowns are
eliminated tap by tap.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.rod_state import TAP_SD, Point, Setting
from hoopwise.infer.fit.rod_system import (
    Scatter,
    System,
    assemble,
    scatter_at,
    states_at,
    strength_at,
    tapped_at,
)
from hoopwise.infer.head.even_head import Places
from hoopwise.infer.head.rod_model import GroupStates

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_MAX_STEPS = 12
_TOLERANCE = 3.0
"""Misfit of a tap against the usual from where on it counts less."""
_LEAST_SCATTER = 0.1
"""What the model leaves unexplained of a group may be so little of the variance feared."""
_NARROWEST = 0.7
"""Part of what is feared is the same at every tap, so that residuals do not show it."""
_EXPECTED = 8.0
"""Residuals' worth of trust in the scatter that was expected."""


@dataclass(frozen=True)
class Fit:
    """Where a fit ended."""

    point: Point
    cost: float
    """Half the sum of squares, priors included."""
    cov: FloatArray
    """(N, N) of the deviations."""
    deviation: FloatArray
    """(N,) at the rods, seat and all."""
    residual: FloatArray
    """(T, R) whitened."""
    columns: tuple[slice, ...]
    """Each group's part of R."""
    states: GroupStates
    freedom: FloatArray
    """(G,) residuals less the parameters that they paid for."""
    room: float
    """Log of the scatter that the moments were allowed, summed: what weak claims cost."""

    @property
    def tolerant_cost(self) -> float:
        """The same where taps that do not fit, and groups that do not, may count less.

        One tap may be a mistake; a group's scatter is widened to what it shows.
        """
        return self._cost_scaled(1.0)

    @cached_property
    def surprise(self) -> float:
        """Minus the log likelihood of the moments and priors, but for a constant.

        Fits that believe different strengths, or allow more scatter, compare by this. A
        group's scatter may prove less than was feared as well as more.
        """
        return self._cost_scaled(_LEAST_SCATTER) + self.room

    def _cost_scaled(self, least: float) -> float:
        """Cost with each group's variance as likely as can be, but no less than a share."""
        saved = 0.0
        for columns, freedom in zip(self.columns, self.freedom, strict=True):
            by_tap = 0.5 * np.sum(self.residual[:, columns] ** 2, axis=1)
            most = _TOLERANCE * 0.5 * (columns.stop - columns.start)
            left = float(np.sum(most * np.log1p(by_tap / most)))
            usual = max(0.5 * float(freedom), 1.0)
            scale = max(left / usual, least)
            saved += float(by_tap.sum()) - left / scale - usual * float(np.log(scale))
        return self.cost - saved


@dataclass(frozen=True)
class _Step:
    everywhere: FloatArray
    per_tap: FloatArray
    scaled: FloatArray
    """Normal matrix of the global parameters, divided by their scales."""
    scale: FloatArray
    back: FloatArray
    """(T, 6, total): how each tap's own unknowns follow the global ones."""
    tap_cov: FloatArray

    @property
    def cov(self) -> FloatArray:
        """Covariance of the global parameters."""
        return np.asarray(np.linalg.inv(self.scaled) * np.outer(self.scale, self.scale))


def _solve(system: System, damping: float) -> _Step:
    jt, jg, r = system.by_tap, system.by_global, system.residual
    turned = np.swapaxes(jt, 1, 2)
    tt = turned @ jt
    tt.reshape(len(tt), -1)[:, ::7] += TAP_SD**-2.0
    tt.reshape(len(tt), -1)[:, ::7] *= 1.0 + damping
    tap_cov = np.asarray(np.linalg.inv(tt), dtype=np.float64)
    tg = turned @ jg
    right_t = (turned @ r[..., None])[..., 0] + system.tap_residual / TAP_SD
    back = tap_cov @ tg
    total = jg.shape[2]
    flat, extra = jg.reshape(-1, total), system.extra_slope
    gg = flat.T @ flat + extra.T @ extra
    gg -= tg.reshape(-1, total).T @ back.reshape(-1, total)
    right = flat.T @ r.ravel() + extra.T @ system.extra_residual
    right -= back.reshape(-1, total).T @ right_t.ravel()
    scale = 1.0 / np.sqrt(np.maximum(np.diag(gg), 1e-30))
    scaled = gg * (scale[:, None] * scale)
    scaled.flat[:: total + 1] += damping + 1e-10
    step = scale * np.linalg.solve(scaled, scale * right)
    per_tap = (tap_cov @ right_t[..., None])[..., 0] - back @ step
    return _Step(step, per_tap, scaled, scale, back, tap_cov)


def _moved(setting: Setting, point: Point, step: _Step) -> Point:
    lay, move = setting.layout, step.everywhere
    microphone = np.zeros(setting.heads.real.shape, dtype=np.complex128)
    # those of all groups stand one after the other
    microphone[setting.heads.real > 0] = move[lay.shared :].view(np.complex128)
    return Point(
        uneven=point.uneven + move[: lay.causes],
        log_shift=point.log_shift + move[lay.causes : lay.causes + lay.groups],
        inner=point.inner + move[lay.causes + lay.groups : lay.shared].reshape(-1, 2),
        microphone=point.microphone + microphone,
        tap=point.tap + step.per_tap,
    )


def fit(setting: Setting, start: Point, steps: int = _MAX_STEPS, rough: bool = False) -> Fit:
    """The nearest best fit from a start, by damped Gauss-Newton steps.

    From a rough start the first steps leave out how far the pairs lie apart, which an even
    head cannot follow.
    """
    states, at = states_at(setting, start), tapped_at(setting, start)
    point, system, scatter = descend(setting, start, states, at, steps, rough)
    step = _solve(system, 0.0)
    cov = step.cov
    # Leverage of each residual: how much of it the parameters paid for.
    joint = system.by_global - system.by_tap @ step.back
    lever = np.einsum("trp,trp->tr", joint @ cov, joint)
    lever += np.einsum("tra,tra->tr", system.by_tap @ step.tap_cov, system.by_tap)
    lever += system.followed
    freedom = np.array([np.sum(1.0 - np.clip(lever[:, c], 0, 1)) for c in system.columns])
    there, at_rods = setting.moments.there, setting.head.seat.at_rods
    causes = at_rods.shape[1]
    own = np.abs(np.diagonal(setting.white, axis1=2, axis2=3)).transpose(0, 2, 1)[there]
    return Fit(
        point=point,
        cost=system.cost,
        cov=at_rods @ cov[:causes, :causes] @ at_rods.T,
        deviation=at_rods @ point.uneven,
        residual=system.residual,
        columns=system.columns,
        states=system.states,
        freedom=freedom,
        room=-2.0 * float(np.sum(np.log(own))) + scatter.price,
    )


def covariance_at(setting: Setting, point: Point) -> FloatArray:
    """(N, N) of the deviations, if the taps of a setting were such as a point explains."""
    return fit(setting, point, steps=0).cov


def descend(
    setting: Setting, point: Point, states: GroupStates, at: Places, steps: int, rough: bool
) -> tuple[Point, System, Scatter]:
    """Where damped steps from a start lead; a rough one leaves splits out at first."""
    scatter = scatter_at(setting, point, states, at)
    split = not rough
    system = assemble(setting, point, scatter, split, states, at)
    damping = 1e-3
    for count in range(steps):
        if count == 3:
            split = True
            scatter = scatter_at(setting, point, system.states, at)
            system = assemble(setting, point, scatter, split, system.states, at)
        trial = _moved(setting, point, _solve(system, damping))
        trial_at = tapped_at(setting, trial)
        new = assemble(setting, trial, scatter, split, at=trial_at)
        if new.cost < system.cost:
            gain = system.cost - new.cost
            point, system, at, damping = trial, new, trial_at, max(damping * 0.2, 1e-6)
            if split and gain < 0.02:
                break
        else:
            damping = min(damping * 10.0, 1e3)
            if damping >= 1e3:
                break
    return _sized(setting, point, system), system, scatter


def _sized(setting: Setting, point: Point, system: System) -> Point:
    """The same point with microphones that suit the taps where strengths are free.

    There a fit does not care for the microphone's size and drifts to any, which the next
    would start from with a push that is modelled.
    """
    free, made = system.seen.strength, strength_at(setting, point.tap)
    size = np.sqrt(np.sum(np.abs(free) ** 2, axis=1) / np.sum(np.abs(made) ** 2, axis=1))
    size = np.where(setting.known | (size == 0.0), 1.0, size)
    return replace(point, microphone=point.microphone * size[:, None])


def rescaled(setting: Setting, fitted: Fit) -> Setting:
    """The same setting with groups that scatter more than was expected given that scatter."""
    return replace(setting, widen=setting.widen * np.sqrt(np.clip(_shown(fitted), 1.0, 9.0)))


def narrowed(setting: Setting, fitted: Fit) -> Setting:
    """The same setting with every group's scatter brought in line with its residuals.

    For a settled fit: while one is looked for, too little scatter would lead it astray.
    """
    widen = setting.widen * np.sqrt(np.clip(_shown(fitted), _LEAST_SCATTER, 9.0))
    return replace(setting, widen=np.maximum(widen, _NARROWEST))


def _shown(fitted: Fit) -> FloatArray:
    """(G,) variance that each group's residuals show, against what was expected."""
    return np.array(
        [
            (np.sum(fitted.residual[:, c] ** 2) + _EXPECTED) / (max(float(f), 0.0) + _EXPECTED)
            for c, f in zip(fitted.columns, fitted.freedom, strict=True)
        ]
    )
