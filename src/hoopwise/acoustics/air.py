"""Air outside a head: the mass it adds and the power it carries away.

A head moving as sum_n q_n J_m(j_mn r/a) cos(m theta) at angular frequency omega feels
from each face set in a wide baffle the force omega^2 M q - i omega R q, with k0 = omega/c

    M_nn' = rho eps_m  integral_{k > k0} Phi_n Phi_n' k dk / sqrt(k^2 - k0^2)
    R_nn' = rho omega eps_m  integral_{k < k0} Phi_n Phi_n' k dk / sqrt(k0^2 - k^2)

Phi the Hankel transforms, eps_0 = 2 pi, eps_m = pi (the Rayleigh integral in wave
numbers; Christian et al. 1984 use the same for the kettledrum). In units of the radius
both are even entire functions of k0 a once R is divided by (k0 a)^2, so a short Chebyshev
series per (m, n, n') holds them to machine precision up to ``KA_MAX``.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import jv

from hoopwise.acoustics.air_store import BAFFLED_M, COUNT, stored_series
from hoopwise.acoustics.hankel import (
    FAMILIES,
    Family,
    duct_transforms,
    duct_zeros,
    head_slopes,
    head_transforms,
    head_zeros,
)
from hoopwise.acoustics.limits import check_mode
from hoopwise.errors import RangeError

Floats = NDArray[np.float64]

SOUND_SPEED_M_S: Final = 343.2
AIR_DENSITY_KG_M3: Final = 1.204
"""Dry air at 20 °C and 101.325 kPa."""
KA_MAX: Final = 16.0
_TERMS: Final = 30
_ORDERS: Final = np.arange(_TERMS)
_PANELS, _POINTS, _FAR = 22, 14, 140.0


@dataclass(frozen=True)
class Air:
    """The air around a drum."""

    density_kg_m3: float = AIR_DENSITY_KG_M3
    speed_m_s: float = SOUND_SPEED_M_S


def angular_factor(m: int) -> float:
    """Integral of cos^2(m theta) round the circle: 2 pi for m = 0, else pi."""
    return 2.0 * math.pi if m == 0 else math.pi


def _transforms(family: Family, m: int, count: int, x: Floats) -> Floats:
    table = head_transforms if family == "head" else duct_transforms
    return table(m, count, x)


@lru_cache(maxsize=8)
def _gauss(low: float, high: float, panels: int, points: int) -> tuple[Floats, Floats]:
    """Nodes and weights of a Gauss rule on equal panels."""
    node, weight = np.polynomial.legendre.leggauss(points)
    edges = np.linspace(low, high, panels + 1)
    half = 0.5 * np.diff(edges)[:, None]
    middle = 0.5 * (edges[1:] + edges[:-1])[:, None]
    return (middle + half * node).ravel(), (half * weight).ravel()


def face_integrals(family: Family, m: int, count: int, ka: float) -> tuple[Floats, Floats]:
    """Added mass and damping of one baffled face by quadrature, dimensionless.

    Returns
    -------
    (mass, damping)
        Two (count, count) matrices; times rho eps_m a^3 and rho omega eps_m a^3 they
        are M (kg) and R (kg/s).
    """
    t, weight = _gauss(0.0, _FAR, _PANELS, _POINTS)
    f = _transforms(family, m, count, np.sqrt(t * t + ka * ka))
    mass = (f * weight) @ f.T + _tail(family, m, count)
    u, weight = _gauss(0.0, 0.5 * math.pi, 4, 16)
    x = ka * np.sin(u)
    f = _transforms(family, m, count, x)
    return mass, (f * weight * x) @ f.T


def _tail(family: Family, m: int, count: int) -> Floats:
    """What lies beyond the last quadrature node, from the mean of J^2 = 1/(pi x)."""
    if family == "head":
        edge = head_zeros(m, count) * head_slopes(m, count)
        return np.outer(edge, edge) / (4.0 * math.pi * _FAR**4)
    rim = np.asarray(jv(m, duct_zeros(m, count)))
    return np.outer(rim, rim) / (2.0 * math.pi * _FAR**2)


@lru_cache(maxsize=128)
def _series(family: Family, m: int, count: int) -> Floats:
    """The series, (2, terms, count count): stored for most, solved for many circles or lines."""
    if m < BAFFLED_M and count <= COUNT:
        series = stored_series(FAMILIES.index(family), m, count)
    else:
        series = baffled_series(family, m, count)
    return np.ascontiguousarray(np.moveaxis(series, 1, 0).reshape(2, len(series), -1))


def baffled_series(family: Family, m: int, count: int) -> Floats:
    """Chebyshev series of mass and damping/(ka) in (ka)^2, (terms, 2, count, count)."""
    angle = (np.arange(_TERMS) + 0.5) * math.pi / _TERMS
    node = np.cos(angle)
    ka = KA_MAX * np.sqrt(0.5 * (1.0 + node))
    pairs = [face_integrals(family, m, count, float(k)) for k in ka]
    values = np.array([(mass, damping / k) for (mass, damping), k in zip(pairs, ka, strict=True)])
    basis = np.cos(np.outer(np.arange(_TERMS), angle))
    series = np.tensordot(basis, values, axes=1) * (2.0 / _TERMS)
    series[0] *= 0.5
    return np.asarray(series, dtype=np.float64)


def face_table(family: Family, m: int, count: int, ka: Floats) -> tuple[Floats, Floats]:
    """`face_integrals` from the stored series, for many ka at once.

    Parameters
    ----------
    ka : (...)
        Wave number times radius, 0 to ``KA_MAX``.

    Returns
    -------
    (mass, damping)
        Each (..., count, count).

    Raises
    ------
    RangeError
        A ka lies outside the table.
    """
    ka = np.asarray(ka, dtype=np.float64)
    if not np.all((ka >= 0.0) & (ka <= KA_MAX)):
        worst = float(ka.flat[np.argmax(np.abs(ka - 0.5 * KA_MAX))])
        raise RangeError(
            f"air outside the head: frequency times radius gives ka = {worst:.3g}; "
            f"the model holds from 0 to {KA_MAX:g}."
        )
    return face_mass(family, m, count, ka), face_damping(family, m, count, ka)


def face_mass(family: Family, m: int, count: int, ka: Floats) -> Floats:
    """The mass of `face_table` for ka (...) known to lie within it, (..., count, count)."""
    flat = _powers(ka) @ _series(family, m, count)[0]
    return np.asarray(flat.reshape(*np.shape(ka), count, count))


def face_damping(family: Family, m: int, count: int, ka: Floats) -> Floats:
    """The damping of `face_table` for ka (...) known to lie within it, (..., count, count)."""
    flat = (_powers(ka) @ _series(family, m, count)[1]) * ka[..., None]
    return np.asarray(flat.reshape(*np.shape(ka), count, count))


def _powers(ka: Floats) -> Floats:
    """Chebyshev polynomials of 2 (ka/KA_MAX)^2 - 1, (..., _TERMS)."""
    turn = np.arccos(2.0 * np.minimum(ka / KA_MAX, 1.0) ** 2 - 1.0)
    return np.asarray(np.cos(turn[..., None] * _ORDERS))


def air_mass(
    radius_m: float,
    m: int,
    n_max: int,
    omega: float,
    faces: int = 2,
    air: Air | None = None,
) -> Floats:
    """Mass that the outside air adds to a head, (n_max, n_max) in kg.

    Refers to the amplitudes of J_m(j_mn r/a) cos m theta, n = 1..n_max, as the film's own
    modal mass sigma eps_m (a^2/2) J_m'(j_mn)^2 does. ``omega`` in rad/s; ``faces`` 2 for
    a head open on both sides, 1 for the outside of a closed drum.

    Raises
    ------
    RangeError
        m or n_max lies outside the model, or omega times radius over the speed of sound
        beyond ``KA_MAX`` or below 0.

    Examples
    --------
    >>> air_mass(0.328, 0, 1, 500.0).round(4)
    array([[0.0517]])
    """
    mass, _ = _faces(radius_m, m, n_max, omega, air or Air())
    return faces * mass


def air_damping(
    radius_m: float,
    m: int,
    n_max: int,
    omega: float,
    faces: int = 2,
    air: Air | None = None,
) -> Floats:
    """Radiation resistance on a head, (n_max, n_max) in kg/s; arguments as `air_mass`.

    Amplitude dies as exp(-alpha t) with alpha = v R v / (2 v M v), M all moving mass.
    Raises as `air_mass` does.
    """
    _, damping = _faces(radius_m, m, n_max, omega, air or Air())
    return faces * damping


def _faces(radius_m: float, m: int, count: int, omega: float, air: Air) -> tuple[Floats, Floats]:
    check_mode(m, count)
    ka = np.asarray(omega * radius_m / air.speed_m_s)
    mass, damping = face_table("head", m, count, ka)
    scale = air.density_kg_m3 * angular_factor(m) * radius_m**3
    return scale * mass, scale * omega * damping
