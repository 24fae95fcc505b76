"""Pitch glide: Berger's estimate, the film that settles in its plane, Duffing's rise."""

import dataclasses

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad, solve_ivp
from scipy.special import jv, jvp

from hoopwise.acoustics.glide import (
    berger_rise,
    berger_tension_n_m,
    mutual_lift,
    pitch_glide,
    rim_energy,
)
from hoopwise.acoustics.head_basis import radial_tables, wave_tables
from hoopwise.acoustics.head_modes import head_model, label, solve
from hoopwise.acoustics.membrane import bessel_zero
from hoopwise.acoustics.stretch import even_pull, rim_map
from hoopwise.acoustics.stretch_energy import stretch_energy
from hoopwise.drum import Film, load_drum
from hoopwise.errors import RangeError
from tests.film_elements import PulledFilm

Array = NDArray[np.float64]


@pytest.mark.parametrize(
    ("peak_m", "tension_ratio", "rise"), [(0.006, 0.0985, 0.037), (0.010, 0.274, 0.103)]
)
def test_a_kick_drum_s_glide_is_berger_s(peak_m: float, tension_ratio: float, rise: float) -> None:
    """Kirchhoff-Carrier-Berger estimate derived apart, (0,1), a 0.41 m, 1885 N/m.

    Its size agrees with 'about 10 %, a couple of semitones' for a kick drum (Reid, Sound
    on Sound, January 2002).
    """
    film = Film(thickness_m=0.0001905)
    added = berger_tension_n_m(0, 1, film, 0.41, peak_m)
    assert added / 1885 == pytest.approx(tension_ratio, rel=0.01)
    assert berger_rise(0, 1, film, 0.41, 1885, peak_m) == pytest.approx(rise, rel=0.1)


def settled_disc(n: int, nu: float) -> float:
    """Energy of (0, n) on a fixed rim over Berger's, by differences along the radius."""
    zero, count = bessel_zero(0, n), 500
    r = (np.arange(count) + 0.5) / count
    strain = 0.5 * (zero * jv(1, zero * r)) ** 2
    ahead = np.eye(count, count + 1, 1) - np.eye(count, count + 1)
    mean = 0.5 * (np.eye(count, count + 1, 1) + np.eye(count, count + 1))
    rr, tt = (ahead * count)[:, 1:-1], (mean / r[:, None])[:, 1:-1]
    w = r[:, None] / count
    stiff = rr.T @ (w * rr) + tt.T @ (w * tt) + nu * (rr.T @ (w * tt) + tt.T @ (w * rr))
    load = -(rr + nu * tt).T @ (w[:, 0] * strain)
    u = np.linalg.solve(stiff, load)
    er, et = rr @ u + strain, tt @ u
    energy = np.sum(w[:, 0] * (er**2 + et**2 + 2 * nu * er * et))
    return float(energy / (0.5 * np.sum(2 * w[:, 0] * strain) ** 2))


@pytest.mark.parametrize(("n", "index"), [(1, 0), (2, 5)])
def test_the_settled_film_agrees_with_differences_along_the_radius(n: int, index: int) -> None:
    """Outside check, round modes, rim fixed: 0.817 of Berger for (0,1), 1.185 for (0,2)."""
    model = head_model(load_drum("snare-14x5.5"), "batter")
    model = dataclasses.replace(model, bending=0 * model.bending)
    level = even_pull(model.rim, 3000.0)
    glide = pitch_glide(model, solve(model, level), rim="fixed")
    film, tension = model.rim.film, model.rim.film_mean_per_metre * level[0]
    berger = berger_rise(0, n, film, model.radius_m, tension, 1e-3) * 1e6
    ratio = glide.rise_hz_m2[index] / glide.frequency_hz[index] / berger
    assert ratio == pytest.approx(settled_disc(n, film.poisson), rel=3e-4)
    assert ratio == pytest.approx({1: 0.817, 2: 1.185}[n], rel=1e-3)


@pytest.mark.parametrize("slide", [0.0, 0.6])
def test_energy_of_a_mixed_shape_agrees_with_finite_elements(slide: float) -> None:
    """Outside check: scikit-fem plane stress with the strains of (1,1), (2,1) and (1,2)."""
    film, radius, collar = Film(254e-6), 0.1778, 0.012
    parts = ((1, 1, 1.0, 0.3), (2, 1, 0.6, 1.1), (1, 2, -0.4, 0.9))

    def polar(r: Array, theta: Array) -> tuple[Array, Array]:
        outward, along = np.zeros_like(r), np.zeros_like(r)
        for m, n, size, turn in parts:
            zero = bessel_zero(m, n)
            outward += size * zero / radius * jvp(m, zero * r / radius) * np.cos(m * theta - turn)
            along -= size * m / r * jv(m, zero * r / radius) * np.sin(m * theta - turn)
        return outward, along

    def slopes(x: Array, y: Array) -> tuple[Array, Array]:
        theta = np.arctan2(y, x)
        out, along = polar(np.hypot(x, y), theta)
        c, s = np.cos(theta), np.sin(theta)
        return c * out - s * along, s * out + c * along

    outside = PulledFilm(film, radius, collar, slide).energy_of_slopes(slopes)
    stretch = film.stretch_stiffness_n_m
    shear = (1 - slide) * stretch / 2 / (1 + film.poisson) / collar
    energy = stretch_energy(
        stretch, film.poisson, radius, np.full(9, stretch / collar), np.full(9, shear)
    )
    theta = 2 * np.pi * np.arange(48) / 48
    out, along = polar(*np.broadcast_arrays(radius * energy.s[:, None], theta))
    ours = energy.of(np.array([0.5 * out**2, 0.5 * along**2, out * along]))
    assert ours == pytest.approx(outside, rel=1e-4)


def test_first_order_rise_is_duffing_s() -> None:
    """Outside check: the exact period of q'' + q + g q^3 = 0 by quadrature, 10 % rise."""
    for g, close in ((0.03, 2e-4), (0.3, 8e-3)):
        # q = sin(phi): the speed squared is cos^2 (1 + g (1 + sin^2) / 2).
        period, _ = quad(lambda x, g=g: (1 + 0.5 * g * (1 + np.sin(x) ** 2)) ** -0.5, 0, np.pi / 2)
        exact = np.pi / 2 / period
        assert 1 + 0.375 * g == pytest.approx(exact, rel=close)


def test_modes_lift_each_other_as_their_motion_shows() -> None:
    """Outside check: two oscillators in the film's energy, stepped in time.

    (0,1) and (1,1) of a snare's batter: the energy of their sum, taken at three mixtures, is
    a q^4 + b q^2 p^2 + c p^4. The one that hardly swings is lifted by the other's swing.
    """
    model = head_model(load_drum("snare-14x5.5"), "batter", slide=0.5)
    modes = solve(model, even_pull(model.rim, 3000.0))
    assert label(modes)[:2] == [(0, 1), (1, 1)]
    energy = rim_energy(model.rim, 2 * 8, "elastic")
    theta = 2 * np.pi * np.arange(72) / 72
    level, slope = radial_tables(model.basis, energy.s)
    wave, turn = wave_tables(model.basis, theta)

    def at(q: float, p: float) -> float:
        shape = (modes.shapes[:, :2] @ [q, p]) / model.radius_m
        out, across = (shape * slope.T) @ wave, (shape * (level / energy.s).T) @ turn
        return energy.of(np.array([0.5 * out**2, 0.5 * across**2, out * across]))

    a, c = at(1.0, 0.0), at(0.0, 1.0)
    b = at(1.0, 1.0) - a - c
    omega = 2 * np.pi * modes.frequency_hz[:2]
    lift = mutual_lift(model, modes, [0, 1])
    for moved, driver, own in ((0, 1, c), (1, 0, a)):
        swing = float(np.sqrt(0.004 * omega[driver] ** 2 / (1.5 * own)))  # itself by 0.4 %

        def pull(_: float, x: Array, moved=moved, driver=driver, own=own) -> list[float]:  # type: ignore[no-untyped-def]
            q, p, dq, dp = x
            return [
                dq,
                dp,
                -(omega[moved] ** 2 + 2 * b * p * p) * q,
                -(omega[driver] ** 2 + 2 * b * q * q + 4 * own * p * p) * p,
            ]

        periods = 2 * np.pi / omega[moved] * 60
        t = np.linspace(0.0, periods, 24_000)
        start = [1e-4 * swing, swing, 0.0, 0.0]
        run = solve_ivp(pull, (0.0, periods), start, t_eval=t, rtol=1e-9, atol=1e-12)
        q = run.y[0]
        down = np.flatnonzero((q[:-1] > 0) & (q[1:] <= 0))
        crossing = t[down] + (t[1] - t[0]) * q[down] / (q[down] - q[down + 1])
        slope_of_counts = np.polyfit(np.arange(len(crossing)), crossing, 1)[0]
        rise = 2 * np.pi / slope_of_counts / omega[moved] - 1.0
        assert rise / 0.004 == pytest.approx(lift[moved, driver], rel=0.03)


def test_an_elastic_rim_glides_less_and_order_of_modes_is_kept() -> None:
    model = head_model(load_drum("tom-12x8"), "batter", slide=0.5)
    modes = solve(model, even_pull(model.rim, 2000.0))
    fixed, elastic = (pitch_glide(model, modes, rim=rim) for rim in ("fixed", "elastic"))
    share = elastic.rise_hz_m2 / fixed.rise_hz_m2
    assert np.all((share > 0.6) & (share < 0.97))
    relative = elastic.rise_hz_m2 / elastic.frequency_hz
    names = label(modes)
    assert relative[names.index((0, 1))] < relative[names.index((1, 1))]  # same peak, more slope
    lift = elastic.at(0, 0.003)
    assert lift == pytest.approx(modes.frequency_hz[0] + elastic.rise_hz_m2[0] * 9e-6)


def test_glide_does_not_depend_on_where_the_first_rod_stands() -> None:
    model = head_model(load_drum("snare-14x5.5"), "batter", slide=0.3)
    pull = even_pull(model.rim, 3000.0) * (1 + 0.05 * np.random.default_rng(2).normal(size=10))
    one = pitch_glide(model, solve(model, pull), count=6)
    two = pitch_glide(model, solve(model, np.roll(pull, 3)), count=6)
    np.testing.assert_allclose(two.rise_hz_m2, one.rise_hz_m2, rtol=5e-3)


def test_stretch_beyond_first_order_is_refused() -> None:
    film = Film(thickness_m=0.0001905)
    with pytest.raises(RangeError, match="up to 25%"):
        berger_rise(0, 1, film, 0.41, 1885, 0.02)
    with pytest.raises(RangeError, match="tension above 0"):
        berger_rise(0, 1, film, 0.41, 0.0, 0.002)
    model = head_model(load_drum("tom-12x8"), "batter")
    glide = pitch_glide(model, solve(model, even_pull(model.rim, 2000.0)), count=2)
    with pytest.raises(RangeError, match="holds up to"):
        glide.at(0, 0.03)
    assert len(rim_energy(rim_map(load_drum("tom-12x8"), "batter"), 4, "elastic").form) == 5
