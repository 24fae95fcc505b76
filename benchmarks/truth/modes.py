"""Ringing modes of a head in air: complex frequencies and shapes.

Stiffness v = omega^2 (mass + faces x air mass(omega)) v. The air's mass depends on the
frequency: the band is walked in steps, the problem solved at each, and each mode's own
frequency settled on the air mass of its own shape.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from benchmarks.truth.air import Air, RayleighSums

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_STEP = 1.09
_REACH = 24
"""Neighbours on each side that a mode may mix with by radiation."""


@dataclass(frozen=True)
class HeadModes:
    """Modes by growing frequency: exp(i omega t), omega's imaginary part is the decay."""

    omega: Complex
    """(modes,)."""
    shape: Complex
    """(shapes, modes), unit modal mass (air included)."""


@dataclass(frozen=True)
class OpenHead:
    """One head with air on its outer and (scaled) inner face."""

    stiffness: Array
    mass: Array
    radius_m: float
    air: Air
    faces: float = 2.0


def _band(head: OpenHead, sums: RayleighSums, limit_hz: float) -> Array:
    """Angular frequencies to solve at, from below the lowest mode up."""
    static = head.mass + head.faces * sums.mass(0.0, head.radius_m, head.air).real
    lowest = eigh(head.stiffness, static, eigvals_only=True, subset_by_index=(0, 0))[0]
    steps = int(np.ceil(np.log(2.0 * np.pi * limit_hz / np.sqrt(lowest)) / np.log(_STEP))) + 1
    band: Array = np.sqrt(lowest) * 0.97 * _STEP ** np.arange(max(steps, 1) + 1)
    return band


def low_pair_limit_hz(head: OpenHead, sums: RayleighSums) -> float:
    """A frequency above the (1,1) pair and not far above."""
    static = head.mass + head.faces * sums.mass(0.0, head.radius_m, head.air).real
    squared = eigh(head.stiffness, static, eigvals_only=True, subset_by_index=(2, 2))[0]
    return float(1.15 * np.sqrt(squared) / (2.0 * np.pi))


def open_head_modes(head: OpenHead, sums: RayleighSums, limit_hz: float) -> HeadModes:
    """All modes up to a frequency."""
    edges = _band(head, sums, limit_hz)
    found: list[tuple[complex, Complex]] = []
    for low, high in pairwise(edges):
        middle = np.sqrt(low * high)
        found += _modes_between(head, sums, middle, low, high)
    found.sort(key=lambda pair: pair[0].real)
    return HeadModes(
        np.array([omega for omega, _ in found]), np.array([shape for _, shape in found]).T
    )


def _modes_between(
    head: OpenHead, sums: RayleighSums, middle: float, low: float, high: float
) -> list[tuple[complex, Complex]]:
    air = head.faces * sums.mass(
        middle * head.radius_m / head.air.speed_m_s, head.radius_m, head.air
    )
    squared, real_shapes = eigh(head.stiffness, head.mass + air.real)
    omega = np.sqrt(np.maximum(squared, 0.0))
    first = max(int(np.searchsorted(omega, low)) - _REACH, 0)
    last = min(int(np.searchsorted(omega, high)) + _REACH, len(omega))
    near = real_shapes[:, first:last]
    lost = near.T @ air.imag @ near
    values, vectors = np.linalg.eig(
        np.linalg.solve(np.eye(last - first) + 1j * lost, np.diag(squared[first:last]))
    )
    ringing = np.sqrt(values)
    close = (0.97 * low <= ringing.real) & (ringing.real < 1.03 * high)
    settled = _settled(head, sums, (low, middle, high), near @ vectors[:, close])
    inside = (low <= settled.omega.real) & (settled.omega.real < high)
    return list(zip(settled.omega[inside].tolist(), settled.shape.T[inside], strict=True))


def _settled(
    head: OpenHead, sums: RayleighSums, knots: tuple[float, float, float], shape: Complex
) -> HeadModes:
    """Frequencies and unit-mass shapes with the air mass at each mode's own frequency."""
    scale = head.radius_m / head.air.speed_m_s
    stiff = np.sum(shape * (head.stiffness @ shape), axis=0)
    solid = np.sum(shape * (head.mass @ shape), axis=0)
    airy = [
        head.faces
        * np.sum(shape * (sums.mass(knot * scale, head.radius_m, head.air) @ shape), axis=0)
        for knot in knots
    ]
    a, b, c = knots
    omega = np.full(shape.shape[1], b, dtype=np.complex128)
    heavy = solid + airy[1]
    for _ in range(4):
        w = omega.real
        heavy = (
            solid
            + airy[0] * (w - b) * (w - c) / ((a - b) * (a - c))
            + airy[1] * (w - a) * (w - c) / ((b - a) * (b - c))
            + airy[2] * (w - a) * (w - b) / ((c - a) * (c - b))
        )
        omega = np.sqrt(stiff / heavy)
    return HeadModes(omega, shape / np.sqrt(heavy))
