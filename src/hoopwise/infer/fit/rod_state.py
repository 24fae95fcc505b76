"""What a fit of a round is given, and what it looks for."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.tip import CONTACT_SD
from hoopwise.infer.head.even_head import EvenHead
from hoopwise.infer.head.head_stack import HeadStack, keeping
from hoopwise.infer.head.prior import Belief
from hoopwise.infer.taps.round_data import GroupData, Moments, stack_moments

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

TAP_SD = np.array([1.5, 1.5, 2e-4, CONTACT_SD, 0.026, 2.0e-3])
"""Priors of a tap: log strength, phase (rad), delay (s), log contact, angle (rad), radius (m)."""
INNER_SD = 0.0003
"""Split of a pair by what is not tension (uneven mass 0.4 %), fraction of its frequency."""
_FEW_MODELLED = 2
_COARSE = 1.25
"""Even modes up to this many times the highest group's frequency make a coarse head."""


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


@dataclass(frozen=True)
class Setting:
    """What stays fixed during one fit; T taps, G groups, N rods."""

    head: EvenHead
    """With each order's air at its own lowest frequency; names and first guesses."""
    heads: HeadStack
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
    floor: tuple[FloatArray, ...]
    """(T, J) of each group: variance of a moment that the model leaves unexplained."""
    prior: Belief
    """What is expected of the deviations."""

    @cached_property
    def prior_spread(self) -> tuple[FloatArray, FloatArray]:
        """Mean (U,) and precision (U, U) of all causes of unevenness."""
        return self.head.seat.spread(self.prior)

    @cached_property
    def prior_root(self) -> FloatArray:
        """(U, U) what turns causes of unevenness into unit normal numbers."""
        return np.ascontiguousarray(np.linalg.cholesky(self.prior_spread[1]).T)

    @cached_property
    def layout(self) -> Layout:
        """Places of all global parameters."""
        n, g = len(self.head.coupling), len(self.groups)
        slices, at = [], n + 3 * g
        for real in self.heads.real:
            size = 2 * int(real.sum())
            slices.append(slice(at, at + size))
            at += size
        return Layout(n, g, tuple(slices), at)

    @cached_property
    def shift_of_all(self) -> FloatArray:
        """(B, G) from the groups' log shifts to those of all even modes.

        Measured where measured, a + b film-share elsewhere.
        """
        head, members = self.head, self.heads.members
        share = head.film_share[members[:, 0]]
        columns = np.stack([np.ones_like(share), share - 1.0], axis=1)
        ridge = np.diag([1e-9, 0.05])
        line = np.linalg.solve(columns.T @ columns + ridge, columns.T)
        full = np.stack([np.ones_like(head.film_share), head.film_share - 1.0], axis=1) @ line
        full[members] = np.eye(len(members))[:, None]
        return np.asarray(full)

    @cached_property
    def measured(self) -> NDArray[np.intp]:
        """(R,) rows with a moment among (G, real and imaginary part, 2)."""
        return np.flatnonzero(np.repeat(self.moments.there[:, None, :], 2, axis=1))

    @cached_property
    def columns(self) -> tuple[slice, ...]:
        """Each group's part of R."""
        ends = np.cumsum(2 * self.moments.there.sum(axis=1))
        return tuple(slice(int(a), int(b)) for a, b in zip([0, *ends[:-1]], ends, strict=True))

    @cached_property
    def known(self) -> NDArray[np.bool_]:
        """(G,) whether the tip's push is modelled at a group's frequency."""
        return np.asarray(self.moments.mean_hz * self.contact_s <= self.known_to)

    @property
    def strengths_are_free(self) -> bool:
        """Whether the push is modelled for so few groups that strengths can hide an error."""
        return int(self.known.sum()) <= _FEW_MODELLED

    @property
    def most_strengths_are_free(self) -> bool:
        """Whether it is for fewer than half of them, so that a rod's wrong label may hide."""
        return 2 * int(self.known.sum()) < len(self.groups)

    @cached_property
    def moments(self) -> Moments:
        """All groups' moments as arrays."""
        return stack_moments(self.groups, self.floor)

    @cached_property
    def white(self) -> ComplexArray:
        """(G, T, 2, 2) makes a misfit unit normal in its real and imaginary part.

        Rows of moments that were not measured are nought.
        """
        there = self.moments.there[:, None, :]
        cov = self.moments.cov.copy()
        wider = (self.widen**2)[:, None, None] * self.moments.floor
        cov[..., 0, 0] += wider[..., 0]
        cov[..., 1, 1] += wider[..., 1]
        weight = np.sqrt(2.0 * self.tap_weight.T)[:, :, None] * there
        return np.asarray(_inverse_root(cov) * weight[..., None])


def _inverse_root(cov: ComplexArray) -> ComplexArray:
    """(..., 2, 2) inverse of the lower Cholesky factor of 2 x 2 matrices."""
    first = np.sqrt(cov[..., 0, 0].real)
    tie = cov[..., 1, 0] / first
    second = np.sqrt(cov[..., 1, 1].real - np.abs(tie) ** 2)
    out = np.zeros_like(cov)
    out[..., 0, 0], out[..., 1, 1] = 1.0 / first, 1.0 / second
    out[..., 1, 0] = -tie / (first * second)
    return out


@dataclass(frozen=True)
class Point:
    """A set of all unknowns; a round mode's second microphone number is nought."""

    uneven: FloatArray
    """(U,) deviations that the rods make, then the waves of the seat that they cannot."""
    log_shift: FloatArray
    """(G,)"""
    inner: FloatArray
    """(G, 2) each pair's own split, as fractions of its frequency."""
    microphone: ComplexArray
    """(G, 2)"""
    tap: FloatArray
    """(T, 6) in the order of TAP_SD."""


def subset(setting: Setting, groups: list[int]) -> Setting:
    """The same setting with some of its groups only."""
    return replace(
        setting,
        groups=tuple(setting.groups[g] for g in groups),
        heads=setting.heads.part(groups),
        widen=setting.widen[groups],
        tap_weight=setting.tap_weight[:, groups],
        floor=tuple(setting.floor[g] for g in groups),
    )


def coarse(setting: Setting) -> Setting:
    """The same setting with few even modes above its groups: quicker, for a first search."""
    head = setting.head
    limit = _COARSE * max(float(head.frequency_hz[head.members(g.name)[0]]) for g in setting.groups)
    kept = np.flatnonzero(head.frequency_hz <= limit)
    return replace(setting, head=head.keeping(kept), heads=keeping(setting.heads, kept))


def picked(setting: Setting, taps: NDArray[np.intp], angle_rad: FloatArray) -> Setting:
    """The same setting with the given taps (repeats allowed), at the given angles."""
    groups = tuple(replace(g, moments=g.moments[taps], cov=g.cov[taps]) for g in setting.groups)
    return replace(
        setting,
        groups=groups,
        angle_rad=angle_rad,
        radius_m=setting.radius_m[taps],
        tap_weight=setting.tap_weight[taps],
        floor=tuple(f[taps] for f in setting.floor),
    )


def recentred(setting: Setting, point: Point) -> tuple[Setting, Point]:
    """The same with the contact time moved to where the taps put it."""
    middle = float(np.median(point.tap[:, 3]))
    tap = point.tap.copy()
    tap[:, 3] -= middle
    moved = replace(setting, contact_s=setting.contact_s * float(np.exp(middle)))
    return moved, replace(point, tap=tap)
