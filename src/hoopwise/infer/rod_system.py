"""Residuals of a round against the model, whitened, and their slopes.

Global parameters are the head's own (unevenness, shifts, splits) and the microphones; each
tap has six of its own. Rows are whitened so that every misfit has unit variance.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.even_head import Places, places
from hoopwise.infer.rod_model import GroupStates, solve_groups
from hoopwise.infer.rod_state import TAP_SD, Point, Setting
from hoopwise.infer.tip import UNKNOWN, push, push_error

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_INNER_SD = 0.0003
"""Split of a pair by what is not tension (uneven mass 0.4 %), fraction of its frequency."""


@dataclass(frozen=True)
class Layout:
    """Where each global parameter sits: unevenness, shifts, own splits, microphones."""

    causes: int
    groups: int
    microphone: tuple[slice, ...]
    total: int

    @property
    def shared(self) -> int:
        """Parameters of the head itself: all before the microphones."""
        return self.causes + 3 * self.groups

    def own(self, g: int) -> slice:
        """The two splits of a group's own."""
        return slice(self.causes + self.groups + 2 * g, self.causes + self.groups + 2 * g + 2)


def layout(setting: Setting) -> Layout:
    """Places of all global parameters of a setting."""
    n, g = len(setting.head.coupling), len(setting.groups)
    slices, at = [], n + 3 * g
    for real in setting.heads.real:
        size = 2 * int(real.sum())
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
    states: GroupStates
    extra_residual: FloatArray
    extra_slope: FloatArray
    """Frequencies, splits and the prior of what is uneven: on global parameters only."""
    tap_residual: FloatArray
    """(T, 6) of the taps' priors."""
    followed: FloatArray
    """(T, R) share of each residual that a strength fitted tap by tap takes up."""

    @property
    def cost(self) -> float:
        """Half the sum of squares, priors included."""
        return 0.5 * float(
            np.sum(self.residual**2) + np.sum(self.extra_residual**2) + np.sum(self.tap_residual**2)
        )


def extrapolate_shift(setting: Setting, log_shift: FloatArray) -> FloatArray:
    """Log shift of all B even modes: measured where measured, a + b film-share elsewhere."""
    head, members = setting.head, setting.heads.members
    share = head.film_share[members[:, 0]]
    columns = np.stack([np.ones_like(share), share - 1.0], axis=1)
    ridge = np.diag([1e-9, 0.05])
    a, b = np.linalg.solve(columns.T @ columns + ridge, columns.T @ log_shift)
    full = a + b * (head.film_share - 1.0)
    full[members] = log_shift[:, None]
    return np.asarray(full)


def strength_at(setting: Setting, tap: FloatArray) -> tuple[ComplexArray, FloatArray, FloatArray]:
    """(G, T) each tap's complex strength at a group, the tip's push there, and its slope."""
    hz = setting.moments.mean_hz[:, None]
    strength = np.exp(tap[:, 0] + 1j * (tap[:, 1] + 2 * np.pi * hz * tap[:, 2]))
    value, slope = push(hz * setting.contact_s * np.exp(tap[:, 3]))
    known = setting.known[:, None]
    return strength, np.where(known, value, 1.0), np.where(known, slope, 0.0)


@dataclass(frozen=True, eq=False)
class Scatter:
    """What a tap's strength at a group may do beside the tip's push, (G, T)."""

    followed: FloatArray
    """Share of a misfit along the expected pattern that such scatter takes up, 0 to 1."""
    price: float
    """What that freedom costs in log likelihood, summed."""


def scatter_at(setting: Setting, point: Point, states: GroupStates) -> Scatter:
    """How free each strength is, by the size of the pattern that the model expects there.

    A push that is modelled may be off by what tips of other shapes show; a strength that is
    not may be any complex number up to ``UNKNOWN`` times the usual.
    """
    moments, known = setting.moments, setting.known
    heard = (states.moments() @ point.microphone[:, None, :, None])[..., 0]
    shown = tapped_at(setting, point).value @ (setting.heads.ritz @ np.swapaxes(heard, 1, 2))
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
    full = extrapolate_shift(setting, point.log_shift)
    return solve_groups(setting.heads, point.uneven, full, point.inner)


def assemble(
    setting: Setting,
    point: Point,
    scatter: Scatter,
    split: bool,
    states: GroupStates | None = None,
) -> System:
    """All residuals and slopes at a point; ``split`` counts the pairs' distances too."""
    lay = layout(setting)
    states = states or states_at(setting, point)
    at, ritz, measured = tapped_at(setting, point), setting.heads.ritz, setting.moments
    moments = states.moments()
    heard = (moments @ point.microphone[:, None, :, None])[..., 0]
    inside = ritz @ np.swapaxes(heard, 1, 2)  # (G, R, 2)
    phi = at.value @ ritz
    shown = phi @ np.swapaxes(heard, 1, 2)
    known = setting.known[:, None, None]
    strength, value, slope = (x[:, :, None] for x in strength_at(setting, point.tap))
    white = setting.white
    free, along = _free_strength(white, shown, measured.values)
    strength = np.where(known, strength, free[:, :, None])
    gain, pattern = strength * value, strength * shown
    model = value * pattern
    omega = 2 * np.pi * measured.mean_hz[:, None, None]
    own = [
        model,
        1j * model,
        1j * omega * model,
        slope * pattern,
        gain * (at.by_angle @ inside),
        gain * (at.by_radius @ inside),
    ]
    slopes = _by_head(states, point.microphone, moments, phi)
    taps = len(point.tap)
    size = slopes.shape[-1]
    wide = gain[..., None] * slopes
    everything = np.concatenate(
        [(measured.values - model)[..., None], np.stack(own, axis=3), wide], axis=3
    )
    turned = white @ everything
    # What a strength can follow says nothing (Kaufman's form of variable projection).
    followed = along.conj()[:, :, None, :] @ turned
    turned -= (scatter.followed[:, :, None] * along)[..., None] * followed
    # (T, G, real and imaginary, J, ...), then the rows that were measured
    rows = np.stack([turned.real, turned.imag], axis=2).transpose(1, 0, 2, 3, 4)
    keep = np.repeat(measured.there[:, None, :], 2, axis=1).ravel()
    flat = rows.reshape(taps, -1, 7 + size)[:, keep]
    ends = np.cumsum(2 * measured.there.sum(axis=1))
    columns = tuple(slice(int(a), int(b)) for a, b in zip([0, *ends[:-1]], ends, strict=True))
    extra_residual, extra_slope = _extra(setting, point, states, lay, split)
    return System(
        residual=flat[..., 0],
        by_global=_spread_out(flat[..., 7:], lay, columns, setting.heads.real),
        by_tap=np.ascontiguousarray(flat[..., 1:7]),
        columns=columns,
        states=states,
        extra_residual=extra_residual,
        extra_slope=extra_slope,
        tap_residual=-point.tap / TAP_SD,
        followed=_flat(np.where(known, 0.0, np.abs(along) ** 2), measured.there),
    )


def _flat(rows: FloatArray, there: NDArray[np.bool_]) -> FloatArray:
    """(T, R) of what is the same in real and imaginary part, (G, T, 2)."""
    both = np.repeat(rows.transpose(1, 0, 2)[:, :, None, :], 2, axis=2)
    keep = np.repeat(there[:, None, :], 2, axis=1).ravel()
    return np.asarray(both.reshape(len(both), -1)[:, keep])


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
) -> tuple[ComplexArray, ComplexArray]:
    """(G, T) strength that suits each tap best, and (G, T, 2) the whitened pattern's direction."""
    turned = (white @ shown[..., None])[..., 0]
    heard = (white @ moments[..., None])[..., 0]
    power = np.maximum(np.sum(np.abs(turned) ** 2, axis=2), 1e-30)
    best = np.sum(turned.conj() * heard, axis=2) / power
    return np.asarray(best), np.asarray(turned / np.sqrt(power)[..., None])


def free_strengths(
    setting: Setting, point: Point, states: GroupStates
) -> tuple[ComplexArray, FloatArray]:
    """(G, T) strength that suits each tap best at each group by itself, and its variance."""
    heard = (states.moments() @ point.microphone[:, None, :, None])[..., 0]
    inside = setting.heads.ritz @ np.swapaxes(heard, 1, 2)
    shown = tapped_at(setting, point).value @ inside
    best, _ = _free_strength(setting.white, shown, setting.moments.values)
    turned = (setting.white @ shown[..., None])[..., 0]
    power = np.sum(np.abs(turned) ** 2, axis=2)
    return best, 2.0 / np.maximum(power, 1e-300)


def _extra(
    setting: Setting, point: Point, states: GroupStates, lay: Layout, split: bool
) -> tuple[FloatArray, FloatArray]:
    """Mean frequencies, splits, and the prior, as whitened rows on the global parameters."""
    pairs = setting.heads.pairs
    measured = setting.moments
    middle, apart = states.frequency_hz.mean(axis=1), np.diff(states.frequency_hz)[:, 0]
    rows = [(measured.mean_hz - middle) / measured.mean_sd_hz]
    by_mean = states.frequency_slope.mean(axis=2) / measured.mean_sd_hz[:, None]
    slopes = [_at_places(by_mean, lay)]
    if split and len(pairs):
        sd = measured.split_sd_hz
        rows.append(((measured.split_hz - apart) / sd)[pairs])
        change = np.diff(states.frequency_slope, axis=2)[:, :, 0]
        slopes.append(_at_places(change / sd[:, None], lay)[pairs])
    own = np.zeros((2 * lay.groups, lay.total))
    own[:, lay.causes + lay.groups : lay.shared] = np.eye(2 * lay.groups) / _INNER_SD
    mean, precision = setting.prior_spread
    root = np.linalg.cholesky(precision).T
    prior = np.zeros((lay.causes, lay.total))
    prior[:, : lay.causes] = root
    rows += [-point.inner.ravel() / _INNER_SD, root @ (mean - point.uneven)]
    return np.concatenate(rows), np.concatenate([*slopes, own, prior])


def _at_places(by_parameter: FloatArray, lay: Layout) -> FloatArray:
    """(G, total) slopes of each group (G, P) at their places among all parameters."""
    out = np.zeros((lay.groups, lay.total))
    common = lay.causes + lay.groups
    out[:, :common] = by_parameter[:, :common]
    for g in range(lay.groups):
        out[g, lay.own(g)] = by_parameter[g, common:]
    return out
