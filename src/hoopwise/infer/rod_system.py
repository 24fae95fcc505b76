"""Residuals of a round against the model, whitened, and their slopes.

Global parameters are the head's own (deviations, shifts, splits) and the microphones; each
tap has six of its own. Rows are whitened so that every misfit has unit variance.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.even_head import Places, places
from hoopwise.infer.rod_model import GroupState, solve_group
from hoopwise.infer.rod_state import TAP_SD, Point, Setting
from hoopwise.infer.round_data import GroupData
from hoopwise.infer.tip import UNKNOWN, push, push_error

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_INNER_SD = 0.0006
"""Split of a pair by what is not tension (uneven mass 0.4 %), fraction of its frequency."""


@dataclass(frozen=True)
class Layout:
    """Where each global parameter sits: deviations, shifts, own splits, microphones."""

    rods: int
    groups: int
    microphone: tuple[slice, ...]
    total: int

    @property
    def shared(self) -> int:
        """Parameters of the head itself: all before the microphones."""
        return self.rods + 3 * self.groups


def layout(setting: Setting) -> Layout:
    """Places of all global parameters of a setting."""
    n, g = setting.head.rods, len(setting.groups)
    slices, at = [], n + 3 * g
    for group in setting.groups:
        size = 2 * len(setting.head.members(group.name))
        slices.append(slice(at, at + size))
        at += size
    return Layout(n, g, tuple(slices), at)


@dataclass(frozen=True)
class System:
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
        """Half the sum of squares, priors included."""
        return 0.5 * float(
            np.sum(self.residual**2) + np.sum(self.extra_residual**2) + np.sum(self.tap_residual**2)
        )


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


def strength_at(
    setting: Setting, group: GroupData, tap: FloatArray
) -> tuple[ComplexArray, FloatArray, FloatArray]:
    """(T,) each tap's complex strength at a group, the tip's push there, and its slope."""
    omega = 2 * np.pi * group.mean_hz
    strength = np.exp(tap[:, 0] + 1j * (tap[:, 1] + omega * tap[:, 2]))
    if not setting.knows(group):
        return strength, np.ones(len(tap)), np.zeros(len(tap))
    value, slope = push(group.mean_hz * setting.contact_s * np.exp(tap[:, 3]))
    return strength, value, slope


def _whitener(
    setting: Setting, g: int, point: Point, state: GroupState, basis: FloatArray
) -> ComplexArray:
    """(T, J, J) that makes a group's misfit unit normal in its real and imaginary part."""
    group, head = setting.groups[g], setting.heads[g]
    count = group.moments.shape[1]
    heard = state.moments()[:count] @ point.microphone[g]
    pattern = np.exp(point.tap[:, 0])[:, None] * (basis @ (head.ritz @ heard.T))
    floor = np.einsum("tj,jk->tjk", setting.floor[g], np.eye(count))
    if setting.knows(group):
        off = push_error(group.mean_hz * setting.contact_s)
    else:
        # Nothing else sets the size of a pattern whose strengths are unknown.
        off = UNKNOWN * float(group.level[0] / np.sqrt(np.median(np.abs(pattern[:, 0]) ** 2)))
    common = off**2 * pattern[:, :, None] * pattern.conj()[:, None, :]
    factor = np.linalg.cholesky(group.cov + setting.widen[g] ** 2 * (floor + common))
    inverse = np.linalg.inv(factor) * np.sqrt(2.0)
    return np.asarray(inverse * np.sqrt(setting.tap_weight[:, g])[:, None, None])


def whiteners(setting: Setting, point: Point, states: tuple[GroupState, ...]) -> list[ComplexArray]:
    """Each group's whitener, (T, J, J), from the pattern that the model expects there."""
    at = tapped_at(setting, point)
    return [_whitener(setting, g, point, states[g], at.value) for g in range(len(setting.groups))]


def tapped_at(setting: Setting, point: Point) -> Places:
    """The film model's basis where the tips really met the head."""
    radius = setting.radius_m + point.tap[:, 5]
    return places(setting.head.model, radius, setting.angle_rad + point.tap[:, 4])


def states_at(setting: Setting, point: Point) -> tuple[GroupState, ...]:
    """Every group at a point."""
    names = tuple(g.name for g in setting.groups)
    full = extrapolate_shift(setting, point.log_shift)
    return tuple(
        solve_group(head, name, names, point.deviation, full, inner)
        for head, name, inner in zip(setting.heads, names, point.inner, strict=True)
    )


def assemble(
    setting: Setting,
    point: Point,
    white: list[ComplexArray],
    split: bool,
    states: tuple[GroupState, ...] | None = None,
) -> System:
    """All residuals and slopes at a point; ``split`` counts the pairs' distances too."""
    lay = layout(setting)
    states = states or states_at(setting, point)
    at_places = tapped_at(setting, point)
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
        moments = state.moments()[:count]
        heard = moments @ r  # (J, B)
        inside = ritz @ heard.T
        shown = at_places.value @ inside
        strength, value, slope = strength_at(setting, group, point.tap)
        if not setting.knows(group):
            strength = _free_strength(white[g], shown, group.moments)
        gain = strength * value
        pattern = strength[:, None] * shown
        model = value[:, None] * pattern
        local = np.stack(
            [
                model,
                1j * model,
                1j * omega * model,
                slope[:, None] * pattern,
                gain[:, None] * (at_places.by_angle @ inside),
                gain[:, None] * (at_places.by_radius @ inside),
            ],
            axis=2,
        )
        if not setting.knows(group):
            local[:, :, :4] = 0.0
        wide = np.zeros((taps, count, lay.total), dtype=np.complex128)
        by_state = (state.heard_slope(r)[:, :count] @ phi.T).transpose(2, 1, 0)
        wide[:, :, : lay.shared] = gain[:, None, None] * by_state
        by_mic = gain[:, None, None] * (phi @ moments).transpose(1, 0, 2)
        place = lay.microphone[g]
        wide[:, :, place.start : place.stop : 2] = by_mic
        wide[:, :, place.start + 1 : place.stop : 2] = 1j * by_mic
        miss = (white[g] @ (group.moments - model)[:, :, None])[:, :, 0]
        residuals.append(np.concatenate([miss.real, miss.imag], axis=1))
        for piece, store in ((wide, globals_), (local, locals_)):
            turned = white[g] @ piece
            store.append(np.concatenate([turned.real, turned.imag], axis=1))
        columns.append(slice(at, at + 2 * count))
        at += 2 * count
    extra_residual, extra_slope = _extra(setting, point, states, lay, split)
    return System(
        residual=np.concatenate(residuals, axis=1),
        by_global=np.concatenate(globals_, axis=1),
        by_tap=np.concatenate(locals_, axis=1),
        columns=tuple(columns),
        states=states,
        extra_residual=extra_residual,
        extra_slope=extra_slope,
        tap_residual=-point.tap / TAP_SD,
    )


def _free_strength(white: ComplexArray, shown: ComplexArray, moments: ComplexArray) -> ComplexArray:
    """(T,) strength that suits each tap best at a group whose strengths are unknown."""
    turned = (white @ shown[:, :, None])[:, :, 0]
    heard = (white @ moments[:, :, None])[:, :, 0]
    power = np.maximum(np.sum(np.abs(turned) ** 2, axis=1), 1e-30)
    return np.asarray(np.sum(turned.conj() * heard, axis=1) / power)


def _extra(
    setting: Setting, point: Point, states: tuple[GroupState, ...], lay: Layout, split: bool
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


def _split_row(group: GroupData, state: GroupState, lay: Layout) -> tuple[float, FloatArray]:
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
