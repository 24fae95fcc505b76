"""Ideal round membrane in vacuo: Bessel zeros, modal masses, frequencies.

Modes are named (m, n): m nodal diameters, n nodal circles with the rim counted.
Radial shape J_m(j_mn r / a), angular shape cos or sin of m theta, J_m(j_mn) = 0.
SI units throughout. Source of all equations: the textbook membrane, e.g. Fletcher and
Rossing, The Physics of Musical Instruments, chapter 3; zeros as in Abramowitz and
Stegun, table 9.5.
"""

import math
from functools import lru_cache

from scipy.special import jn_zeros, jv

from hoopwise.errors import RangeError


@lru_cache(maxsize=1024)
def bessel_zero(m: int, n: int) -> float:
    """The n-th positive zero j_mn of the Bessel function J_m, dimensionless.

    Raises
    ------
    RangeError
        m is negative or n is below 1.

    Examples
    --------
    >>> round(bessel_zero(0, 1), 6)
    2.404826
    """
    if m < 0 or n < 1:
        raise RangeError(f"mode ({m},{n}) does not exist; m counts from 0 and n from 1.")
    return float(jn_zeros(m, n)[-1])


def mode_ratio(m: int, n: int) -> float:
    """Frequency of mode (m, n) over that of (0, 1), dimensionless.

    Raises
    ------
    RangeError
        m is negative or n is below 1.

    Examples
    --------
    >>> round(mode_ratio(1, 1), 5)
    1.59334
    """
    return bessel_zero(m, n) / bessel_zero(0, 1)


def modal_mass_kg(m: int, n: int, radius_m: float, mass_kg_m2: float) -> float:
    """Mass (kg) of the film moving as J_m(j_mn r/a) cos m theta, unit amplitude coefficient.

    sigma eps_m (a^2 / 2) J_m'(j_mn)^2 with eps_0 = 2 pi, eps_m = pi; the derivative at
    a zero is -J_{m+1}(j_mn).

    Raises
    ------
    RangeError
        There is no such mode, or radius or mass is not a positive number.
    """
    _check_positive(radius=radius_m, film_mass=mass_kg_m2)
    angular = 2.0 * math.pi if m == 0 else math.pi
    slope = float(jv(m + 1, bessel_zero(m, n)))
    return mass_kg_m2 * angular * 0.5 * radius_m**2 * slope**2


def ideal_frequency_hz(
    m: int, n: int, radius_m: float, mass_kg_m2: float, tension_n_m: float
) -> float:
    """Frequency (Hz) of mode (m, n) in vacuo, j_mn / (2 pi a) sqrt(N / sigma).

    Raises
    ------
    RangeError
        Radius, mass or tension is not a positive number.

    Examples
    --------
    >>> round(ideal_frequency_hz(0, 1, 0.328, 0.2653, 3990.0), 1)
    143.1
    """
    _check_positive(radius=radius_m, film_mass=mass_kg_m2, tension=tension_n_m)
    speed = math.sqrt(tension_n_m / mass_kg_m2)
    return bessel_zero(m, n) * speed / (2.0 * math.pi * radius_m)


def _check_positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise RangeError(f"a membrane needs a {name.replace('_', ' ')} above 0, not {value!r}.")
