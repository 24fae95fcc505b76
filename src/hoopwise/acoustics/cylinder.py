"""Sound field around a drum in open air: a closed cylinder whose two ends move.

The side is rigid. Surface pressure comes from the Kirchhoff-Helmholtz equation, one
Fourier term cos(m theta) at a time: constant pressure on rings, graded towards the rims,
collocation at their middles, and a few points inside where the field must vanish (Schenck
1968), so that no inner resonance spoils it. Mirror symmetry halves the work: ends that
breathe (outwards together) and ends that move along together are solved apart. Lengths in
radii, rho = c = 1, time exp(-i k t). Power comes from the far field, so that it is never
negative and stays exact where ends that move along nearly cancel.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import jv

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_store import FREE_M
from hoopwise.acoustics.hankel import Family, duct_zeros, head_zeros

Complexes = NDArray[np.complex128]

_CAP: Final = 32
_ALONG, _AROUND = 10, 48
"""Quadrature points along and around a source ring."""


_INSIDE: Final = ((0.17, 0.13), (0.37, 0.61), (0.53, 0.29), (0.71, 0.47), (0.29, 0.83))
"""Radius and height over half the depth of points where the field must vanish."""


@dataclass(frozen=True)
class _Rings:
    """Upper half of the cylinder's surface as rings: cap first, then side."""

    start: Floats
    """(E, 2) r and z of each ring's first edge."""
    stop: Floats
    normal: Floats
    """(E, 2) outward."""

    @property
    def middle(self) -> Floats:
        return 0.5 * (self.start + self.stop)

    @property
    def length(self) -> Floats:
        return np.asarray(np.hypot(*(self.stop - self.start).T), dtype=np.float64)


def _rings(depth: float) -> _Rings:
    """Rings that shrink towards the rim, on the cap and down to half the depth."""
    side = max(10, min(22, round(13 * depth)))
    r = np.sin(0.5 * math.pi * np.linspace(0.0, 1.0, _CAP + 1))
    z = 0.5 * depth * np.cos(0.5 * math.pi * np.linspace(0.0, 1.0, side + 1))
    half = np.full(_CAP, 0.5 * depth)
    start = np.concatenate([np.c_[r[:-1], half], np.c_[np.ones(side), z[:-1]]])
    stop = np.concatenate([np.c_[r[1:], half], np.c_[np.ones(side), z[1:]]])
    normal = np.concatenate([np.tile([0.0, 1.0], (_CAP, 1)), np.tile([1.0, 0.0], (side, 1))])
    return _Rings(start, stop, normal)


def _unit_rule(points: int, power: int) -> tuple[Floats, Floats]:
    """Gauss rule on 0..1, crowded towards 0 by the given power."""
    node, weight = np.polynomial.legendre.leggauss(points)
    u = 0.5 * (node + 1.0)
    return u**power, 0.5 * weight * power * u ** (power - 1)


def _self_rule() -> tuple[Floats, Floats]:
    """Rule on 0..1 crowded towards the middle, for a ring's pressure on itself."""
    u, weight = _unit_rule(_ALONG, 3)
    return (
        np.concatenate([0.5 - 0.5 * u[::-1], 0.5 + 0.5 * u]),
        np.concatenate([0.5 * weight[::-1], 0.5 * weight]),
    )


@dataclass(frozen=True)
class _Kernel:
    """Field points against source rings: all that does not depend on k."""

    distance: Floats
    """(P, E, S, A)."""
    slope: Floats
    """Derivative of the distance along the source's normal."""
    area: Floats
    """Quadrature weight over 4 pi."""
    turn: Floats
    """(A, FREE_M) cos(m theta)."""

    def layers(self, k: float) -> tuple[Complexes, Complexes]:
        """Single and double layer matrices, (P, E, FREE_M) each."""
        single = np.exp(1j * k * self.distance) / self.distance * self.area
        double = single * (1j * k - 1.0 / self.distance) * self.slope
        return single.sum(axis=2) @ self.turn, double.sum(axis=2) @ self.turn


def _kernel(points: Floats, rings: _Rings, rule: tuple[Floats, Floats], paired: bool) -> _Kernel:
    """Kernel of points (P, 2) against all rings, or if ``paired`` each against its own."""
    place, weight = rule
    around, wa = _unit_rule(_AROUND, 3)
    angle, wa = math.pi * around, 2.0 * math.pi * wa
    lift = (slice(None), None) if paired else (None, slice(None))
    start, stop, normal = rings.start[lift], rings.stop[lift], rings.normal[lift]
    source = start[:, :, None, :] + place[:, None] * (stop - start)[:, :, None, :]
    r, z = source[..., 0, None], source[..., 1, None]
    field = points[:, None, None, None, :]
    dx = r * np.cos(angle) - field[..., 0]
    dy = r * np.sin(angle)
    dz = z - field[..., 1] + 0.0 * angle
    distance = np.sqrt(dx * dx + dy * dy + dz * dz)
    radial = dx * np.cos(angle) + dy * np.sin(angle)
    slope = radial * normal[..., 0, None, None] + dz * normal[..., 1, None, None]
    length = np.linalg.norm(stop - start, axis=-1)[..., None, None]
    area = weight[:, None] * length * r * wa / (4.0 * math.pi)
    turn = np.cos(np.outer(angle, np.arange(FREE_M)))
    return _Kernel(distance, slope / distance, np.broadcast_to(area, distance.shape), turn)


def _mirrored(rings: _Rings) -> _Rings:
    """The lower half."""
    flip = np.array([1.0, -1.0])
    return _Rings(rings.start * flip, rings.stop * flip, rings.normal * flip)


@dataclass(frozen=True)
class _Cylinder:
    """A cylinder ready to be solved at any k."""

    rings: _Rings
    direct: _Kernel
    own: _Kernel
    image: _Kernel
    inner: _Kernel
    inner_image: _Kernel

    def layers(self, k: float) -> tuple[tuple[Complexes, ...], tuple[Complexes, ...]]:
        """(single, double) of the upper rings and of their images, (P, E, FREE_M) each.

        Rows are ring middles, then inner points.
        """
        count = np.arange(len(self.rings.length))
        near, own = self.direct.layers(k), self.own.layers(k)
        for matrix, diagonal in zip(near, own, strict=True):
            matrix[count, count] = diagonal[:, 0]
        pairs = zip(near, self.inner.layers(k), strict=True)
        images = zip(self.image.layers(k), self.inner_image.layers(k), strict=True)
        return (
            tuple(np.concatenate(pair) for pair in pairs),
            tuple(np.concatenate(pair) for pair in images),
        )


@lru_cache(maxsize=32)
def _cylinder(depth: float) -> _Cylinder:
    rings = _rings(depth)
    below = _mirrored(rings)
    rule = _unit_rule(_ALONG, 1)
    inside = np.array([[r, 0.5 * depth * z] for r, z in _INSIDE])
    return _Cylinder(
        rings,
        _kernel(rings.middle, rings, rule, paired=False),
        _kernel(rings.middle, rings, _self_rule(), paired=True),
        _kernel(rings.middle, below, rule, paired=False),
        _kernel(inside, rings, rule, paired=False),
        _kernel(inside, below, rule, paired=False),
    )


@lru_cache(maxsize=64)
def _cap_values(family: Family, m: int, count: int, depth: float) -> Floats:
    """Mean of each end function over each cap ring, (count, E); 0 on the side."""
    rings = _cylinder(depth).rings
    zeros = head_zeros(m, count) if family == "head" else duct_zeros(m, count)
    node, weight = np.polynomial.legendre.leggauss(6)
    inner, outer = rings.start[:_CAP, 0, None], rings.stop[:_CAP, 0, None]
    r = 0.5 * (inner + outer) + 0.5 * (outer - inner) * node
    share = weight * r
    values = np.asarray(jv(m, zeros[:, None, None] * r)) * share
    out = np.zeros((count, len(rings.length)))
    out[:, :_CAP] = values.sum(axis=2) / share.sum(axis=1)
    out.flags.writeable = False
    return out


@dataclass(frozen=True)
class EndFields:
    """What motion of the ends does to the air, per face and angular factor.

    Each a pair: ends that breathe, ends that move along together. (n, n) over the given
    end functions.
    """

    mass_change: tuple[Floats, Floats]
    """Mass over rho a^3, less that of the same end in a wide baffle on the same rings."""
    resistance: tuple[Floats, Floats]
    """Resistance over rho c a^2, from the power in the far field."""
    surface_resistance: tuple[Floats, Floats]
    """The same from the pressure on the ends; agrees as far as the rings are fine."""


def end_fields(depth: float, m: int, ends: tuple[tuple[Family, int], ...], k: float) -> EndFields:
    """Air moved and power lost by the ends of a cylinder.

    Parameters
    ----------
    depth : float
        Depth over radius.
    m : int
        Nodal diameters, below ``FREE_M``.
    ends : ((family, count), ...)
        Functions that an end may move in; all of them are taken as one basis.
    k : float
        Wave number times radius, above 0.
    """
    rings = _cylinder(depth).rings
    motion = np.concatenate([_cap_values(f, m, n, depth) for f, n in ends if n])
    area = motion * (rings.length * rings.middle[:, 0])
    breathing, along, wall = _solved(depth, k)
    baffle = area @ wall[:, :, m] @ motion.T
    change, power, surface = [], [], []
    for sign, matrix in ((1.0, breathing), (-1.0, along)):
        pressure = matrix[:, :, m] @ motion.T
        z = area @ pressure
        change.append(_even(baffle.imag - z.imag) / k)
        surface.append(_even(z.real))
        power.append(_far_power(rings, m, k, sign, pressure, motion.T))
    return EndFields((change[0], change[1]), (power[0], power[1]), (surface[0], surface[1]))


def _even(matrix: Floats) -> Floats:
    return np.asarray(0.5 * (matrix + matrix.T))


def _far_power(
    rings: _Rings, m: int, k: float, sign: float, pressure: Complexes, motion: Floats
) -> Floats:
    """Resistance per face from the far field of both halves, (n, n)."""
    cosine, weight, shape, flare = _far_shapes(m, k, tuple(rings.middle[:, 0].tolist()))
    sine = np.sqrt(1.0 - cosine**2)
    r, z = rings.middle.T
    up = k * np.outer(cosine, z)
    wave, climb = (np.cos(up), -np.sin(up)) if sign > 0.0 else (np.sin(up), np.cos(up))
    normal = rings.normal.T
    along_normal = k * (
        sine[:, None] * flare * wave * normal[0] + cosine[:, None] * shape * climb * normal[1]
    )
    area = rings.length * r
    far = (along_normal * area) @ pressure - 1j * k * (shape * wave * area) @ motion
    return np.asarray(((far.conj() * (0.5 * weight)[:, None]).T @ far).real)


@lru_cache(maxsize=1)
def _far_shapes(
    m: int, k: float, radii: tuple[float, ...]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Cosines of directions above with weights, J_m and J_m' of each ring there."""
    node, weight = _legendre(24)
    cosine = 0.5 * (node + 1.0)  # upper half space; the lower one is its mirror image
    across = k * np.outer(np.sqrt(1.0 - cosine**2), radii)
    flare = 0.5 * (np.asarray(jv(m - 1, across)) - np.asarray(jv(m + 1, across)))
    return cosine, weight, np.asarray(jv(m, across)), flare


@lru_cache(maxsize=8)
def _legendre(points: int) -> tuple[Floats, Floats]:
    node, weight = np.polynomial.legendre.leggauss(points)
    return node, weight


@lru_cache(maxsize=256)
def _solved(depth: float, k: float) -> tuple[Complexes, Complexes, Complexes]:
    """Pressure on each ring per velocity of each, (E, E, FREE_M): breathing, along, baffled."""
    cylinder = _cylinder(depth)
    count = len(cylinder.rings.length)
    near, far = cylinder.layers(k)
    jump = np.zeros(near[1].shape[:2])
    jump[:count] = 0.5 * np.eye(count)
    out = []
    for sign in (1.0, -1.0):
        single, double = near[0] + sign * far[0], near[1] + sign * far[1]
        pressure = np.empty((count, count, FREE_M), dtype=np.complex128)
        for m in range(FREE_M):
            left, right = jump - double[:, :, m], -1j * k * single[:, :, m]
            pressure[:, :, m] = np.linalg.lstsq(left, right, rcond=None)[0]
        out.append(pressure)
    return out[0], out[1], -2j * k * near[0][:count]


def clear_caches() -> None:
    """Forget all solved cylinders; for checks that change how fine the rings are."""
    _cylinder.cache_clear()
    _cap_values.cache_clear()
    _solved.cache_clear()
