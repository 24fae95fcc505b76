"""Air outside a head: against quadrature, the far field, pistons, and a bare kettledrum head."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j0, j1, jv, jvp, struve

from hoopwise.acoustics.air import (
    KA_MAX,
    Air,
    air_damping,
    air_mass,
    angular_factor,
    face_integrals,
    face_table,
)
from hoopwise.acoustics.air_table import Enclosure, air_table
from hoopwise.acoustics.hankel import (
    FAMILIES,
    bessel_zeros,
    duct_norms,
    duct_transforms,
    duct_zeros,
    head_slopes,
    head_transforms,
    head_zeros,
)
from hoopwise.acoustics.heads import Heads
from hoopwise.acoustics.two_heads import modes_of
from hoopwise.drum import Film
from hoopwise.errors import RangeError

KETTLE_AIR = Air(1.21, 344.0)
KETTLE_RADIUS_M, KETTLE_TENSION, KETTLE_FILM = 0.328, 3990.0, 0.2653


def limp(mass_kg_m2: float) -> Film:
    """A film of given mass that does not bend, as the published formulas have it."""
    return Film(thickness_m=mass_kg_m2 / 1390.0, modulus_pa=0.0)


def bare_head(air: Air) -> dict[tuple[int, int], float]:
    heads = Heads(Enclosure(KETTLE_RADIUS_M, 1.0, "none", air=air), (limp(KETTLE_FILM),))
    modes = modes_of(heads, [KETTLE_TENSION], m_max=6, n_max=3)
    return {mode.shape: mode.frequency_hz for mode in modes}


@pytest.mark.parametrize("m", [0, 1, 4])
def test_transforms_against_quadrature(m: int) -> None:
    for zeros, transforms in (
        (head_zeros(m, 3), head_transforms),
        (duct_zeros(m, 3), duct_transforms),
    ):
        x = np.array([0.0, 0.4, zeros[0] + 5e-4, zeros[1], 11.0])
        got = transforms(m, 3, x)
        for row, zero in zip(got, zeros, strict=True):
            for value, at in zip(row, x, strict=True):
                want = quad(lambda s, z=zero, k=at: jv(m, z * s) * jv(m, k * s) * s, 0, 1)[0]
                assert value == pytest.approx(want, abs=2e-8)


@pytest.mark.parametrize("m", [0, 1, 8, 9])
def test_stored_zeros_are_zeros(m: int) -> None:
    for family, zeros in zip(FAMILIES, (head_zeros(m, 10), duct_zeros(m, 10)), strict=True):
        np.testing.assert_allclose(zeros, bessel_zeros(family, m, 10), rtol=1e-14)
    np.testing.assert_allclose(jv(m, head_zeros(m, 10)), 0.0, atol=1e-13)
    np.testing.assert_allclose(jvp(m, duct_zeros(m, 10)[m == 0 :]), 0.0, atol=1e-13)


def test_duct_norms_against_quadrature() -> None:
    for m in (0, 2):
        for zero, norm in zip(duct_zeros(m, 4), duct_norms(m, 4), strict=True):
            square = quad(lambda s, z=zero, m=m: jv(m, z * s) ** 2 * s, 0, 1)[0]
            assert norm == pytest.approx(square)


@pytest.mark.parametrize("m", [0, 1, 5, 8])
@pytest.mark.parametrize("ka", [0.0, 0.3, 2.2, 9.0, KA_MAX])
def test_series_equals_the_integrals(m: int, ka: float) -> None:
    mass, damping = face_integrals("head", m, 6, ka)
    fast_mass, fast_damping = face_table("head", m, 6, np.asarray(ka))
    size = math.sqrt(mass[0, 0] * mass[5, 5])
    np.testing.assert_allclose(fast_mass, mass, atol=1e-9 * size)
    np.testing.assert_allclose(fast_damping, damping, atol=1e-9)


@pytest.mark.parametrize("ka", [0.2, 1.0, 4.0])
def test_flat_duct_function_is_a_baffled_piston(ka: float) -> None:
    """Rayleigh's piston, as in any textbook: R1 = 1 - J1(2x)/x, X1 = H1(2x)/x."""
    mass, damping = face_integrals("duct", 0, 1, ka)
    # Ours is per rho omega a^3 and angular factor 2 pi; the piston's area is pi a^2.
    assert 2.0 * ka * damping[0, 0] == pytest.approx(1.0 - j1(2.0 * ka) / ka, rel=1e-6)
    assert 2.0 * ka * mass[0, 0] == pytest.approx(struve(1, 2.0 * ka) / ka, rel=2e-4)


@pytest.mark.parametrize(("m", "n"), [(0, 1), (1, 1), (2, 2)])
def test_damping_is_the_far_field_power(m: int, n: int) -> None:
    """Power from the Rayleigh integral's far field, summed by plain quadrature in space."""
    air, radius, omega = Air(), 0.178, 2.0 * math.pi * 420.0
    k = omega / air.speed_m_s
    s, ws = np.polynomial.legendre.leggauss(40)
    r, wr = 0.5 * radius * (s + 1.0), 0.5 * radius * ws
    phi = np.linspace(0.0, 2.0 * math.pi, 64, endpoint=False)
    shape = jv(m, head_zeros(m, n)[-1] * r / radius)
    tilt, wt = 0.25 * math.pi * (s + 1.0), 0.25 * math.pi * ws
    power = 0.0
    for angle, weight in zip(tilt, wt, strict=True):
        delay = np.exp(-1j * k * math.sin(angle) * np.outer(r, np.cos(phi)))
        inner = (delay * np.cos(m * phi)).mean(axis=1) * 2.0 * math.pi
        pressure = air.density_kg_m3 * omega / (2.0 * math.pi) * np.sum(wr * r * shape * inner)
        ring = angular_factor(m) * math.sin(angle) * weight
        power += ring * abs(pressure) ** 2 / (2.0 * air.density_kg_m3 * air.speed_m_s)
    damping = air_damping(radius, m, n, omega, faces=1)[n - 1, n - 1]
    assert power == pytest.approx(0.5 * damping, rel=1e-6)  # for 1 m/s


def test_mass_at_rest_is_that_of_the_static_integral() -> None:
    want = quad(lambda x: head_transforms(0, 1, np.array([x]))[0, 0] ** 2, 0.0, 400.0, limit=800)
    mass = air_mass(0.2, 0, 1, 1e-6, faces=1)[0, 0]
    assert mass / (1.204 * 2.0 * math.pi * 0.2**3) == pytest.approx(want[0], rel=1e-5)
    assert air_mass(0.2, 0, 1, 1e-6)[0, 0] == pytest.approx(2.0 * mass)


def test_kettledrum_head_in_vacuo() -> None:
    # Ideal membrane with the inputs of the 65-cm kettledrum (computed), tolerance 1e-4.
    got = bare_head(Air(1e-9, 344.0))
    want = {
        (0, 1): 143.1, (0, 2): 328.48, (1, 1): 228.01, (1, 2): 417.47, (2, 1): 305.6,
        (2, 2): 500.88, (3, 1): 379.66, (3, 2): 580.84, (4, 1): 451.56, (4, 2): 658.42,
        (5, 1): 521.96, (5, 2): 734.23,
    }  # fmt: skip
    for shape, value in want.items():
        assert got[shape] == pytest.approx(value, rel=1e-4), shape


def test_kettledrum_head_without_kettle() -> None:
    # Christian, Davis, Tubis, Anderson, Mills & Rossing 1984, JASA 76:1336: inputs from a
    # public program that implements it; measured Hz FROM MEMORY (Fletcher & Rossing table).
    got = bare_head(KETTLE_AIR)
    want = {(1, 1): 155, (2, 1): 229, (3, 1): 297, (4, 1): 366, (5, 1): 431}
    for shape, value in want.items():
        assert got[shape] == pytest.approx(value, rel=0.03), shape
    # (0,1) dies within a few cycles, so its pitch depends on how it is read, from 79.2 to
    # 80.4 Hz (test_acoustics_air_disc). The sound of a blow peaks at 80.0, 2.4 % below 82.
    assert sound_peak_hz(60.0, 110.0) == pytest.approx(82, rel=0.03)


@pytest.mark.xfail(strict=True, reason="79.2 Hz, 3.4 % below; 89.4 Hz without any baffle")
def test_free_decay_of_a_kettledrum_head_without_kettle() -> None:
    # The same measured (0,1), FROM MEMORY, against the pitch at which the head dies away.
    # The model's baffle is wide; that of the experiment was neither wide nor none. A rim of
    # 2 to 4 cm gives 88.2 to 87.2 Hz, no nearer: test_acoustics_air_disc works both out.
    assert bare_head(KETTLE_AIR)[0, 1] == pytest.approx(82, rel=0.03)


def sound_peak_hz(low_hz: float, high_hz: float) -> float:
    """Where the power that the bare head radiates after an even push is greatest."""
    bare = Enclosure(KETTLE_RADIUS_M, 1.0, "none", air=KETTLE_AIR)
    table, heads = air_table(bare, 0, 6, 3000.0), Heads(bare, (limp(KETTLE_FILM),))
    film = np.diag(heads.masses(table))
    spring = np.diag(heads.stiffnesses(table, np.array([[KETTLE_TENSION]]))[0])
    push = head_transforms(0, 6, np.array([0.0]))[:, 0]
    grid = np.linspace(low_hz, high_hz, 501)
    power = []
    for omega in 2.0 * math.pi * grid:
        loss, mass = table.damping(omega), table.mass(omega) + film
        swing = np.linalg.solve(spring - omega**2 * mass + 1j * omega * loss, push)
        power.append(omega**2 * (swing.conj() @ loss @ swing).real)
    return float(grid[int(np.argmax(power))])


def test_ratios_of_a_kettledrum_head_in_open_air() -> None:
    # Reid, Sound on Sound, November 2001, table 2: relative to (1,1); size not stated.
    got = bare_head(KETTLE_AIR)
    for m, ratio in ((2, 1.47), (3, 1.91), (4, 2.36)):
        assert got[m, 1] / got[1, 1] == pytest.approx(ratio, rel=0.02)


def test_air_beyond_the_table_is_refused_with_its_range() -> None:
    with pytest.raises(RangeError, match="holds from 0 to 16"):
        air_mass(0.3, 0, 1, 40_000.0)


def test_head_shapes_are_normalised_as_documented() -> None:
    for zero, slope in zip(head_zeros(0, 3), head_slopes(0, 3), strict=True):
        area = quad(lambda s, z=zero: j0(z * s) ** 2 * s, 0, 1)[0]
        assert area == pytest.approx(0.5 * slope**2)
