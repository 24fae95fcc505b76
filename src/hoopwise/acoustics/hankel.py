"""Radial functions on a disc of radius 1 and their Hankel transforms, dimensionless.

Two families: head functions J_m(j_n s), which vanish at the rim (J_m(j_n) = 0), and
duct functions J_m(d_s s), which are flat there (J_m'(d_s) = 0; d = 0 belongs to m = 0).
The transform of f is F(x) = integral of f(s) J_m(x s) s ds from 0 to 1; both are closed
forms of Lommel's integral (Abramowitz & Stegun 11.3.29), with the limit where x meets
a zero. Transforms are even or odd in x as m is, and entire.
"""

from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import jn_zeros, jnp_zeros, jv

from hoopwise.acoustics.air_store import BAFFLED_M, ZEROS, stored_zeros

Floats = NDArray[np.float64]
Family = Literal["head", "duct"]
FAMILIES: Final[tuple[Family, Family]] = ("head", "duct")
_NEAR = 1e-3
"""Distance from a zero below which a series replaces the quotient."""


def head_zeros(m: int, count: int) -> Floats:
    """First ``count`` zeros j_mn of J_m, (count,)."""
    return _zeros("head", m, max(count, ZEROS))[:count]


@lru_cache(maxsize=64)
def _zeros(family: Family, m: int, count: int) -> Floats:
    """Stored where it may be, as finding zeros costs more than all else here."""
    kept = m < BAFFLED_M and count == ZEROS
    zeros = stored_zeros(FAMILIES.index(family), m) if kept else bessel_zeros(family, m, count)
    zeros.flags.writeable = False
    return zeros


def bessel_zeros(family: Family, m: int, count: int) -> Floats:
    """`head_zeros` or `duct_zeros` worked out, (count,)."""
    if family == "head":
        return np.asarray(jn_zeros(m, count), dtype=np.float64)
    if m == 0:
        return np.concatenate([[0.0], jn_zeros(1, count)])[:count]
    return np.asarray(jnp_zeros(m, count), dtype=np.float64)


def duct_zeros(m: int, count: int) -> Floats:
    """First ``count`` radial wave numbers d with J_m'(d) = 0, (count,); 0 first for m = 0."""
    return _zeros("duct", m, max(count, ZEROS))[:count]


@lru_cache(maxsize=64)
def head_slopes(m: int, count: int) -> Floats:
    """J_m'(j_mn) = -J_{m+1}(j_mn), (count,)."""
    slopes = -np.asarray(jv(m + 1, head_zeros(m, count)), dtype=np.float64)
    slopes.flags.writeable = False
    return slopes


def duct_norms(m: int, count: int) -> Floats:
    """Integral of J_m(d_s s)^2 s ds from 0 to 1, (count,)."""
    d = duct_zeros(m, count)
    flat = d == 0.0
    safe = np.where(flat, 1.0, d)
    norms = 0.5 * (1.0 - (m / safe) ** 2) * np.asarray(jv(m, safe)) ** 2
    return np.where(flat, 0.5, norms)


def head_transforms(m: int, count: int, x: Floats) -> Floats:
    """Transforms of the head functions at x >= 0, (count, *x.shape)."""
    shape = (count,) + (1,) * x.ndim
    j = head_zeros(m, count).reshape(shape)
    slope = head_slopes(m, count).reshape(shape)
    gap = x - j
    near = np.abs(gap) < _NEAR
    # Bessel's equation at a zero gives J'' = -J'/j and J''' = J' (2 + m^2 - j^2) / j^2.
    bend = (2.0 + m * m - j * j) / (6.0 * j * j)
    series = slope * (1.0 - gap / (2.0 * j) + bend * gap**2)
    quotient = np.where(near, series, jv(m, x) / np.where(near, 1.0, gap))
    return np.asarray(j * slope * quotient / (x + j), dtype=np.float64)


def duct_transforms(m: int, count: int, x: Floats) -> Floats:
    """Transforms of the duct functions at x >= 0, (count, *x.shape)."""
    shape = (count,) + (1,) * x.ndim
    d = duct_zeros(m, count).reshape(shape)
    rim = np.asarray(jv(m, d))
    gap = x - d
    near = np.abs(gap) < _NEAR
    slope = 0.5 * (jv(m - 1, x) - jv(m + 1, x))
    # J_m' vanishes at d; there J'' = -(1 - m^2/d^2) J and J''' = J (1 - 3 m^2/d^2) / d.
    safe = np.where(d == 0.0, 1.0, d)
    second = np.where(d == 0.0, -0.5, -(1.0 - (m / safe) ** 2)) * rim
    third = np.where(d == 0.0, 0.0, (1.0 - 3.0 * (m / safe) ** 2) / safe) * rim
    series = second + 0.5 * third * gap
    quotient = np.where(near, series, slope / np.where(near, 1.0, gap))
    # For d = 0 the quotient x J'/(x x) tends to J'(x)/x, so x over x + d is one.
    ratio = np.where(d == 0.0, 1.0, x / np.where(x + d == 0.0, 1.0, x + d))
    return np.asarray(-rim * quotient * ratio, dtype=np.float64)


def head_on_duct(m: int, heads: int, ducts: int) -> Floats:
    """Integral of J_m(j_n s) J_m(d_s s) s ds from 0 to 1, (heads, ducts)."""
    return head_transforms(m, heads, duct_zeros(m, ducts))
