"""The simulated truth, heads and air: handbook zeros, a piston's radiation, kettledrums."""

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.sparse.linalg import eigsh
from scipy.special import j1, jn_zeros, jv, struve

from benchmarks.truth import head as head_parts
from benchmarks.truth.air import Air, RayleighSums, pair_sums, pressure_at, rayleigh_sums
from benchmarks.truth.cavity import SecondHead, TwoHeads, axial_modes, two_head_modes
from benchmarks.truth.mesh import disc
from benchmarks.truth.modes import OpenHead, open_head_modes

KEPT = head_parts.shapes()
ONE = np.ones(len(KEPT.disc.fine.weight))
UNIT = head_parts.stiffness(KEPT, np.stack([ONE, ONE, 0.0 * ONE]))


def open_head(
    tension_n_m: float, density_kg_m2: float, radius_m: float, air: Air | None = None
) -> OpenHead:
    return OpenHead(
        tension_n_m * UNIT,
        head_parts.mass(KEPT, density_kg_m2 * ONE, radius_m),
        radius_m,
        air or Air(),
    )


def test_even_head_rings_at_bessel_zeros() -> None:
    """Abramowitz & Stegun, table 9.5."""
    zeros = [(m, z) for m in range(8) for z in jn_zeros(m, 4)]
    wanted = sorted(z for m, z in zeros for _ in range(2 if m else 1))[:30]
    found = np.sqrt(np.linalg.eigvalsh(UNIT)[:30])
    assert found == pytest.approx(np.array(wanted), rel=1e-3)


def airy_field(eps: float) -> np.ndarray:
    """Tension 1 + eps cos 2 theta across the rim, none along it (Michell's solution):
    A r^2 + B r^4 with N_rr = -2A, N_tt = 2A + 12 B r^2, N_rt = 2A + 6 B r^2."""
    fine = KEPT.disc.fine
    r, theta = np.hypot(fine.x, fine.y), np.arctan2(fine.y, fine.x)
    a, b = -eps / 2.0, eps / 6.0
    rr = 1.0 - 2.0 * a * np.cos(2 * theta)
    tt = 1.0 + (2.0 * a + 12.0 * b * r**2) * np.cos(2 * theta)
    rt = (2.0 * a + 6.0 * b * r**2) * np.sin(2 * theta)
    c, s = np.cos(theta), np.sin(theta)
    return np.stack(
        [
            rr * c**2 + tt * s**2 - 2 * rt * c * s,
            rr * s**2 + tt * c**2 + 2 * rt * c * s,
            (rr - tt) * c * s + rt * (c**2 - s**2),
        ]
    )


def test_two_fold_pull_splits_the_one_one_pair_by_half_of_it() -> None:
    """First order in the pull: df/f = eps / 2 for (1,1) (integral of Michell's field over
    J_1; a local isotropic tension would give a third of that)."""
    eps = 1e-3
    values = np.linalg.eigvalsh(head_parts.stiffness(KEPT, airy_field(eps)))
    f = np.sqrt(values)
    assert (f[2] - f[1]) / f[1] / eps == pytest.approx(0.5, rel=0.02)


def test_kept_shapes_agree_with_the_whole_mesh() -> None:
    field = airy_field(0.2)
    shape = disc()
    free = head_parts.free_nodes(shape)
    stiffness, mass = head_parts.membrane_matrices(shape, field, ONE)
    full = eigsh(
        stiffness[free][:, free],
        20,
        mass[free][:, free],
        sigma=0.0,
        v0=np.ones(len(free)),
        return_eigenvectors=False,
    )
    kept = eigh(head_parts.stiffness(KEPT, field), eigvals_only=True)[:20]
    assert np.sqrt(kept) == pytest.approx(np.sqrt(np.sort(full)), rel=1e-4)


@pytest.mark.parametrize("ka", [0.01, 1.0, 2.0, 3.5])
def test_a_piston_radiates_as_rayleigh_says(ka: float) -> None:
    """Rayleigh, Theory of Sound, section 302: R = 1 - J1(2ka)/ka, X = H1(2ka)/ka."""
    points = KEPT.disc.coarse
    sums = pair_sums(points.x, points.y, points.weight, np.ones((len(points.x), 1)))
    mass = RayleighSums(sums).mass(ka, 1.0, Air(1.0, 1.0))[0, 0] / np.pi * ka
    assert mass.real == pytest.approx(struve(1, 2 * ka) / ka, abs=3e-4)
    assert -mass.imag == pytest.approx(1.0 - j1(2 * ka) / ka, abs=3e-4)


def test_far_pressure_is_that_of_the_volume_moved() -> None:
    air, omega = Air(), 2.0 * np.pi * 50.0
    fields = np.ones((len(KEPT.disc.coarse.x), 1), dtype=complex)
    heard = pressure_at((0.0, 0.0, 30.0), np.array([omega]), fields, 0.1, air)[0]
    simple = omega**2 * air.density_kg_m3 * np.pi * 0.1**2 / (2.0 * np.pi * 30.0)
    assert abs(heard) == pytest.approx(simple, rel=1e-3)


def test_a_kettledrum_head_without_its_kettle() -> None:
    """65 cm head, 3990 N/m: 155, 229, 297, 366 Hz for (1,1) to (4,1), Rossing's table
    FROM MEMORY; measured without a baffle, hence 3 %."""
    head = open_head(3990.0, 0.2653, 0.328, Air(1.21, 344.0))
    modes = open_head_modes(head, rayleigh_sums(), 450.0)
    found = modes.omega.real / (2.0 * np.pi)
    for first, wanted in ((1, 155.0), (3, 229.0), (6, 297.0)):
        assert found[first] == pytest.approx(wanted, rel=0.03)
        assert found[first + 1] == pytest.approx(found[first], rel=1e-4)
    assert modes.omega.imag[0] > 2.0 * modes.omega.imag[1]


def test_radiated_power_sets_the_decay() -> None:
    """Energy lost by (0,1): far-field power of its volume against its own energy."""
    air = Air()
    head = open_head(100.0, 0.353, 0.15, air)
    modes = open_head_modes(head, rayleigh_sums(), 60.0)
    omega, shape = modes.omega[0], modes.shape[:, 0].real
    volume = 0.15**2 * (KEPT.disc.coarse.weight @ (KEPT.coarse @ shape))
    power = 2.0 * air.density_kg_m3 * omega.real**4 * volume**2 / (4.0 * np.pi * air.speed_m_s)
    assert omega.imag == pytest.approx(power / (omega.real**2), rel=0.03)


def test_closed_shell_has_standing_waves_along_it() -> None:
    squared, ends = axial_modes(0.14)
    assert np.sqrt(squared[1:4]) * 0.14 / np.pi == pytest.approx(np.arange(1.0, 4.0), rel=4e-3)
    assert np.abs(ends[0, :4]) == pytest.approx(
        np.sqrt(np.array([1.0, 2.0, 2.0, 2.0]) / 0.14), rel=0.01
    )


@pytest.mark.parametrize(("b", "wanted"), [(2.0, 2.6736), (10.0, 3.4874)])
def test_air_spring_under_a_head(b: float, wanted: float) -> None:
    """J0(x) = -B J2(x) / x^2, B = stiffness of the closed air (Raichel, table 6.2,
    recomputed); the other head too heavy to move, no outer air."""
    assert jv(0, wanted) == pytest.approx(-b * jv(2, wanted) / wanted**2, abs=1e-4)
    a, depth, tension, density = 0.2, 0.05, 4000.0, 0.3
    speed = 1e5
    rho = b * tension * np.pi * a**2 * depth / (np.pi * a**4 * speed**2)
    head = open_head(tension, density, a, Air(rho, speed))
    still = SecondHead(tension, 1e6, depth, 0.0)
    silent = RayleighSums(np.zeros_like(rayleigh_sums().terms))
    modes = two_head_modes(TwoHeads(head, still), silent, 360.0)
    x = modes.omega.real * a * np.sqrt(density / tension)
    round_ones = np.abs(modes.shape[0]) > 0.5 * np.linalg.norm(modes.shape, axis=0)
    assert x[round_ones][0] == pytest.approx(wanted, rel=2e-3)


def test_two_alike_heads_move_together_and_against_each_other() -> None:
    """Together the enclosed air is carried along, opposed it is squeezed: of the two (0,1)
    the opposed one lies far higher. The (1,1) pairs meet again at another pitch."""
    head = open_head(3000.0, 0.353, 0.15)
    other = SecondHead(3000.0, 0.353, 0.15, 0.0)
    modes = two_head_modes(TwoHeads(head, other), rayleigh_sums(), 400.0)
    found = modes.omega.real / (2.0 * np.pi)
    round_ones = np.flatnonzero(
        np.abs(modes.shape[0]) ** 2 > 0.5 * np.sum(np.abs(modes.shape) ** 2, 0)
    )
    alone = open_head_modes(head, rayleigh_sums(), 400.0).omega[0].real / (2.0 * np.pi)
    assert found[round_ones[0]] == pytest.approx(alone, rel=0.08)
    assert found[round_ones[1]] > 1.5 * found[round_ones[0]]
    sides = np.abs(modes.shape[1]) ** 2 + np.abs(modes.shape[2]) ** 2
    tilted = np.flatnonzero(sides > 0.5 * np.sum(np.abs(modes.shape) ** 2, 0))
    pairs = found[tilted]
    assert pairs[1] == pytest.approx(pairs[0], rel=1e-3)
    assert pairs[2] > 1.05 * pairs[0]
