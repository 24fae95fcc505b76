"""Shape functions of a head, and how a tension field couples them.

Basis functions J_m(j_mn r / a) cos m theta and sin m theta, m = 0..M, n = 1..C, in the
order of `basis_names`. A harmonic k of the tension couples m and m' only where
k = |m - m'| or m + m'. Integrals: Gauss-Legendre along the radius, exact trapezoid
around. Lengths m, stiffness N/m per unit coefficients.
"""

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import jv, jvp

from hoopwise.acoustics.membrane import bessel_zero, modal_mass_kg

Array = NDArray[np.float64]
Name = tuple[int, int, Literal["cos", "sin"]]


def basis_names(diameters: int, circles: int) -> tuple[Name, ...]:
    """(m, n, "cos" or "sin") of every basis function, m to ``diameters``, n to ``circles``."""
    names: list[Name] = []
    for m in range(diameters + 1):
        for n in range(1, circles + 1):
            names.append((m, n, "cos"))
            if m > 0:
                names.append((m, n, "sin"))
    return tuple(names)


def zeros_of(names: Sequence[Name]) -> Array:
    """(B,) Bessel zero of each basis function."""
    return np.array([bessel_zero(m, n) for m, n, _ in names])


def masses_of(names: Sequence[Name], radius_m: float, mass_kg_m2: float) -> Array:
    """(B,) modal mass (kg) of each basis function, film only."""
    return np.array([modal_mass_kg(m, n, radius_m, mass_kg_m2) for m, n, _ in names])


def values_at(names: Sequence[Name], radius_m: float, r_m: ArrayLike, theta: ArrayLike) -> Array:
    """(P, B) value of each basis function at P places r (m), theta (rad)."""
    r, angle = np.broadcast_arrays(np.asarray(r_m, float), np.asarray(theta, float))
    orders = np.array([m for m, _, _ in names])
    around = np.where(
        np.array([kind == "cos" for _, _, kind in names]),
        np.cos(np.outer(angle.ravel(), orders)),
        np.sin(np.outer(angle.ravel(), orders)),
    )
    reach = np.outer(r.ravel() / radius_m, zeros_of(names))
    return np.asarray(jv(orders, reach) * around, dtype=np.float64)


def radial_points(count: int) -> tuple[Array, Array]:
    """Gauss-Legendre places s in (0, 1) and weights that already hold the factor s."""
    x, w = np.polynomial.legendre.leggauss(count)
    s = 0.5 * (x + 1.0)
    return s, 0.5 * w * s


def radial_tables(names: Sequence[Name], s: Array) -> tuple[Array, Array]:
    """J_m(j s) and its slope d/ds at Q places s = r / a, each (B, Q)."""
    orders = np.array([m for m, _, _ in names])[:, None]
    zeros = zeros_of(names)[:, None]
    return (
        np.asarray(jv(orders, zeros * s), dtype=np.float64),
        np.asarray(zeros * jvp(orders, zeros * s), dtype=np.float64),
    )


def wave_tables(names: Sequence[Name], theta: Array) -> tuple[Array, Array]:
    """Cos or sin m theta and its slope d/dtheta at T angles, each (B, T)."""
    orders = np.array([m for m, _, _ in names])[:, None]
    cosine = np.array([kind == "cos" for _, _, kind in names])[:, None]
    c, s = np.cos(orders * theta), np.sin(orders * theta)
    return np.where(cosine, c, s), np.where(cosine, -orders * s, orders * c)


def coupling(
    names: Sequence[Name], profiles: tuple[Array, Array, Array], s: Array, weight: Array
) -> tuple[Array, Array]:
    """Stiffness that each tension harmonic gives: the (k, B, B) of cos and of sin.

    V = 1/2 int (N_rr w_r^2 + 2 N_rt w_r w_t / r + N_tt w_t^2 / r^2) r dr dtheta. The
    cosine matrix belongs to N_rr, N_tt going with cos k theta and N_rt with sin k theta;
    the sine matrix to the same field turned by a quarter wave: sin, sin, -cos.

    Parameters
    ----------
    profiles
        N_rr, N_rt, N_tt, each (harmonics, Q), at the places ``s`` (fractions of the radius).
    s, weight
        Radial quadrature, weight including the factor s.
    """
    level, slope = radial_tables(names, s)
    level /= s
    # Enough even places around for the trapezoid to be exact.
    places = 2 * max(m for m, _, _ in names) + len(profiles[0])
    angle = 2.0 * np.pi * np.arange(places) / places
    wave, turn = wave_tables(names, angle)
    measure = 2.0 * np.pi / places
    rr, rt, tt = (profile * weight for profile in profiles)
    even: list[Array] = []
    odd: list[Array] = []
    for k in range(len(rr)):
        radial = (slope * rr[k]) @ slope.T
        shear = (slope * rt[k]) @ level.T
        around = (level * tt[k]) @ level.T
        for into, cos_k, sin_k in (
            (even, np.cos(k * angle), np.sin(k * angle)),
            (odd, np.sin(k * angle), -np.cos(k * angle)),
        ):
            cross = shear * ((wave * sin_k) @ turn.T)
            into.append(
                measure
                * (
                    radial * ((wave * cos_k) @ wave.T)
                    + cross
                    + cross.T
                    + around * ((turn * cos_k) @ turn.T)
                )
            )
    return np.array(even), np.array(odd)
