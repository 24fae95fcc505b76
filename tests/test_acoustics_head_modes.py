"""Head modes: even heads, splitting laws, derivatives, symmetries, ranges."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from hoopwise.acoustics.head_modes import (
    HeadModel,
    derivatives,
    head_model,
    label,
    shape_at,
    solve,
    stiffness_of,
)
from hoopwise.acoustics.membrane import ideal_frequency_hz
from hoopwise.acoustics.stretch import even_pull
from hoopwise.drum import load_drum
from hoopwise.errors import RangeError

Array = NDArray[np.float64]


def limp(model: HeadModel) -> HeadModel:
    """The same head without bending."""
    return dataclasses.replace(model, bending=np.zeros_like(model.bending))


def uneven(model: HeadModel, seed: int = 3, size: float = 0.08) -> Array:
    noise = np.random.default_rng(seed).normal(size=model.rim.rods)
    return even_pull(model.rim, 3000.0) * (1 + size * noise)


def test_a_head_in_uniform_tension_has_the_ideal_frequencies() -> None:
    """Only harmonic 0 of the film kept: the membrane formula, (m, 1) and (m, 2), both members."""
    model = limp(head_model(load_drum("snare-14x5.5"), "batter"))
    film, radius = model.rim.film, model.radius_m
    pull = even_pull(model.rim, 3000.0)
    tension = model.rim.film_mean_per_metre * pull[0]
    uniform = dataclasses.replace(
        model,
        stiffness_pull=np.tile(
            model.stiffness_even * model.rim.film_mean_per_metre / 10, (10, 1, 1)
        ),
    )
    modes = solve(uniform, pull)
    expected = sorted(
        ideal_frequency_hz(m, n, radius, film.mass_kg_m2, tension) for m, n, _ in model.basis
    )
    np.testing.assert_allclose(modes.frequency_hz, expected, rtol=1e-10)
    np.testing.assert_allclose(
        np.tensordot(np.ones(10), model.stiffness_pull, 1).diagonal(),
        model.rim.film_mean_per_metre * model.stiffness_even.diagonal(),
        rtol=2e-3,  # the lugs' own harmonic 10 is left
    )


def split_of(m: int, n: int, k: int, eps: float) -> tuple[float, float]:
    """Highest and lowest relative shift of the pair (m, n), rim pull N0 (1 + eps cos k theta)."""
    table = {
        "drum": {"kind": "tom", "diameter_in": 14, "depth_in": 6, "rods": 16},
        "batter": {"film_mil": 10},
    }
    model = limp(head_model(load_drum(table), "batter", slide=1.0))
    rim = model.rim
    level = even_pull(rim, 3000.0)
    pull = level + 1e-4 * level * np.cos(k * rim.angles)
    mean = rim.film_mean_per_metre * level[0]
    wave = rim.harmonics.rim_stiffness[k] * (rim.cosine[k] @ pull) / mean  # eps at this pull
    pull = level + (pull - level) * eps / wave
    even, modes = solve(model, level), solve(model, pull)
    names, even_names = label(modes, model.mass), label(even, model.mass)
    at = [modes.frequency_hz[i] for i, name in enumerate(names) if name == (m, n)]
    base = np.mean([even.frequency_hz[i] for i, name in enumerate(even_names) if name == (m, n)])
    return max(at) / base - 1, min(at) / base - 1


@pytest.mark.parametrize(
    ("m", "n", "per_eps"),
    [(1, 1, 0.5), (2, 1, 7 / 30), (3, 1, 11 / 70), (1, 2, 0.5)],
)
def test_a_pair_splits_by_the_law_of_a_film_in_equilibrium(m: int, n: int, per_eps: float) -> None:
    """Split over frequency, derived apart to first order, for k = 2m without rim shear.

    (4m-1) / (2 (2m-1) (2m+1)): 0.500, 0.2333, 0.1571 for n = 1, and 0.500 for (1,2). A tension
    taken as local and the same in all directions would give 0.167, 0.100, 0.071.
    """
    eps = 1e-3
    high, low = split_of(m, n, 2 * m, eps)
    assert (high - low) / eps == pytest.approx(per_eps, rel=0.005)
    assert high == pytest.approx(-low, rel=0.01)


@pytest.mark.parametrize(("m", "k"), [(1, 3), (1, 4), (1, 6), (2, 2), (2, 3), (2, 6), (3, 4)])
def test_every_other_harmonic_splits_nothing_at_first_order(m: int, k: int) -> None:
    eps = 2e-3
    high, low = split_of(m, 1, k, eps)
    half_high, half_low = split_of(m, 1, k, eps / 2)
    assert high - low < 0.01 * eps
    # What is left is second order: a quarter at half the unevenness.
    assert half_high - half_low == pytest.approx((high - low) / 4, rel=0.02, abs=1e-9)


def test_even_heads_are_split_by_their_own_lugs_where_2m_is_the_rod_count() -> None:
    for name, m in (("tom-12x8", 3), ("tom-14x14", 4)):
        model = head_model(load_drum(name), "batter")
        modes = solve(model, even_pull(model.rim, 3000.0))
        names = label(modes)
        for pair in ((1, 1), (2, 1), (3, 1), (4, 1)):
            low, high = (modes.frequency_hz[i] for i, x in enumerate(names) if x == pair)
            split = 1200 * np.log2(high / low)
            assert (split > 1.0) == (pair == (m, 1)), (name, pair, split)


def test_derivatives_of_frequencies_and_shapes_agree_with_differences() -> None:
    model = head_model(load_drum("snare-14x5.5"), "batter", slide=0.2)
    pull = uneven(model)
    slopes = derivatives(model, solve(model, pull))
    assert slopes.frequency.shape == (24, 10)
    assert all(len(group) == 1 for group in slopes.groups)
    for rod in (0, 3, 7):
        step = np.zeros(10)
        step[rod] = 1e-8
        up, down = solve(model, pull + step), solve(model, pull - step)
        frequency = (up.frequency_hz - down.frequency_hz)[:24] / 2e-8
        shapes = (up.shapes - down.shapes)[:, :24] / 2e-8
        np.testing.assert_allclose(
            slopes.frequency[:, rod], frequency, atol=1e-6 * np.abs(frequency).max()
        )
        np.testing.assert_allclose(
            slopes.shapes[:, :, rod], shapes, atol=1e-5 * np.abs(slopes.shapes).max()
        )


def test_in_a_degenerate_pair_the_group_s_matrix_gives_the_split() -> None:
    model = head_model(load_drum("snare-14x5.5"), "batter", slide=0.2)
    level = even_pull(model.rim, 3000.0)
    modes = solve(model, level)
    slopes = derivatives(model, modes)
    step = 1e-5 * level * np.random.default_rng(1).normal(size=10)
    after = solve(model, level + step)
    pairs = 0
    for group, within in zip(slopes.groups, slopes.within, strict=True):
        at = modes.frequency_hz[list(group)]
        first = np.linalg.eigvalsh(np.diag(at) + np.tensordot(step, within, 1))
        np.testing.assert_allclose(after.frequency_hz[list(group)], first, rtol=1e-9)
        pairs += len(group) == 2
    assert pairs >= 8


def test_added_mass_lowers_modes_whether_given_as_diagonal_or_matrix() -> None:
    model = head_model(load_drum("tom-12x8"), "batter")
    pull = uneven(model)
    dry = solve(model, pull)
    wet = solve(model, pull, added_mass=0.5 * model.mass)
    np.testing.assert_allclose(wet.frequency_hz, dry.frequency_hz / np.sqrt(1.5), rtol=1e-12)
    extra = 0.3 * model.mass * (1 + np.arange(len(model.mass)) % 3)
    diagonal = solve(model, pull, added_mass=extra)
    full = solve(model, pull, added_mass=np.diag(extra))
    np.testing.assert_allclose(full.frequency_hz, diagonal.frequency_hz, rtol=1e-10)
    for modes in (diagonal, full):  # unit modal mass, and stiffness diagonal
        gram = modes.shapes.T @ ((model.mass + extra)[:, None] * modes.shapes)
        np.testing.assert_allclose(gram, np.eye(len(extra)), atol=1e-9)
        squares = modes.shapes.T @ stiffness_of(model, pull) @ modes.shapes
        np.testing.assert_allclose(
            squares.diagonal(), (2 * np.pi * modes.frequency_hz) ** 2, rtol=1e-9
        )


def test_shapes_vanish_at_the_rim_and_follow_the_label() -> None:
    model = head_model(load_drum("snare-14x5.5"), "batter")
    modes = solve(model, even_pull(model.rim, 3000.0))
    theta = 2 * np.pi * np.arange(64) / 64
    edge = shape_at(model, modes.shapes, model.radius_m, theta)
    near = shape_at(model, modes.shapes, model.radius_m - 0.025, theta)
    assert np.abs(edge).max() < 1e-9 * np.abs(near).max()
    for i, (m, _) in enumerate(label(modes)[:12]):
        waves = np.abs(np.fft.rfft(near[:, i]))
        assert waves.argmax() == m
    assert label(modes)[:6] == [(0, 1), (1, 1), (1, 1), (2, 1), (2, 1), (0, 2)]


@given(
    st.sampled_from(["snare-14x5.5", "tom-10x7", "snare-13x6"]),
    st.integers(0, 99),
    st.floats(0.5, 2.0),
)
@settings(max_examples=15, deadline=None)
def test_frequencies_ignore_which_rod_is_first_and_go_with_the_root_of_tension(
    name: str, seed: int, factor: float
) -> None:
    model = limp(head_model(load_drum(name), "batter", slide=0.5))
    pull = uneven(model, seed, 0.05)
    base = solve(model, pull).frequency_hz
    np.testing.assert_allclose(solve(model, np.roll(pull, 1)).frequency_hz, base, rtol=1e-9)
    np.testing.assert_allclose(solve(model, pull[::-1]).frequency_hz, base, rtol=1e-9)
    np.testing.assert_allclose(
        solve(model, factor * pull).frequency_hz, np.sqrt(factor) * base, rtol=1e-9
    )


@given(st.integers(0, 99), st.integers(0, 9))
@settings(max_examples=15, deadline=None)
def test_a_tighter_rod_never_lowers_the_sum_of_squares(seed: int, rod: int) -> None:
    """The trace of the stiffness only grows with a rod, as the mean tension does."""
    model = head_model(load_drum("snare-14x5.5"), "batter")
    pull = uneven(model, seed)
    tighter = pull.copy()
    tighter[rod] *= 1.1
    before, after = solve(model, pull).frequency_hz, solve(model, tighter).frequency_hz
    assert np.sum(after**2) > np.sum(before**2)


def test_bending_raises_modes_by_its_share() -> None:
    """D (j/a)^2 / N of a limp film's stiffness: 0.05 % of (0,1) at 3 kN/m and 10 mil."""
    model = head_model(load_drum("snare-14x5.5"), "batter")
    pull = even_pull(model.rim, 3000.0)
    stiff, soft = solve(model, pull).frequency_hz[0], solve(limp(model), pull).frequency_hz[0]
    rigidity = 5e9 * 254e-6**3 / 12 / (1 - 0.38**2)
    tension = model.rim.film_mean_per_metre * pull[0]
    share = rigidity * (2.404826 / 0.1778) ** 2 / tension
    assert (stiff / soft) ** 2 - 1 == pytest.approx(share, rel=1e-3)


def test_a_slack_or_overstretched_head_is_refused_with_the_range() -> None:
    model = head_model(load_drum("snare-14x5.5"), "batter")
    level = even_pull(model.rim, 3000.0)
    with pytest.raises(RangeError, match="above 0"):
        solve(model, -level)
    with pytest.raises(RangeError, match=r"up to 24638 N/m.*5 % strain"):
        solve(model, 10 * level)
    bent = level * (1 + 2.5 * np.cos(2 * model.rim.angles))
    with pytest.raises(RangeError, match="slack near rod"):
        solve(model, bent)
    with pytest.raises(RangeError, match="basis"):
        head_model(load_drum("snare-14x5.5"), "batter", circles=0)
    with pytest.raises(RangeError, match="off the film"):
        shape_at(model, solve(model, level).shapes, 0.2, 0.0)
