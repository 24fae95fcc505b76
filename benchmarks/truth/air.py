"""Air outside a head in a rigid plane: Rayleigh's integral summed over the mesh.

Pressure of a surface that moves by w exp(i omega t), k = omega / c:
    p(x) = -omega^2 rho / (2 pi) int w(y) exp(-i k R) / R dS.
Work against the shapes gives a complex mass; its imaginary part is the radiated power.
exp(-i k R) / R is expanded in powers of k, so that one sweep over all pairs of mesh
points serves every frequency and every size. The singular first term is summed with the
field's value at the point taken out, whose integral is the known potential of a
uniformly charged disc, 4 E(r^2).
Rayleigh: The Theory of Sound, vol. 2, sections 278 and 302.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import factorial

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipe

from benchmarks.truth.head import Shapes, shapes
from benchmarks.truth.mesh import RINGS

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_TERMS = 31
KA_LIMIT = 4.0
"""Largest wavenumber times radius at which the series is summed; held beyond."""


@dataclass(frozen=True)
class Air:
    """Air's density and speed of sound."""

    density_kg_m3: float = 1.2
    speed_m_s: float = 343.0


def _coefficients(ka: float) -> Complex:
    """Factor of each power of R in exp(-i k R) / R, over 2 pi."""
    k = min(ka, KA_LIMIT)
    powers = [(-1j * k) ** j / factorial(j) for j in range(_TERMS)]
    return np.array(powers, dtype=np.complex128) / (2.0 * np.pi)


@dataclass(frozen=True)
class RayleighSums:
    """(terms, shapes, shapes): double integrals of shapes with R^(j-1), unit disc."""

    terms: Array

    def mass(self, ka: float, radius_m: float, air: Air) -> Complex:
        """Complex air mass (kg) of one face: real part carried, -imaginary part radiated."""
        summed = np.tensordot(_coefficients(ka), self.terms, axes=1)
        return air.density_kg_m3 * radius_m**3 * summed


def pair_sums(x: Array, y: Array, weight: Array, fields: Array) -> Array:
    """(terms, fields, fields) double integrals of fields (points, fields) with R^(j-1)."""
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    np.fill_diagonal(distance, 1.0)
    weighted = weight[:, None] * fields
    power = 1.0 / distance
    np.fill_diagonal(power, 0.0)
    radius = np.minimum(np.hypot(x, y), 1.0)
    own = 4.0 * ellipe(radius**2) - power @ weight
    first = weighted.T @ (power @ weighted) + (weighted * own[:, None]).T @ fields
    terms = [0.5 * (first + first.T)]
    total = weighted.sum(axis=0)
    terms.append(np.outer(total, total))
    np.copyto(power, distance)
    np.fill_diagonal(power, 0.0)
    for _ in range(2, _TERMS):
        term = weighted.T @ (power @ weighted)
        terms.append(0.5 * (term + term.T))
        power *= distance
    return np.array(terms)


@lru_cache(maxsize=2)
def rayleigh_sums(rings: int = RINGS) -> RayleighSums:
    """The sums over the kept shapes, made once in a process (a few seconds)."""
    kept: Shapes = shapes(rings)
    points = kept.disc.coarse
    return RayleighSums(pair_sums(points.x, points.y, points.weight, kept.coarse))


def pressure_at(
    place_m: tuple[float, float, float], omega: Array, fields: Complex, radius_m: float, air: Air
) -> Complex:
    """Pressure per unit amplitude of each field (coarse points, fields) at a place above.

    ``omega`` is each field's angular frequency; place in metres from the head's centre.
    """
    points = shapes().disc.coarse
    x, y, z = place_m
    distance = np.sqrt((radius_m * points.x - x) ** 2 + (radius_m * points.y - y) ** 2 + z**2)
    k = omega / air.speed_m_s
    kernel = np.exp(-1j * distance[:, None] * k) / distance[:, None]
    area = radius_m**2 * points.weight
    summed: Complex = np.sum(area[:, None] * kernel * fields, axis=0)
    return -(omega**2) * air.density_kg_m3 / (2.0 * np.pi) * summed
