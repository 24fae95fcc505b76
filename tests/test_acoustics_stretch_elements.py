"""The film in its rim against scikit-fem, and the whole chain against a ring of differences."""

import numpy as np
import pytest
from numpy.typing import NDArray

from hoopwise.acoustics.hoop_ring import ROD_COMPLIANCE_M_N, ring_stiffness
from hoopwise.acoustics.rim_film import film_harmonics
from hoopwise.acoustics.stretch import even_pull, rim_map, tension_field
from hoopwise.drum import Film, load_drum
from tests.film_elements import PulledFilm, cartesian

Array = NDArray[np.float64]


@pytest.mark.parametrize(
    ("radius_m", "film", "collar_m", "slide"),
    [
        (0.1778, Film(254e-6), 0.012, 1.0),
        (0.1778, Film(254e-6), 0.001, 0.0),
        (0.0762, Film(76e-6, poisson=0.3), 0.012, 0.5),
        (0.3302, Film(508e-6), 0.03, 0.2),
    ],
)
def test_rim_stiffness_per_harmonic_agrees_with_finite_elements(
    radius_m: float, film: Film, collar_m: float, slide: float
) -> None:
    """Outside check: scikit-fem plane stress, quadratic triangles, k = 0 to 8."""
    outside = PulledFilm(film, radius_m, collar_m, slide)
    ours = film_harmonics(film, radius_m, 8, slide, collar_m).rim_stiffness
    theirs = [outside.rim_stiffness(k) for k in range(9)]
    if slide == 1.0:  # the film shifts as a whole: nothing but the trace of grip is left
        assert abs(ours[1]) < 1e-9 * ours[0]
        assert abs(theirs[1]) < 1e-5 * ours[0]
    kept = [k for k in range(9) if not (k == 1 and slide == 1.0)]
    np.testing.assert_allclose(ours[kept], np.array(theirs)[kept], rtol=3e-4)


def test_tension_field_of_uneven_rods_agrees_with_finite_elements() -> None:
    """Outside check: scikit-fem stress at its own quadrature points, in x and y."""
    rim = rim_map(load_drum("snare-14x5.5"), "batter", slide=0.3)
    pull = even_pull(rim, 1.0) * (1 + 0.08 * np.random.default_rng(3).normal(size=rim.rods))
    orders = np.arange(48)
    cosine, sine = rim.cosine[:48] @ pull, rim.sine[:48] @ pull

    def hoop(theta: Array) -> Array:
        phase = np.multiply.outer(orders, theta)
        both = np.tensordot(cosine, np.cos(phase), 1) + np.tensordot(sine, np.sin(phase), 1)
        return np.asarray(both, dtype=np.float64)

    film = PulledFilm(rim.film, rim.radius_m, rim.collar_m, rim.slide)
    x, y, *theirs = film.stress(hoop)
    r, theta = np.hypot(x, y), np.arctan2(y, x)
    inside = r < rim.radius_m
    r, theta = r[inside][::7], theta[inside][::7]
    ours = cartesian(theta, *tension_field(rim, pull, r, theta))
    for a, b in zip(ours, theirs, strict=True):
        off = a - b[inside][::7]
        assert a.std() > 0.03
        assert np.sqrt(np.mean(off**2)) < 3e-4
        assert np.abs(off[r < 0.95 * rim.radius_m]).max() < 1e-3


def finite_difference_ring(
    radius_m: float, bending: float, torsion: float, film: Array, rods: int, compliance: float
) -> Array:
    """(N, N) hoop displacement at rod i per pull of rod j, the ring cut into nodes.

    Unknowns: the way down and the twist at every node; energies of bending
    (twist - w'' / a) / a and torsion (twist' + w' / a) / a (thin ring, textbook), the
    film as a spring of ``film[k]`` per harmonic and length, rods as point springs.
    """
    nodes = 48 * rods
    step = 2 * np.pi / nodes
    shift = np.arange(nodes)[:, None] - np.arange(nodes)
    first, second = np.zeros((nodes, nodes)), np.zeros((nodes, nodes))
    for offset, two in ((0, -30), (1, 16), (-1, 16), (2, -1), (-2, -1)):  # fourth order
        second += two / 12 / step**2 * ((shift + offset) % nodes == 0)
    for offset, one in ((1, 27), (0, -27), (2, -1), (-1, 1)):  # halfway to the next node
        first += one / 24 / step * ((shift + offset) % nodes == 0)
    bend = np.hstack([-second / radius_m, np.eye(nodes)]) / radius_m
    twist = np.hstack([first / radius_m, first]) / radius_m
    length = radius_m * step
    energy = length * (bending * bend.T @ bend + torsion * twist.T @ twist)
    spring = sum(
        f * (1 if k == 0 else 2) / nodes * np.cos(k * step * shift) for k, f in enumerate(film)
    )
    energy[:nodes, :nodes] += length * spring
    at = 48 * np.arange(rods)
    energy[at, at] += 1 / compliance
    load = np.zeros((2 * nodes, rods))
    load[at, np.arange(rods)] = 1 / compliance
    return np.asarray(np.linalg.solve(energy, load)[at], dtype=np.float64)


@pytest.mark.parametrize(
    ("name", "slide"), [("snare-14x5.5", 0.0), ("tom-10x7", 0.5), ("kick-22x16", 0.2)]
)
def test_hoop_film_and_rods_together_agree_with_a_ring_of_differences(
    name: str, slide: float
) -> None:
    """Outside check of the chain: film by scikit-fem, ring by finite differences."""
    drum = load_drum(name)
    rim = rim_map(drum, "batter", slide)
    outside = PulledFilm(rim.film, rim.radius_m, rim.collar_m, slide, refine=4)
    film = np.array([outside.rim_stiffness(k) for k in range(13)])
    moved = finite_difference_ring(
        rim.radius_m,
        drum.hoop.bending_n_m2,
        drum.hoop.torsion_n_m2,
        film,
        drum.rods,
        ROD_COMPLIANCE_M_N,
    )
    orders = np.arange(len(rim.rod_share))
    apart = np.subtract.outer(rim.angles, rim.angles)
    ours = np.cos(np.multiply.outer(apart, orders)) @ rim.rod_share
    np.testing.assert_allclose(ours, moved, atol=1e-5 * np.abs(moved).max())
    force = (np.eye(drum.rods) - moved) / ROD_COMPLIANCE_M_N
    np.testing.assert_allclose(rim.rod_force, force, atol=1e-4 * np.abs(force).max())


def test_ring_stiffness_is_that_of_a_vibrating_ring() -> None:
    """Outside check, FROM MEMORY: Love's ring out of its plane, round section.

    omega^2 = E I k^2 (k^2 - 1)^2 / (rho A a^4 (k^2 + 1 + nu)), for which E I / G J = 1 + nu.
    """
    hoop = load_drum("tom-12x8").hoop
    round_section = type(hoop)("cast", 0.005, bending_n_m2=100.0, torsion_n_m2=100.0 / 1.3)
    k = np.arange(7.0)
    love = 100.0 / 0.2**4 * k**2 * (k**2 - 1) ** 2 / (k**2 + 1 + 0.3)
    np.testing.assert_allclose(ring_stiffness(round_section, 0.2, 6), love, rtol=1e-12)
