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

from hoopwise.infer.rod_model import GroupStates
from hoopwise.infer.rod_state import TAP_SD, Point, Setting, subset
from hoopwise.infer.rod_system import (
    Scatter,
    System,
    assemble,
    layout,
    scatter_at,
    states_at,
    strength_at,
    tapped_at,
)

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_MAX_STEPS = 12
_JOIN_STEPS = 4
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


def start_point(setting: Setting, anchor: ComplexArray) -> Point:
    """Even head, tap strengths from the anchor amplitude (T,), microphone by least squares.

    Delays matter more the higher a mode lies, so groups join two by two from the lowest up,
    when those below them have settled the taps' own unknowns.
    """
    size = np.maximum(np.abs(anchor), 1e-3 * np.median(np.abs(anchor)))
    tap = np.zeros((len(anchor), 6))
    tap[:, 0] = np.log(size)
    tap[:, 1] = np.angle(anchor)
    tap[:, 0] -= tap[:, 0].mean()
    order = sorted(range(len(setting.groups)), key=lambda g: setting.groups[g].mean_hz)
    groups = len(order)
    whole = Point(
        uneven=setting.prior_spread[0].copy(),
        log_shift=even_shift(setting),
        inner=np.zeros((groups, 2)),
        microphone=np.zeros((groups, 2), dtype=np.complex128),
        tap=tap,
    )
    before: list[int] = []
    for count in (*range(2, groups, 2), groups):
        joined = sorted(order[:count])
        part = subset(setting, joined)
        new = [g for g in joined if g not in before]
        whole.microphone[new] = _microphone(part, _part(whole, joined))[np.isin(joined, new)]
        fitted = fit(part, _part(whole, joined), steps=_JOIN_STEPS, rough=True).point
        whole = _joined(whole, fitted, joined)
        before = joined
    return whole


def _part(point: Point, groups: list[int]) -> Point:
    """The same point for some groups only."""
    return replace(
        point,
        log_shift=point.log_shift[groups],
        inner=point.inner[groups],
        microphone=point.microphone[groups],
    )


def _joined(whole: Point, part: Point, groups: list[int]) -> Point:
    """The whole point with what a part of the groups was found to be."""
    shift, inner, microphone = whole.log_shift.copy(), whole.inner.copy(), whole.microphone.copy()
    shift[groups], inner[groups], microphone[groups] = part.log_shift, part.inner, part.microphone
    return Point(part.uneven, shift, inner, microphone, part.tap)


def even_shift(setting: Setting) -> FloatArray:
    """(G,) log of each group's measured over its even frequency."""
    heads = setting.heads
    even = heads.frequency_hz[np.arange(len(heads.groups)), heads.members[:, 0]]
    return np.asarray(np.log(setting.moments.mean_hz / even))


def _microphone(setting: Setting, point: Point) -> ComplexArray:
    """(G, 2) how the microphone hears each group, by least squares, all else as it is."""
    states, at = states_at(setting, point), tapped_at(setting, point)
    strength, value, _ = strength_at(setting, point.tap)
    shown = at.value @ (setting.heads.ritz @ states.moments()[:, 0])
    out = np.zeros((len(setting.groups), 2), dtype=np.complex128)
    for g, size in enumerate(setting.heads.real.sum(axis=1).astype(int)):
        design = (strength[g] * value[g])[:, None] * shown[g, :, :size]
        heard = setting.moments.values[g, :, 0]
        out[g, :size] = np.linalg.lstsq(design, heard, rcond=1e-6)[0]
    return out


@dataclass(frozen=True)
class _Step:
    everywhere: FloatArray
    per_tap: FloatArray
    cov: FloatArray
    back: FloatArray
    """(T, 6, total): how each tap's own unknowns follow the global ones."""
    tap_cov: FloatArray


def _solve(system: System, damping: float) -> _Step:
    jt, jg, r = system.by_tap, system.by_global, system.residual
    tt = jt.transpose(0, 2, 1) @ jt + np.diag(TAP_SD**-2.0)
    tt = tt + damping * np.einsum("tii,ij->tij", tt, np.eye(6))
    tap_cov = np.linalg.inv(tt)
    tg = jt.transpose(0, 2, 1) @ jg
    right_t = np.einsum("tra,tr->ta", jt, r) + system.tap_residual / TAP_SD
    back = tap_cov @ tg
    flat = jg.reshape(-1, jg.shape[2])
    gg = flat.T @ flat + system.extra_slope.T @ system.extra_slope
    gg = gg - np.einsum("tap,taq->pq", tg, back)
    right = flat.T @ r.ravel() + system.extra_slope.T @ system.extra_residual
    right = right - np.einsum("tap,ta->p", back, right_t)
    scale = np.sqrt(np.maximum(np.diag(gg), 1e-30))
    scaled = gg / np.outer(scale, scale) + (damping + 1e-10) * np.eye(len(gg))
    cov = np.linalg.inv(scaled) / np.outer(scale, scale)
    step = cov @ right
    per_tap = np.einsum("tab,tb->ta", tap_cov, right_t) - back @ step
    return _Step(step, per_tap, cov, back, tap_cov)


def _moved(setting: Setting, point: Point, step: _Step, share: float) -> Point:
    lay, move = layout(setting), step.everywhere * share
    microphone = point.microphone.copy()
    for g, place in enumerate(lay.microphone):
        real, imag = move[place].reshape(-1, 2).T
        microphone[g, : len(real)] += real + 1j * imag
    return Point(
        uneven=point.uneven + move[: lay.causes],
        log_shift=point.log_shift + move[lay.causes : lay.causes + lay.groups],
        inner=point.inner + move[lay.causes + lay.groups : lay.shared].reshape(-1, 2),
        microphone=microphone,
        tap=point.tap + share * step.per_tap,
    )


def fit(setting: Setting, start: Point, steps: int = _MAX_STEPS, rough: bool = False) -> Fit:
    """The nearest best fit from a start, by damped Gauss-Newton steps.

    From a rough start the first steps leave out how far the pairs lie apart, which an even
    head cannot follow.
    """
    point = start
    states = states_at(setting, point)
    scatter = scatter_at(setting, point, states)
    system = assemble(setting, point, scatter, split=not rough, states=states)
    damping, split = 1e-3, not rough
    for count in range(steps):
        if count == 3:
            split = True
            scatter = scatter_at(setting, point, system.states)
            system = assemble(setting, point, scatter, split, states=system.states)
        step = _solve(system, damping)
        trial = _moved(setting, point, step, 1.0)
        states = states_at(setting, trial)
        new = assemble(setting, trial, scatter, split, states=states)
        if new.cost < system.cost:
            gain = system.cost - new.cost
            point, system, damping = trial, new, max(damping * 0.2, 1e-6)
            if split and gain < 0.02:
                break
        else:
            damping = min(damping * 10.0, 1e3)
            if damping >= 1e3:
                break
    return _finish(setting, point, system, scatter)


def _finish(setting: Setting, point: Point, system: System, scatter: Scatter) -> Fit:
    step = _solve(system, 0.0)
    # Leverage of each residual: how much of it the parameters paid for.
    joint = system.by_global - system.by_tap @ step.back
    lever = np.sum((joint @ step.cov) * joint, axis=2)
    lever += np.sum((system.by_tap @ step.tap_cov) * system.by_tap, axis=2)
    lever += system.followed
    freedom = np.array([np.sum(1.0 - np.clip(lever[:, c], 0, 1)) for c in system.columns])
    there, at_rods = setting.moments.there, setting.head.seat.at_rods
    causes = at_rods.shape[1]
    own = np.abs(np.diagonal(setting.white, axis1=2, axis2=3)).transpose(0, 2, 1)[there]
    return Fit(
        point=point,
        cost=system.cost,
        cov=at_rods @ step.cov[:causes, :causes] @ at_rods.T,
        deviation=at_rods @ point.uneven,
        residual=system.residual,
        columns=system.columns,
        states=system.states,
        freedom=freedom,
        room=-2.0 * float(np.sum(np.log(own))) + scatter.price,
    )


def covariance_at(setting: Setting, point: Point) -> FloatArray:
    """(N, N) of the deviations, if the taps of a setting were such as a point explains."""
    states = states_at(setting, point)
    scatter = scatter_at(setting, point, states)
    system = assemble(setting, point, scatter, split=True, states=states)
    return _finish(setting, point, system, scatter).cov


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
