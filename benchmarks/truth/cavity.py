"""Two heads on one shell: the air between them as duct shapes times elements along the axis.

Across the shell: finite-element modes of the rigid-walled disc. Along it: quadratic
elements, whose own modes are found once; the lowest ones keep their inertia, so that the
cavity's resonances appear as modes of the whole, the others act as springs. Unknowns are
both heads' amplitudes (up is positive for both) and the pressures y rho omega^2:
    K q = omega^2 (M q + rho C y),    kappa^2 y - C' q = omega^2 / c^2 y.
Helmholtz's equation with normal displacement u at a wall: dp/dn = rho omega^2 u.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eig, eigh

from benchmarks.truth.air import RayleighSums
from benchmarks.truth.head import Shapes, shapes
from benchmarks.truth.modes import HeadModes, OpenHead

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_STEP = 1.12
_HEAD_MODES = 48
"""Modes of each head, in its own outer air, that the coupled problem uses."""
_AXIAL_ELEMENTS = 6
_AXIAL_KEPT = 2


@dataclass(frozen=True)
class SecondHead:
    """The head opposite, evenly pulled, and the shell between."""

    tension_n_m: float
    density_kg_m2: float
    depth_m: float
    loss: float
    """Loss factor of a hand or cloth on it; 0 lets it ring."""


@dataclass(frozen=True)
class TwoHeads:
    """The head under test (on top) and the other one."""

    first: OpenHead
    second: SecondHead


def axial_modes(depth_m: float, elements: int = _AXIAL_ELEMENTS) -> tuple[Array, Array]:
    """Squared wavenumbers along a closed shell, and the modes' values (2, modes) at its ends.

    Quadratic elements, unit integral of the square; first row the bottom, second the top.
    """
    size, h = 2 * elements + 1, depth_m / elements
    stiff, mass = np.zeros((size, size)), np.zeros((size, size))
    k = np.array([[7.0, -8.0, 1.0], [-8.0, 16.0, -8.0], [1.0, -8.0, 7.0]]) / (3.0 * h)
    m = np.array([[4.0, 2.0, -1.0], [2.0, 16.0, 2.0], [-1.0, 2.0, 4.0]]) * h / 30.0
    for e in range(elements):
        part = slice(2 * e, 2 * e + 3)
        stiff[part, part] += k
        mass[part, part] += m
    squared, vectors = eigh(stiff, mass)
    return np.maximum(squared, 0.0), vectors[[0, -1]]


@dataclass(frozen=True)
class _Cavity:
    """Pressure shapes with inertia, and the stiffness that all the others add."""

    squared: Array
    """(kept,) squared wavenumbers (1/m^2)."""
    coupling: Array
    """(both heads' shapes, kept): outward displacement times pressure shape, over the walls."""


def _cavity(heads: TwoHeads, kept: Shapes) -> tuple[_Cavity, _Cavity]:
    """The resonant part and the springy part."""
    a = heads.first.radius_m
    along, ends = axial_modes(heads.second.depth_m)
    across = kept.duct_coupling * a  # duct shapes have unit integral on the unit disc
    squared, columns = [], []
    for s, wavenumber in enumerate(kept.duct_wavenumber):
        for p, axial in enumerate(along):
            squared.append((wavenumber / a) ** 2 + axial)
            columns.append(np.concatenate([across[:, s] * ends[1, p], -across[:, s] * ends[0, p]]))
    axial_number = np.tile(np.arange(len(along)), len(kept.duct_wavenumber))
    live = axial_number < _AXIAL_KEPT
    table, all_squared = np.array(columns).T, np.array(squared)
    return _Cavity(all_squared[live], table[:, live]), _Cavity(all_squared[~live], table[:, ~live])


def _reduced(heads: TwoHeads, kept: Shapes, outer: Complex) -> tuple[Complex, Array, Array]:
    """Stiffness and mass on each head's own modes in its outer air, and those modes."""
    first, second = heads.first, heads.second
    a = first.radius_m
    fine = kept.disc.fine
    unit = kept.dx.T @ (fine.weight[:, None] * kept.dx) + kept.dy.T @ (
        fine.weight[:, None] * kept.dy
    )
    solid = second.density_kg_m2 * a**2 * (kept.value.T @ (fine.weight[:, None] * kept.value))
    size = len(unit)
    basis = np.zeros((2 * size, 2 * _HEAD_MODES))
    stiff = np.zeros(2 * _HEAD_MODES, dtype=np.complex128)
    lost = np.zeros((2 * size, 2 * size))
    pairs = ((first.stiffness, first.mass, 0.0), (second.tension_n_m * unit, solid, second.loss))
    for i, (stiffness, mass, loss) in enumerate(pairs):
        squared, vectors = eigh(stiffness, mass + outer.real, subset_by_index=(0, _HEAD_MODES - 1))
        basis[i * size : (i + 1) * size, i * _HEAD_MODES : (i + 1) * _HEAD_MODES] = vectors
        stiff[i * _HEAD_MODES : (i + 1) * _HEAD_MODES] = squared * (1.0 + 1j * loss)
        lost[i * size : (i + 1) * size, i * size : (i + 1) * size] = outer.imag
    return stiff, basis.T @ lost @ basis, basis


def two_head_modes(heads: TwoHeads, sums: RayleighSums, limit_hz: float) -> HeadModes:
    """Modes of the whole up to a frequency; shapes are those of the head under test."""
    kept = shapes()
    live, springy = _cavity(heads, kept)
    low, found = 2.0 * np.pi * 40.0, []
    while low < 2.0 * np.pi * limit_hz:
        high = low * (_STEP if low > 2.0 * np.pi * 80.0 else 2.0)
        found += _modes_between(heads, kept, sums, (live, springy), (low, high))
        low = high
    found.sort(key=lambda pair: pair[0].real)
    return HeadModes(np.array([w for w, _ in found]), np.array([v for _, v in found]).T)


def _modes_between(
    heads: TwoHeads,
    kept: Shapes,
    sums: RayleighSums,
    cavity: tuple[_Cavity, _Cavity],
    band: tuple[float, float],
) -> list[tuple[complex, Complex]]:
    omega, air, a = 0.5 * (band[0] + band[1]), heads.first.air, heads.first.radius_m
    middle = sums.mass(omega * a / air.speed_m_s, a, air)
    live, springy = cavity
    stiff, lost, basis = _reduced(heads, kept, middle)
    wall, rest = basis.T @ live.coupling, basis.T @ springy.coupling
    density = air.density_kg_m3
    heavy = np.eye(len(stiff)) + 1j * lost
    heavy += density * (rest / (springy.squared - (omega / air.speed_m_s) ** 2)) @ rest.T
    n, p = len(stiff), len(live.squared)
    left = np.zeros((n + p, n + p), dtype=np.complex128)
    right = np.zeros_like(left)
    left[:n, :n], left[n:, :n] = np.diag(stiff), -wall.T
    left[n:, n:] = np.diag(live.squared)
    right[:n, :n], right[:n, n:] = heavy, density * wall
    right[n:, n:] = np.eye(p) / air.speed_m_s**2
    squared, vectors = eig(np.linalg.solve(right, left))
    squared = np.where(np.abs(squared) < 1.0, 1.0, squared)
    ringing = np.sqrt(squared)
    near = (0.97 * band[0] <= ringing.real) & (ringing.real < 1.03 * band[1])
    steps = [sums.mass(w * a / air.speed_m_s, a, air) - middle for w in band]
    found = []
    for value, vector in zip(squared[near], vectors.T[near], strict=True):
        q = basis @ vector[:n]
        mass = _modal_mass(vector, value, right, left, n)
        halves = q.reshape(2, -1)
        low, high = (complex(sum(h @ step @ h for h in halves)) for step in steps)
        own = np.sqrt(value).real
        part = (own - band[0]) / (band[1] - band[0])
        ringing_own = np.sqrt(value / (1.0 + _between(low, high, part) / mass))
        if band[0] <= ringing_own.real < band[1]:
            found.append((complex(ringing_own), halves[0] / np.sqrt(mass)))
    return found


def _between(low: complex, high: complex, part: float) -> complex:
    """Quadratic through low, 0 in the middle and high."""
    return low * (2.0 * part - 1.0) * (part - 1.0) + high * part * (2.0 * part - 1.0)


def _modal_mass(
    vector: Complex, squared: complex, right: Complex, left: Complex, n: int
) -> complex:
    """Modal mass of heads and air together for the heads' part of a mode.

    With y taken out, S(x) q = [stiff - x (heavy + rho C (kappa^2 - x / c^2)^-1 C')] q = 0
    is symmetric; the modal mass is -q' S'(x) q at the mode's x = omega^2.
    """
    q = vector[:n]
    gap = np.diag(left[n:, n:]) - squared * right[n, n]
    push, pull = q @ right[:n, n:], -(left[n:, :n] @ q)
    added = np.sum(push * pull / gap) + squared * right[n, n] * np.sum(push * pull / gap**2)
    return complex(q @ right[:n, :n] @ q + added)
