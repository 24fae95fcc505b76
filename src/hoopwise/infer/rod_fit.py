"""Gauss-Newton fit of the rods' deviations to the moments of a round.

Unknown are the N deviations, one log-frequency shift per mode group, two complex numbers
per group for the microphone, and per tap: strength, phase, delay, contact time and the
place that the tip really met. The taps' own unknowns are eliminated tap by tap.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.even_head import EvenHead, places
from hoopwise.infer.rod_model import GroupState, solve_group
from hoopwise.infer.rod_state import TAP_SD, Point, Setting, subset
from hoopwise.infer.rod_system import (
    System,
    assemble,
    layout,
    states_at,
    strength_at,
    whiteners,
)
from hoopwise.infer.round_data import GroupData

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_MAX_STEPS = 12
_JOIN_STEPS = 4
_TOLERANCE = 3.0
"""Misfit of a tap against the usual from where on it counts less."""


@dataclass(frozen=True)
class Fit:
    """Where a fit ended."""

    point: Point
    cost: float
    """Half the sum of squares, priors included."""
    cov: FloatArray
    """(N, N) of the deviations."""
    residual: FloatArray
    """(T, R) whitened."""
    columns: tuple[slice, ...]
    """Each group's part of R."""
    states: tuple[GroupState, ...]
    freedom: FloatArray
    """(G,) residuals less the parameters that they paid for."""
    room: float
    """Log of the scatter that the moments were allowed, summed: what weak claims cost."""

    @cached_property
    def tolerant_cost(self) -> float:
        """The same where taps that do not fit, and groups that do not, may count less.

        One tap may be a mistake; a group's scatter is widened to what it shows.
        """
        saved = 0.0
        for columns, freedom in zip(self.columns, self.freedom, strict=True):
            by_tap = 0.5 * np.sum(self.residual[:, columns] ** 2, axis=1)
            most = _TOLERANCE * 0.5 * (columns.stop - columns.start)
            left = float(np.sum(most * np.log1p(by_tap / most)))
            usual = max(0.5 * float(freedom), 1.0)
            if left > usual:
                left = usual * (1.0 + float(np.log(left / usual)))
            saved += float(by_tap.sum()) - left
        return self.cost - saved

    @property
    def surprise(self) -> float:
        """Minus the log likelihood of the moments and priors, but for a constant.

        Fits that believe different strengths, or allow more scatter, compare by this.
        """
        return self.tolerant_cost + self.room


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
    point = Point(setting.prior_mean.copy(), np.empty(0), np.empty((0, 2)), (), tap)
    microphone: dict[int, ComplexArray] = {}
    shift: dict[int, float] = {}
    inner: dict[int, FloatArray] = {}
    for count in (*range(2, len(order), 2), len(order)):
        joined = sorted(order[:count])
        part = subset(setting, joined)
        for new in (g for g in joined if g not in shift):
            shift[new] = even_shift(setting.heads[new], setting.groups[new])
            inner[new] = np.zeros(2)
            microphone[new] = _microphone(setting, new, point)
        point = replace(
            point,
            log_shift=np.array([shift[g] for g in joined]),
            inner=np.array([inner[g] for g in joined]),
            microphone=tuple(microphone[g] for g in joined),
        )
        point = fit(part, point, steps=_JOIN_STEPS, rough=True).point
        microphone = dict(zip(joined, point.microphone, strict=True))
        shift = dict(zip(joined, point.log_shift.tolist(), strict=True))
        inner = dict(zip(joined, point.inner, strict=True))
    return point


def even_shift(head: EvenHead, group: GroupData) -> float:
    """Log of a group's measured over its even frequency."""
    return float(np.log(group.mean_hz / head.frequency_hz[head.members(group.name)[0]]))


def _microphone(setting: Setting, g: int, point: Point) -> ComplexArray:
    """How the microphone hears a group, by least squares with everything else as it is."""
    group, head = setting.groups[g], setting.heads[g]
    full = np.full(len(head.frequency_hz), even_shift(head, group))
    state = solve_group(head, group.name, (group.name,), point.deviation, full, np.zeros(2))
    at = places(head.model, setting.radius_m + point.tap[:, 5], setting.angle_rad + point.tap[:, 4])
    strength, value, _ = strength_at(setting, group, point.tap)
    design = (strength * value)[:, None] * (at.value @ (head.ritz @ state.moments()[0]))
    found, *_ = np.linalg.lstsq(design, group.moments[:, 0], rcond=1e-6)
    return np.asarray(found, dtype=np.complex128)


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
    microphone = tuple(
        r + move[s.start : s.stop : 2] + 1j * move[s.start + 1 : s.stop : 2]
        for r, s in zip(point.microphone, lay.microphone, strict=True)
    )
    return Point(
        deviation=point.deviation + move[: lay.rods],
        log_shift=point.log_shift + move[lay.rods : lay.rods + lay.groups],
        inner=point.inner + move[lay.rods + lay.groups : lay.shared].reshape(-1, 2),
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
    white = whiteners(setting, point, states)
    system = assemble(setting, point, white, split=not rough, states=states)
    damping, split = 1e-3, not rough
    for count in range(steps):
        if count == 3:
            split = True
            white = whiteners(setting, point, system.states)
            system = assemble(setting, point, white, split, states=system.states)
        step = _solve(system, damping)
        trial = _moved(setting, point, step, 1.0)
        states = states_at(setting, trial)
        new = assemble(setting, trial, white, split, states=states)
        if new.cost < system.cost:
            gain = system.cost - new.cost
            point, system, damping = trial, new, max(damping * 0.2, 1e-6)
            if split and gain < 0.02:
                break
        else:
            damping = min(damping * 10.0, 1e3)
            if damping >= 1e3:
                break
    return _finish(setting, point, system, white)


def _finish(setting: Setting, point: Point, system: System, white: list[ComplexArray]) -> Fit:
    step = _solve(system, 0.0)
    # Leverage of each residual: how much of it the parameters paid for.
    joint = system.by_global - system.by_tap @ step.back
    lever = np.sum((joint @ step.cov) * joint, axis=2)
    lever += np.sum((system.by_tap @ step.tap_cov) * system.by_tap, axis=2)
    freedom = np.array([np.sum(1.0 - np.clip(lever[:, c], 0, 1)) for c in system.columns])
    n = setting.head.rods
    return Fit(
        point=point,
        cost=system.cost,
        cov=step.cov[:n, :n],
        residual=system.residual,
        columns=system.columns,
        states=system.states,
        freedom=freedom,
        room=-2.0 * sum(float(np.sum(np.log(np.abs(np.einsum("tjj->tj", w))))) for w in white),
    )


def rescaled(setting: Setting, fitted: Fit) -> Setting:
    """The same setting with each group's scatter brought in line with its residuals.

    Only ever wider: what the tip and the model may do is known beforehand.
    """
    size = np.array(
        [
            np.sum(fitted.residual[:, c] ** 2) / max(f, 1.0)
            for c, f in zip(fitted.columns, fitted.freedom, strict=True)
        ]
    )
    return replace(setting, widen=setting.widen * np.sqrt(np.clip(size, 1.0, 9.0)))
