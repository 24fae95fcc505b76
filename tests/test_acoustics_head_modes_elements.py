"""Ritz modes against scikit-fem on the same tension, and how fast the basis converges."""

import dataclasses

import numpy as np
import pytest
from numpy.typing import NDArray

from hoopwise.acoustics.head_modes import HeadModel, head_model, solve
from hoopwise.acoustics.stretch import even_pull, tension_field
from hoopwise.drum import load_drum
from tests.film_elements import cartesian, membrane_frequencies

Array = NDArray[np.float64]


def limp_model(name: str, slide: float, diameters: int = 8, circles: int = 4) -> HeadModel:
    model = head_model(load_drum(name), "batter", slide, diameters=diameters, circles=circles)
    return dataclasses.replace(model, bending=np.zeros_like(model.bending))


def pull_of(model: HeadModel) -> Array:
    noise = np.random.default_rng(3).normal(size=model.rim.rods)
    pull: Array = even_pull(model.rim, 3000.0) * (1 + 0.08 * noise / noise.std())
    return pull


@pytest.mark.parametrize(
    ("name", "slide"), [("snare-14x5.5", 0.0), ("tom-10x7", 1.0), ("kick-22x16", 0.5)]
)
def test_twelve_modes_of_an_uneven_head_agree_with_finite_elements(name: str, slide: float) -> None:
    """Outside check: scikit-fem, quadratic triangles, 8 % uneven rods, to 1e-4."""
    model = limp_model(name, slide)
    pull = pull_of(model)

    def tension(x: Array, y: Array) -> tuple[Array, Array, Array]:
        theta = np.arctan2(y, x)
        r = np.minimum(np.hypot(x, y), model.radius_m)
        return cartesian(theta, *tension_field(model.rim, pull, r, theta))

    outside = membrane_frequencies(tension, model.radius_m, model.rim.film.mass_kg_m2, 12)
    np.testing.assert_allclose(solve(model, pull).frequency_hz[:12], outside, rtol=1e-4)


def worst_error(diameters: int, circles: int, truth: Array) -> float:
    model = limp_model("snare-14x5.5", 0.0, diameters, circles)
    found = solve(model, pull_of(model)).frequency_hz[:12]
    assert np.all(found > truth * (1 - 1e-12))  # Ritz comes from above
    return float(np.max(found / truth - 1))


def test_the_basis_converges_towards_third_order_in_circles() -> None:
    """The basis has no curvature at the rim and the truth has: errors go to circles^-3.

    Order by doubling, (f3 - f6) / (f6 - f12): 2.6 for the lowest modes, and rising.
    """

    def lowest(circles: int) -> Array:
        model = limp_model("snare-14x5.5", 0.0, 8, circles)
        return solve(model, pull_of(model)).frequency_hz[:5]

    three, six, twelve = lowest(3), lowest(6), lowest(12)
    order = np.log2((three - six) / (six - twelve))
    assert np.all((order > 2.3) & (order < 3.1)), order
    fine = limp_model("snare-14x5.5", 0.0, 12, 12)
    truth = solve(fine, pull_of(fine)).frequency_hz[:12]
    errors = [worst_error(12, n, truth) for n in (2, 4, 8)]
    assert errors[1] < 5e-6
    assert np.all(np.diff(np.log2(errors)) < -3.0)  # the worst of twelve falls faster


def test_the_basis_converges_faster_than_any_power_in_diameters() -> None:
    """Each further pair of diameters gains a factor of ten and more.

    That ends where what the lugs themselves press into the rim is left (harmonic 10 here).
    """
    fine = limp_model("snare-14x5.5", 0.0, 18, 4)
    truth = solve(fine, pull_of(fine)).frequency_hz[:12]
    errors = [worst_error(m, 4, truth) for m in (4, 6, 8)]
    assert np.all(np.array(errors[1:]) < 0.1 * np.array(errors[:-1]))


def test_the_lowest_third_of_the_basis_is_good_to_one_in_ten_thousand() -> None:
    coarse, fine = limp_model("snare-14x5.5", 0.0), limp_model("snare-14x5.5", 0.0, 16, 8)
    count = len(coarse.mass) // 3
    found = solve(coarse, pull_of(coarse)).frequency_hz[:count]
    np.testing.assert_allclose(found, solve(fine, pull_of(fine)).frequency_hz[:count], rtol=1e-4)
