"""Residuals of a round against the model, whitened, and their slopes.

Global parameters are the head's own (unevenness, shifts, splits) and the microphones; each
tap has six of its own. Rows are whitened so that every misfit has unit variance.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.rod_state import INNER_SD, TAP_SD, Layout, Point, Setting
from hoopwise.infer.fit.struck import Push, push_at, square_slope
from hoopwise.infer.fit.tip import UNKNOWN, push_error
from hoopwise.infer.head.even_head import Places, places
from hoopwise.infer.head.rod_model import GroupStates, solve_groups

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_OTHER_UNHEARD = 2.0
"""Cost at which a pair with one pole begins to look like a wide one, its other mode unheard."""


@dataclass(frozen=True, eq=False)
class System:
    """Whitened residuals, and the priors' share; slopes are worked out when asked for."""

    seen: "_Seen"
    residual: FloatArray
    columns: tuple[slice, ...]
    states: GroupStates
    extra_residual: FloatArray
    tap_residual: FloatArray
    """(T, 6) of the taps' priors."""
    followed: FloatArray
    """(T, R) share of each residual that a strength fitted tap by tap takes up."""

    @cached_property
    def cost(self) -> float:
        """Half the sum of squares, priors included."""
        parts = (self.residual, self.extra_residual, self.tap_residual)
        return 0.5 * sum(float(np.vdot(part, part)) for part in parts)

    @cached_property
    def by_tap(self) -> FloatArray:
        """(T, R, 6) slopes on each tap's own unknowns."""
        return self.seen.by_tap()

    @cached_property
    def by_global(self) -> FloatArray:
        """(T, R, total) slopes on what all taps have in common."""
        return self.seen.by_global()

    @cached_property
    def extra_slope(self) -> FloatArray:
        """Frequencies, splits and the prior of what is uneven: on global parameters only."""
        return _extra_slope(self.seen.setting, self.states, self.seen.split)


def strength_at(setting: Setting, tap: FloatArray) -> ComplexArray:
    """(G, T) each tap's complex strength at a group, before the tip's push."""
    hz = setting.moments.mean_hz[:, None]
    return np.asarray(np.exp(tap[:, 0] + 1j * (tap[:, 1] + 2 * np.pi * hz * tap[:, 2])))


@dataclass(frozen=True, eq=False)
class Scatter:
    """What a tap's strength at a group may do beside the tip's push, (G, T)."""

    followed: FloatArray
    """Share of a misfit along the expected pattern that such scatter takes up, 0 to 1."""
    price: float
    """What that freedom costs in log likelihood, summed."""


def scatter_at(
    setting: Setting, point: Point, states: GroupStates, at: Places | None = None
) -> Scatter:
    """How free each strength is, by the size of the pattern that the model expects there.

    A push that is modelled may be off by what tips of other shapes show; a strength that is
    not may be any complex number up to ``UNKNOWN`` times the usual.
    """
    moments, known = setting.moments, setting.known
    at = at or tapped_at(setting, point)
    shown = at.value @ (setting.heads.ritz @ _heard(states, point))
    pattern = np.exp(point.tap[:, 0])[:, None] * shown
    off = np.array([push_error(hz * setting.contact_s) for hz in moments.mean_hz])
    usual = np.sqrt(np.median(np.abs(pattern[:, :, 0]) ** 2, axis=1))
    unknown = UNKNOWN * moments.level / np.maximum(usual, 1e-300)
    size = np.where(known, np.maximum(setting.widen, 1.0) * off, unknown)[:, None]
    turned = (setting.white @ pattern[..., None])[..., 0]
    power = np.sum(np.abs(turned) ** 2, axis=2) / (2.0 * setting.tap_weight.T)
    free = 1.0 + size**2 * power
    followed = np.where(known[:, None], 1.0 - 1.0 / np.sqrt(free), 1.0)
    return Scatter(followed, float(np.sum(np.log(free))))


def tapped_at(setting: Setting, point: Point) -> Places:
    """The film model's basis where the tips really met the head."""
    radius = setting.radius_m + point.tap[:, 5]
    return places(setting.head.model, radius, setting.angle_rad + point.tap[:, 4])


def states_at(setting: Setting, point: Point) -> GroupStates:
    """Every group at a point."""
    shift = setting.shift_of_all @ point.log_shift
    return solve_groups(setting.heads, point.uneven, shift, point.inner)


def assemble(
    setting: Setting,
    point: Point,
    scatter: Scatter,
    split: bool,
    states: GroupStates | None = None,
    at: Places | None = None,
) -> System:
    """All residuals, and slopes, at a point; ``split`` counts the pairs' distances too."""
    states, at = states or states_at(setting, point), at or tapped_at(setting, point)
    measured, ritz, white = setting.moments, setting.heads.ritz, setting.white
    heard = _heard(states, point)
    phi = at.value @ ritz
    shown = phi @ heard
    known = setting.known[:, None, None]
    strength, pushed = strength_at(setting, point.tap), push_at(setting, point.tap[:, 3], states)
    struck = (pushed.value @ shown[..., None])[..., 0]
    # A tip of another shape pushes more or less, with the same lean.
    free, along, _ = _free_strength(white, shown, measured.values)
    # What a strength can follow says nothing (Kaufman's form of variable projection).
    followed = along.conj()[:, :, None, :] @ white
    mine = white - (scatter.followed[:, :, None] * along)[..., None] * followed
    strength = np.where(known[..., 0], strength, free)
    model = strength[..., None] * struck
    seen = _Seen(setting, point, states, at, split, heard, phi, mine, model, strength, pushed)
    taken = np.where(known[..., 0], 0.0, 1.0)[..., None] * np.abs(along) ** 2
    return System(
        seen=seen,
        residual=seen.rows(mine @ (measured.values - model)[..., None])[..., 0],
        columns=setting.columns,
        states=states,
        extra_residual=_extra_residual(setting, point, states, split),
        tap_residual=-point.tap / TAP_SD,
        followed=_flat(taken, setting.measured),
    )


@dataclass(frozen=True, eq=False)
class _Seen:
    """What all taps show at a point, from which the slopes follow."""

    setting: Setting
    point: Point
    states: GroupStates
    at: Places
    split: bool
    heard: ComplexArray
    """(G, B, 2) the two moments of a place, over the even modes."""
    phi: FloatArray
    """(G, T, B) the even modes where the tips met the head."""
    mine: ComplexArray
    """(G, T, 2, 2) whiteners less what the strengths' scatter follows."""
    model: ComplexArray
    """(G, T, 2)"""
    strength: ComplexArray
    """(G, T)"""
    pushed: Push

    def rows(self, whitened: ComplexArray) -> FloatArray:
        """(T, R, ...) real and imaginary parts side by side, from (G, T, 2, ...)."""
        groups, taps, _, size = whitened.shape
        out = np.empty((taps, groups, 2, 2, size))
        turned = np.swapaxes(whitened, 0, 1)
        out[:, :, 0], out[:, :, 1] = turned.real, turned.imag
        return np.take(out.reshape(taps, -1, size), self.setting.measured, axis=1)

    def by_tap(self) -> FloatArray:
        """(T, R, 6) slopes on each tap's own unknowns."""
        inside = self.setting.heads.ritz @ self.heard  # (G, R, 2)
        omega = 2 * np.pi * self.setting.moments.mean_hz[:, None, None]
        own = np.empty((*self.model.shape, 6), dtype=np.complex128)
        own[..., 0] = self.model
        own[..., 1] = 1j * self.model
        own[..., 2] = omega * own[..., 1]
        gain = self.strength[..., None, None] * self.pushed.value
        longer = self.strength[..., None, None] * self.pushed.by_contact
        own[..., 3] = (longer @ (self.phi @ self.heard)[..., None])[..., 0]
        own[..., 4] = (gain @ (self.at.by_angle @ inside)[..., None])[..., 0]
        own[..., 5] = (gain @ (self.at.by_radius @ inside)[..., None])[..., 0]
        return self.rows(self.mine @ own)

    def by_global(self) -> FloatArray:
        """(T, R, total) slopes on what all taps have in common."""
        slopes = _by_head(self.states, self.point.microphone, self.states.moments(), self.phi)
        mine = self.strength[..., None, None] * self.mine
        turned = (mine @ self.pushed.value) @ slopes
        wider = square_slope(self.states)
        first = (self.phi @ self.heard)[..., 0] * self.pushed.lean
        turned[..., : wider.shape[1]] += (mine[..., 1] * first[..., None])[..., None] * wider[
            :, None, None
        ]
        compact = self.rows(turned)
        setting = self.setting
        return _spread_out(compact, setting.layout, setting.columns, setting.heads.real)


def _heard(states: GroupStates, point: Point) -> ComplexArray:
    """(G, B, 2) the two moments of a place as the microphone hears them, over the even modes."""
    heard = (states.moments() @ point.microphone[:, None, :, None])[..., 0]
    return np.swapaxes(heard, 1, 2)


def _flat(rows: FloatArray, measured: NDArray[np.intp]) -> FloatArray:
    """(T, R) of what is the same in real and imaginary part, (G, T, 2)."""
    both = np.repeat(rows.transpose(1, 0, 2)[:, :, None, :], 2, axis=2)
    return np.take(both.reshape(len(both), -1), measured, axis=1)


def _by_head(
    states: GroupStates, microphone: ComplexArray, moments: ComplexArray, phi: FloatArray
) -> ComplexArray:
    """(G, T, 2, P + 4) change of the pattern at unit strength: head's own, then microphone."""
    told = states.heard_slope(microphone)
    groups, modes, _, parameters = told.shape
    both = np.concatenate([told, np.moveaxis(moments, 1, 2)], axis=3)
    # a real matrix times a complex one, as real numbers side by side
    flat = phi @ both.reshape(groups, modes, -1).view(np.float64)
    seen = flat.view(np.complex128).reshape(groups, phi.shape[1], 2, parameters + 2)
    out = np.empty((*seen.shape[:3], parameters + 4), dtype=np.complex128)
    out[..., :parameters] = seen[..., :parameters]
    out[..., parameters::2] = seen[..., parameters:]
    out[..., parameters + 1 :: 2] = 1j * seen[..., parameters:]
    return out


def _spread_out(
    compact: FloatArray, lay: Layout, columns: tuple[slice, ...], real: FloatArray
) -> FloatArray:
    """(T, R, total) each group's own parameters at their places among all."""
    out = np.zeros((*compact.shape[:2], lay.total))
    common = lay.causes + lay.groups
    out[:, :, :common] = compact[:, :, :common]
    for g, rows in enumerate(columns):
        out[:, rows, lay.own(g)] = compact[:, rows, common : common + 2]
        place = lay.microphone[g]
        out[:, rows, place] = compact[:, rows, common + 2 : common + 2 + 2 * int(real[g].sum())]
    return out


def _free_strength(
    white: ComplexArray, shown: ComplexArray, moments: ComplexArray
) -> tuple[ComplexArray, ComplexArray, FloatArray]:
    """(G, T) strength that suits each tap best, (G, T, 2) the whitened pattern's direction.

    And (G, T) the pattern's squared size, whitened.
    """
    turned = (white @ shown[..., None])[..., 0]
    heard = (white @ moments[..., None])[..., 0]
    power = np.maximum(np.sum(np.abs(turned) ** 2, axis=2), 1e-30)
    best = np.sum(turned.conj() * heard, axis=2) / power
    return np.asarray(best), np.asarray(turned / np.sqrt(power)[..., None]), np.asarray(power)


def free_strengths(
    setting: Setting, point: Point, states: GroupStates
) -> tuple[ComplexArray, FloatArray]:
    """(G, T) strength that suits each tap best at each group by itself, and its variance."""
    shown = tapped_at(setting, point).value @ (setting.heads.ritz @ _heard(states, point))
    best, _, power = _free_strength(setting.white, shown, setting.moments.values)
    return best, 2.0 / power


def _extra_residual(setting: Setting, point: Point, states: GroupStates, split: bool) -> FloatArray:
    """Misfits of mean frequencies, splits, and the prior, whitened."""
    pairs, measured = setting.heads.pairs, setting.moments
    low, high = states.frequency_hz.T
    rows = [(measured.mean_hz - 0.5 * (low + high)) / measured.mean_sd_hz]
    if split and len(pairs):
        rows.append(_split_residual(setting, states)[0])
    off = setting.prior_spread[0] - point.uneven
    return np.concatenate([*rows, -point.inner.ravel() / INNER_SD, setting.prior_root @ off])


def _extra_slope(setting: Setting, states: GroupStates, split: bool) -> FloatArray:
    """Slopes of ``_extra_residual`` on the global parameters."""
    lay, pairs, measured = setting.layout, setting.heads.pairs, setting.moments
    low, high = states.frequency_slope[:, :, 0], states.frequency_slope[:, :, 1]
    slopes = [_at_places(0.5 * (low + high) / measured.mean_sd_hz[:, None], lay)]
    if split and len(pairs):
        eased = _split_residual(setting, states)[1]
        told = _at_places((high - low) / measured.split_sd_hz[:, None], lay)[pairs]
        slopes.append(eased[:, None] * told)
    rest = np.zeros((2 * lay.groups + lay.causes, lay.total))
    own = np.arange(2 * lay.groups)
    rest[own, lay.causes + lay.groups + own] = 1.0 / INNER_SD
    rest[2 * lay.groups :, : lay.causes] = setting.prior_root
    return np.concatenate([*slopes, rest])


def _split_residual(setting: Setting, states: GroupStates) -> tuple[FloatArray, FloatArray]:
    """Misfit of each pair's distance, whitened, and how much of a change in it still counts.

    A lone pole is most likely a close pair, but it may also be one mode of a wide pair whose
    other one has a line of rest at the microphone: beyond what a close pair allows it costs
    little more to lie still further apart.
    """
    pairs, measured = setting.heads.pairs, setting.moments
    low, high = states.frequency_hz[pairs].T
    off = (measured.split_hz[pairs] - (high - low)) / measured.split_sd_hz[pairs]
    lone = ~measured.there[pairs, 1]
    far = off**2 / (2.0 * _OTHER_UNHEARD)
    eased = np.sqrt(np.log1p(far) / np.maximum(far, 1e-12))  # nears 1 where far nears 0
    eased = np.where(lone & (far > 1e-9), eased, 1.0)
    slope = np.where(lone, 1.0 / (np.maximum(eased, 1e-9) * (1.0 + far)), 1.0)
    return off * eased, slope


def _at_places(by_parameter: FloatArray, lay: Layout) -> FloatArray:
    """(G, total) slopes of each group (G, P) at their places among all parameters."""
    out = np.zeros((lay.groups, lay.total))
    common = lay.causes + lay.groups
    out[:, :common] = by_parameter[:, :common]
    for g in range(lay.groups):
        out[g, lay.own(g)] = by_parameter[g, common:]
    return out
