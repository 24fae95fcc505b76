"""Gauss-Newton fit of the rods' deviations to the moments of a round.

Unknown are the N deviations, one log-frequency shift per mode group, two complex numbers
per group for the microphone, and per tap: strength, phase, delay, contact time and the
place that the tip really met. The taps' own unknowns are eliminated tap by tap.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.even_head import EvenHead, places
from hoopwise.infer.rod_model import GroupState, solve_group
from hoopwise.infer.round_data import GroupData
from hoopwise.infer.tip import CONTACT_SD, UNKNOWN, push, push_error, usual_push

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

TAP_SD = np.array([1.5, 1.5, 2e-4, CONTACT_SD, 0.026, 2.0e-3])
"""Priors of a tap: log strength, phase (rad), delay (s), log contact, angle (rad), radius (m)."""
_MAX_STEPS = 12
_JOIN_STEPS = 4
_FLOOR = {(0, 1): 0.009, (1, 1): 0.015, (0, 2): 0.054, (1, 2): 0.054}
_FLOOR_ABOVE = 0.036
"""What the model leaves unexplained at a rod, against a group's typical amplitude."""
_INNER_SD = 0.0006
"""Split of a pair by what is not tension (uneven mass 0.4 %), fraction of its frequency."""


@dataclass(frozen=True)
class Setting:
    """What stays fixed during one fit; T taps, G groups, N rods."""

    head: EvenHead
    """With each order's air at its own lowest frequency; names and first guesses."""
    heads: tuple[EvenHead, ...]
    """One for each group, with all air at that group's frequency."""
    groups: tuple[GroupData, ...]
    angle_rad: FloatArray
    """(T,) nominal places."""
    radius_m: FloatArray
    contact_s: float
    known_to: float
    """Frequency times contact up to which the tip's push is modelled; beyond, any strength."""
    widen: FloatArray
    """(G,) how much further than expected the groups stray from the model."""
    tap_weight: FloatArray
    """(T, G) 1 for a tap that counts, less for one that does not fit."""
    repeats: FloatArray
    """(T,) how many taps of the round were made at the same rod."""
    prior_mean: FloatArray
    """(N,)"""
    prior_precision: FloatArray
    """(N, N)"""


@dataclass(frozen=True)
class Point:
    """A set of all unknowns."""

    deviation: FloatArray
    log_shift: FloatArray
    """(G,)"""
    inner: FloatArray
    """(G, 2) each pair's own split, as fractions of its frequency."""
    microphone: tuple[ComplexArray, ...]
    tap: FloatArray
    """(T, 6) in the order of TAP_SD."""


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


def extrapolate_shift(setting: Setting, log_shift: FloatArray) -> FloatArray:
    """Log shift of all B even modes: measured where measured, a + b film-share elsewhere."""
    head = setting.head
    share = np.array([head.film_share[head.members(g.name)[0]] for g in setting.groups])
    columns = np.stack([np.ones_like(share), share - 1.0], axis=1)
    ridge = np.diag([1e-9, 0.05])
    a, b = np.linalg.solve(columns.T @ columns + ridge, columns.T @ log_shift)
    full = a + b * (head.film_share - 1.0)
    for g, shift in zip(setting.groups, log_shift, strict=True):
        full[head.members(g.name)] = shift
    return np.asarray(full)


def start_point(setting: Setting, anchor: ComplexArray) -> Point:
    """Even head, tap strengths from the anchor amplitude (T,), microphone by least squares.

    Delays matter more the higher a mode lies, so groups join from the lowest up, each when
    those below it have settled the taps' own unknowns.
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
    for count in range(1, len(order) + 1):
        joined = sorted(order[:count])
        new = order[count - 1]
        part = subset(setting, joined)
        group = setting.groups[new]
        shift[new] = even_shift(setting.heads[new], group)
        inner[new] = np.zeros(2)
        microphone[new] = _microphone(setting, new, point)
        point = replace(
            point,
            log_shift=np.array([shift[g] for g in joined]),
            inner=np.array([inner[g] for g in joined]),
            microphone=tuple(microphone[g] for g in joined),
        )
        if count >= 2:
            point = fit(part, point, steps=_JOIN_STEPS).point
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
    strength, value, _ = _strength(setting, group, point.tap)
    design = (strength * value)[:, None] * (at.value @ (head.ritz @ state.moments()[0]))
    found, *_ = np.linalg.lstsq(design, group.moments[:, 0], rcond=1e-6)
    return np.asarray(found, dtype=np.complex128)


def _strength(
    setting: Setting, group: GroupData, tap: FloatArray
) -> tuple[ComplexArray, FloatArray, FloatArray]:
    """(T,) each tap's complex strength at a group, the tip's push there, and its slope."""
    omega = 2 * np.pi * group.mean_hz
    strength = np.exp(tap[:, 0] + 1j * (tap[:, 1] + omega * tap[:, 2]))
    x = group.mean_hz * setting.contact_s
    if x > setting.known_to:
        return strength, np.ones(len(tap)), np.zeros(len(tap))
    value, slope = push(x * np.exp(tap[:, 3]))
    return strength, value, slope


def subset(setting: Setting, groups: list[int]) -> Setting:
    """The same setting with some of its groups only."""
    return replace(
        setting,
        groups=tuple(setting.groups[g] for g in groups),
        heads=tuple(setting.heads[g] for g in groups),
        widen=setting.widen[groups],
        tap_weight=setting.tap_weight[:, groups],
    )


@dataclass(frozen=True)
class _Layout:
    """Where each global parameter sits: deviations, shifts, own splits, microphones."""

    rods: int
    groups: int
    microphone: tuple[slice, ...]
    total: int

    @property
    def shared(self) -> int:
        """Parameters of the head itself: all before the microphones."""
        return self.rods + 3 * self.groups


def _layout(setting: Setting) -> _Layout:
    n, g = setting.head.rods, len(setting.groups)
    slices, at = [], n + 3 * g
    for group in setting.groups:
        size = 2 * len(setting.head.members(group.name))
        slices.append(slice(at, at + size))
        at += size
    return _Layout(n, g, tuple(slices), at)


@dataclass(frozen=True)
class _System:
    """Whitened residuals and slopes, and the priors' share."""

    residual: FloatArray
    by_global: FloatArray
    by_tap: FloatArray
    columns: tuple[slice, ...]
    states: tuple[GroupState, ...]
    extra_residual: FloatArray
    extra_slope: FloatArray
    """Frequencies, splits and the deviations' prior: on global parameters only."""
    tap_residual: FloatArray
    """(T, 6) of the taps' priors."""

    @property
    def cost(self) -> float:
        return 0.5 * float(
            np.sum(self.residual**2) + np.sum(self.extra_residual**2) + np.sum(self.tap_residual**2)
        )


def _whitener(setting: Setting, g: int, point: Point, state: GroupState) -> ComplexArray:
    """(T, J, J) that makes a group's misfit unit normal in its real and imaginary part."""
    group, head = setting.groups[g], setting.heads[g]
    count = group.moments.shape[1]
    x = group.mean_hz * setting.contact_s
    usual = usual_push(x) if x <= setting.known_to else 1.0
    at = places(head.model, setting.radius_m + point.tap[:, 5], setting.angle_rad + point.tap[:, 4])
    strength, _, _ = _strength(setting, group, point.tap)
    heard = state.moments()[:count] @ point.microphone[g]
    pattern = np.abs(strength)[:, None] * (at.value @ (head.ritz @ heard.T))
    share = _FLOOR.get(group.name, _FLOOR_ABOVE)
    floor = np.zeros_like(group.cov)
    for j in range(count):
        # The same at every tap of a rod, so that repeats do not average it away.
        typical = usual * np.sqrt(np.median(np.abs(pattern[:, j]) ** 2))
        floor[:, j, j] = setting.repeats * (share * typical) ** 2
        floor[:, j, j] += (1e-2 * np.abs(group.moments[:, j])) ** 2
    off = push_error(x) if x <= setting.known_to else UNKNOWN
    common = off**2 * np.einsum("tj,tk->tjk", pattern, pattern.conj())
    factor = np.linalg.cholesky(group.cov + setting.widen[g] ** 2 * (floor + common))
    inverse = np.linalg.inv(factor) * np.sqrt(2.0)
    return np.asarray(inverse * np.sqrt(setting.tap_weight[:, g])[:, None, None])


def _whiteners(
    setting: Setting, point: Point, states: tuple[GroupState, ...]
) -> list[ComplexArray]:
    return [_whitener(setting, g, point, states[g]) for g in range(len(setting.groups))]


def states_at(setting: Setting, point: Point) -> tuple[GroupState, ...]:
    """Every group at a point."""
    names = tuple(g.name for g in setting.groups)
    full = extrapolate_shift(setting, point.log_shift)
    return tuple(
        solve_group(head, name, names, point.deviation, full, inner)
        for head, name, inner in zip(setting.heads, names, point.inner, strict=True)
    )


def _assemble(
    setting: Setting,
    point: Point,
    white: list[ComplexArray],
    split: bool,
    states: tuple[GroupState, ...] | None = None,
) -> _System:
    lay = _layout(setting)
    states = states or states_at(setting, point)
    at_places = places(
        setting.head.model,
        setting.radius_m + point.tap[:, 5],
        setting.angle_rad + point.tap[:, 4],
    )
    taps = len(point.tap)
    residuals: list[FloatArray] = []
    globals_: list[FloatArray] = []
    locals_: list[FloatArray] = []
    columns: list[slice] = []
    at = 0
    for g, group in enumerate(setting.groups):
        count = group.moments.shape[1]
        r, state = point.microphone[g], states[g]
        omega = 2 * np.pi * group.mean_hz
        ritz = setting.heads[g].ritz
        phi = at_places.value @ ritz
        strength, value, slope = _strength(setting, group, point.tap)
        gain = strength * value
        moments = state.moments()[:count]
        heard = moments @ r  # (J, B)
        pattern = strength[:, None] * (phi @ heard.T)
        model = value[:, None] * pattern
        local = np.stack(
            [
                model,
                1j * model,
                1j * omega * model,
                slope[:, None] * pattern,
                gain[:, None] * (at_places.by_angle @ (ritz @ heard.T)),
                gain[:, None] * (at_places.by_radius @ (ritz @ heard.T)),
            ],
            axis=2,
        )
        wide = np.zeros((taps, count, lay.total), dtype=np.complex128)
        by_state = (state.heard_slope(r)[:, :count] @ phi.T).transpose(2, 1, 0)
        wide[:, :, : lay.shared] = gain[:, None, None] * by_state
        by_mic = gain[:, None, None] * (phi @ moments).transpose(1, 0, 2)
        place = lay.microphone[g]
        wide[:, :, place.start : place.stop : 2] = by_mic
        wide[:, :, place.start + 1 : place.stop : 2] = 1j * by_mic
        miss = np.einsum("tjk,tk->tj", white[g], group.moments - model)
        residuals.append(np.concatenate([miss.real, miss.imag], axis=1))
        for piece, store in ((wide, globals_), (local, locals_)):
            turned = white[g] @ piece
            store.append(np.concatenate([turned.real, turned.imag], axis=1))
        columns.append(slice(at, at + 2 * count))
        at += 2 * count
    extra_residual, extra_slope = _extra(setting, point, states, lay, split)
    return _System(
        residual=np.concatenate(residuals, axis=1),
        by_global=np.concatenate(globals_, axis=1),
        by_tap=np.concatenate(locals_, axis=1),
        columns=tuple(columns),
        states=states,
        extra_residual=extra_residual,
        extra_slope=extra_slope,
        tap_residual=-point.tap / TAP_SD,
    )


def _extra(
    setting: Setting, point: Point, states: tuple[GroupState, ...], lay: _Layout, split: bool
) -> tuple[FloatArray, FloatArray]:
    """Mean frequencies, splits, and the prior, as whitened rows on the global parameters."""
    rows, slopes = [], []
    for group, state in zip(setting.groups, states, strict=True):
        sd = max(2e-5 * group.mean_hz, float(np.mean(group.frequency_sd_hz)))
        if len(group.frequency_hz) < len(state.frequency_hz):
            sd = max(sd, 0.3 / group.t60_s)
        slope = np.zeros(lay.total)
        slope[: lay.shared] = state.frequency_slope.mean(axis=1) / sd
        rows.append((group.mean_hz - state.frequency_hz.mean()) / sd)
        slopes.append(slope)
        if split and len(state.frequency_hz) == 2:
            rows_split, slope_split = _split_row(group, state, lay)
            rows.append(rows_split)
            slopes.append(slope_split)
    own = np.zeros((2 * lay.groups, lay.total))
    own[:, lay.rods + lay.groups : lay.shared] = np.eye(2 * lay.groups) / _INNER_SD
    rows.extend(-point.inner.ravel() / _INNER_SD)
    slopes.extend(own)
    root = np.linalg.cholesky(setting.prior_precision).T
    prior = np.zeros((lay.rods, lay.total))
    prior[:, : lay.rods] = root
    rows.extend(root @ (setting.prior_mean - point.deviation))
    slopes.extend(prior)
    return np.array(rows), np.array(slopes)


def _split_row(group: GroupData, state: GroupState, lay: _Layout) -> tuple[float, FloatArray]:
    apart = float(state.frequency_hz[1] - state.frequency_hz[0])
    found = group.split_hz
    if len(group.frequency_hz) == 2:
        sd = float(np.hypot(*group.frequency_sd_hz)) + 0.002 * found + 0.01
    else:
        sd = 0.5 / group.t60_s  # a pair closer than this leaves one pole
    slope = np.zeros(lay.total)
    change = state.frequency_slope[:, 1] - state.frequency_slope[:, 0]
    slope[: lay.shared] = change / sd
    return (found - apart) / sd, slope


@dataclass(frozen=True)
class _Step:
    everywhere: FloatArray
    per_tap: FloatArray
    cov: FloatArray
    back: FloatArray
    """(T, 6, total): how each tap's own unknowns follow the global ones."""
    tap_cov: FloatArray


def _solve(system: _System, damping: float) -> _Step:
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
    lay, move = _layout(setting), step.everywhere * share
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


def fit(setting: Setting, start: Point, steps: int = _MAX_STEPS) -> Fit:
    """The nearest best fit from a start, by damped Gauss-Newton steps."""
    point = start
    states = states_at(setting, point)
    white = _whiteners(setting, point, states)
    system = _assemble(setting, point, white, split=False, states=states)
    damping, split = 1e-3, False
    for count in range(steps):
        if count == 3 and not split:
            split = True
            white = _whiteners(setting, point, system.states)
            system = _assemble(setting, point, white, split, states=system.states)
        step = _solve(system, damping)
        trial = _moved(setting, point, step, 1.0)
        states = states_at(setting, trial)
        new = _assemble(setting, trial, white, split, states=states)
        if new.cost < system.cost:
            gain = system.cost - new.cost
            point, system, damping = trial, new, max(damping * 0.2, 1e-6)
            if split and gain < 0.02:
                break
        else:
            damping = min(damping * 10.0, 1e3)
            if damping >= 1e3:
                break
    return _finish(setting, point, system)


def _finish(setting: Setting, point: Point, system: _System) -> Fit:
    step = _solve(system, 0.0)
    # Leverage of each residual: how much of it the parameters paid for.
    joint = system.by_global - system.by_tap @ step.back
    lever = np.einsum("trp,pq,trq->tr", joint, step.cov, joint)
    lever += np.einsum("tra,tab,trb->tr", system.by_tap, step.tap_cov, system.by_tap)
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


def recentred(setting: Setting, point: Point) -> tuple[Setting, Point]:
    """The same with the contact time moved to where the taps put it."""
    middle = float(np.median(point.tap[:, 3]))
    tap = point.tap.copy()
    tap[:, 3] -= middle
    moved = replace(setting, contact_s=setting.contact_s * float(np.exp(middle)))
    return moved, replace(point, tap=tap)


def picked(setting: Setting, taps: NDArray[np.intp], angle_rad: FloatArray) -> Setting:
    """The same setting with the given taps (repeats allowed), at the given angles."""
    groups = tuple(replace(g, moments=g.moments[taps], cov=g.cov[taps]) for g in setting.groups)
    return replace(
        setting,
        groups=groups,
        angle_rad=angle_rad,
        radius_m=setting.radius_m[taps],
        tap_weight=setting.tap_weight[taps],
        repeats=setting.repeats[taps],
    )


def tap_costs(
    setting: Setting, point: Point, taps: NDArray[np.intp], angle_rad: FloatArray
) -> FloatArray:
    """Half sum of squares of each tap at an assumed angle, all but its own unknowns fixed."""
    tried = picked(setting, taps, angle_rad)
    states = states_at(setting, point)
    white = _whiteners(tried, replace(point, tap=point.tap[taps]), states)
    start = np.zeros((len(taps), 6))
    start[:, :4] = point.tap[taps, :4]
    best = np.full(len(taps), np.inf)
    # A wave may meet the tip with the other sign at another rod: try both.
    for turn in (0.0, np.pi):
        trial = replace(point, tap=start + np.array([0, turn, 0, 0, 0, 0]))
        for _ in range(6):
            system = _assemble(tried, trial, white, split=True, states=states)
            jt, r = system.by_tap, system.residual
            own = jt.transpose(0, 2, 1) @ jt + np.diag(1.5 * TAP_SD**-2.0)
            right = np.einsum("tra,tr->ta", jt, r) + system.tap_residual / TAP_SD
            step = np.linalg.solve(own, right[..., None])[..., 0]
            # A tap tried at a wrong rod may run away; no unknown goes far in one step.
            step = np.clip(step, -3 * TAP_SD, 3 * TAP_SD)
            trial = replace(trial, tap=np.clip(trial.tap + step, -6 * TAP_SD, 6 * TAP_SD))
        system = _assemble(tried, trial, white, split=True, states=states)
        cost = 0.5 * (np.sum(system.residual**2, axis=1) + np.sum(system.tap_residual**2, axis=1))
        best = np.minimum(best, cost)
    return np.asarray(best)


def information_of_tap(setting: Setting, fitted: Fit, angle_rad: float) -> FloatArray:
    """(N, N) what one more tap at an angle would add to the precision of the deviations.

    Microphone and frequencies count as known; the tap's own unknowns do not.
    """
    typical = int(np.argmin(np.abs(np.angle(np.exp(1j * (setting.angle_rad - angle_rad))))))
    tried = picked(setting, np.array([typical]), np.array([angle_rad]))
    point = replace(fitted.point, tap=fitted.point.tap[[typical]])
    white = _whiteners(tried, point, fitted.states)
    system = _assemble(tried, point, white, split=True, states=fitted.states)
    jt, jd = system.by_tap[0], system.by_global[0][:, : setting.head.rods]
    own = jt.T @ jt + np.diag(TAP_SD**-2.0)
    cross = jt.T @ jd
    return np.asarray(jd.T @ jd - cross.T @ np.linalg.solve(own, cross))
