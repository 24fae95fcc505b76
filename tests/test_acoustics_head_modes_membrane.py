"""The ideal membrane: Bessel zeros, mode ratios, masses and a published kettledrum."""

import numpy as np
import pytest

from hoopwise.acoustics.membrane import (
    bessel_zero,
    ideal_frequency_hz,
    modal_mass_kg,
    mode_ratio,
)
from hoopwise.errors import RangeError

# Abramowitz and Stegun 1964, table 9.5: zeros j_mn for m = 0..8, n = 1..4 (computed anew to
# six decimals; a second printed table agrees with m = 0..5 to its four).
HANDBOOK = [
    [2.404826, 5.520078, 8.653728, 11.791534],
    [3.831706, 7.015587, 10.173468, 13.323692],
    [5.135622, 8.417244, 11.619841, 14.795952],
    [6.380162, 9.761023, 13.015201, 16.223466],
    [7.588342, 11.064709, 14.372537, 17.615966],
    [8.771484, 12.338604, 15.700174, 18.980134],
    [9.936110, 13.589290, 17.003820, 20.320789],
    [11.086370, 14.821269, 18.287583, 21.641541],
    [12.225092, 16.037774, 19.554536, 22.945173],
]

# Reid, Sound on Sound, November 2001, table 1, two decimals; its (6,1) = 4.15 is a misprint.
PRINTED_RATIOS = {(1, 1): 1.59, (2, 1): 2.14, (0, 2): 2.30, (3, 1): 2.65, (1, 2): 2.92}

# Kettledrum head of 65 cm without air: N 3990 N/m, 0.2653 kg/m², a 0.328 m (data of
# Christian, Davis, Tubis, Anderson, Mills and Rossing 1984), ideal formula.
KETTLEDRUM_HZ = {
    (0, 1): 143.10, (0, 2): 328.48, (1, 1): 228.01, (1, 2): 417.47, (2, 1): 305.60,
    (2, 2): 500.88, (3, 1): 379.66, (3, 2): 580.84, (4, 1): 451.56, (4, 2): 658.42,
    (5, 1): 521.96, (5, 2): 734.23,
}  # fmt: skip


def bessel(m: int, x: float) -> float:
    """J_m by Bessel's own integral, summed on enough even places to be exact."""
    tau = 2 * np.pi * np.arange(256) / 256
    return float(np.mean(np.cos(m * tau - x * np.sin(tau))))


def test_zeros_are_the_handbook_s() -> None:
    ours = [[bessel_zero(m, n) for n in range(1, 5)] for m in range(9)]
    np.testing.assert_allclose(ours, HANDBOOK, atol=6e-7)


@pytest.mark.parametrize("m", range(0, 21, 4))
def test_zeros_are_zeros_of_bessel_s_integral_and_none_is_missed(m: int) -> None:
    """Outside check: the defining integral, and a count of its changes of sign."""
    last = bessel_zero(m, 12)
    assert all(abs(bessel(m, bessel_zero(m, n))) < 1e-12 for n in range(1, 13))
    signs = np.sign([bessel(m, x) for x in np.linspace(max(m, 1), last + 0.5, 2000)])
    assert np.count_nonzero(np.diff(signs)) == 12


@pytest.mark.parametrize(("mode", "ratio"), PRINTED_RATIOS.items())
def test_mode_ratios_are_the_printed_ones(mode: tuple[int, int], ratio: float) -> None:
    assert mode_ratio(*mode) == pytest.approx(ratio, abs=0.0051)


@pytest.mark.parametrize(("mode", "hz"), KETTLEDRUM_HZ.items())
def test_kettledrum_head_in_vacuo(mode: tuple[int, int], hz: float) -> None:
    assert ideal_frequency_hz(*mode, 0.328, 0.2653, 3990.0) == pytest.approx(hz, rel=1e-4)


@pytest.mark.parametrize(("m", "n"), [(0, 1), (0, 4), (1, 1), (5, 3)])
def test_modal_mass_is_the_integral_of_the_shape_squared(m: int, n: int) -> None:
    """Outside check: plain quadrature over the disc, J_m by Bessel's integral."""
    r = (np.arange(1500) + 0.5) / 1500
    shape = np.array([bessel(m, bessel_zero(m, n) * x) for x in r])
    integral = (2 * np.pi if m == 0 else np.pi) * np.mean(r * shape**2)
    assert modal_mass_kg(m, n, 0.2, 0.35) == pytest.approx(0.35 * 0.2**2 * integral, rel=1e-5)


@pytest.mark.parametrize(("m", "n"), [(-1, 1), (0, 0)])
def test_modes_that_do_not_exist_are_refused(m: int, n: int) -> None:
    with pytest.raises(RangeError, match="does not exist"):
        bessel_zero(m, n)


@pytest.mark.parametrize("values", [(0.0, 0.3, 3000.0), (0.2, -1.0, 3000.0), (0.2, 0.3, 0.0)])
def test_a_membrane_without_size_mass_or_tension_is_refused(
    values: tuple[float, float, float],
) -> None:
    with pytest.raises(RangeError, match="above 0"):
        ideal_frequency_hz(0, 1, *values)
