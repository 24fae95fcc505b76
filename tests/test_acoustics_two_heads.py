"""Two heads tied by air: exact duct, forms, trade facts, range, and following by shape."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

import hoopwise as hw
from hoopwise.acoustics.air import face_integrals
from hoopwise.acoustics.air_table import Enclosure
from hoopwise.acoustics.follow import follow_modes, match_modes
from hoopwise.acoustics.hankel import (
    duct_norms,
    duct_zeros,
    head_on_duct,
    head_slopes,
    head_zeros,
)
from hoopwise.acoustics.head_air import head_air
from hoopwise.acoustics.heads import Heads
from hoopwise.acoustics.mode_names import name_modes
from hoopwise.acoustics.two_heads import CoupledMode, modes_of
from hoopwise.drum import Drum, Film, Wires, load_drum
from hoopwise.errors import DrumError, RangeError
from hoopwise.units import DECAY_60_DB

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
SNARE = load_drum("snare-14x5.5")


def tension(frequency_hz: float, film: Film, radius_m: float) -> float:
    """Tension that puts the (0,1) of the film alone at a frequency, in vacuo."""
    return film.mass_kg_m2 * (2.0 * math.pi * frequency_hz * radius_m / 2.404826) ** 2


def pair(drum: Drum, batter_hz: float, second_hz: float) -> tuple[float, float]:
    assert drum.second is not None
    return (
        tension(batter_hz, drum.batter.film, drum.radius_m),
        tension(second_hz, drum.second.film, drum.radius_m),
    )


def pick(modes: list[CoupledMode], m: int, n: int) -> list[CoupledMode]:
    return [mode for mode in modes if mode.shape == (m, n)]


def continued(m: int, count: int, ka: complex) -> tuple[Complexes, Complexes]:
    """Mass and damping of a face at a complex ka, from quadrature near it on the real axis.

    Mass and damping / ka are power series in (ka)^2 (they are even and entire).
    """
    middle = ka.real**2
    places = middle * (1.0 + 0.5 * np.cos(math.pi * (np.arange(9) + 0.5) / 9))
    pairs = [face_integrals("head", m, count, math.sqrt(y)) for y in places]
    rows = np.array(
        [(mass, loss / math.sqrt(y)) for (mass, loss), y in zip(pairs, places, strict=True)]
    )
    powers = np.vander(places / middle - 1.0, increasing=True)
    terms = np.linalg.solve(powers, rows.reshape(9, -1))
    series = ((ka**2 / middle - 1.0) ** np.arange(9)) @ terms
    mass, damping = np.asarray(series, dtype=np.complex128).reshape(2, count, count)
    return mass, np.asarray(damping * ka)


def exact_dynamic(m: int, count: int, omega: complex, films: Floats, pulls: Floats) -> Complexes:
    """K - w^2 M + i w R of a 14 x 5.5 in drum, the duct in its hard-walled closed form."""
    a, depth, rho, c = 0.178, 0.14, 1.204, 343.2
    angular = 2.0 * math.pi if m == 0 else math.pi
    j, ducts, k0 = head_zeros(m, count), 40, omega / c
    overlap = head_on_duct(m, count, ducts) * a**2
    norm = duct_norms(m, ducts) * a**2
    g = np.sqrt(k0**2 - (duct_zeros(m, ducts) / a) ** 2 + 0j)
    even, odd = 1.0 / (g * np.tan(g * depth)), 1.0 / (g * np.sin(g * depth))
    scale = rho * omega**2 * angular
    own = scale * (overlap * even / norm) @ overlap.T
    cross = -scale * (overlap * odd / norm) @ overlap.T
    mass, damping = continued(m, count, k0 * a)
    area = angular * 0.5 * a**2 * head_slopes(m, count) ** 2
    outer = scale * a**3 * (mass - 1j * damping)
    blocks = [
        np.diag((pull * (j / a) ** 2 - omega**2 * film) * area) - outer + own
        for film, pull in zip(films, pulls, strict=True)
    ]
    return np.block([[blocks[0], cross], [cross.T, blocks[1]]])


@pytest.mark.parametrize("m", [0, 1, 3])
def test_modes_are_complex_roots_of_the_exact_duct(m: int) -> None:
    """Pitch and decay are the root of the closed form, to which Newton's step would go."""
    films = (Film(0.254e-3, modulus_pa=0.0), Film(76e-6, modulus_pa=0.0))
    pulls = np.array([3700.0, 2900.0])
    heads = Heads(Enclosure(0.178, 0.14, "head", 0.0, "baffle"), films)
    modes = [x for x in modes_of(heads, tuple(pulls), m_max=m, n_max=2) if x.shape[0] == m]
    sigma = np.array([film.mass_kg_m2 for film in films])
    assert len(modes) >= 3
    for mode in modes:
        root = 2.0 * math.pi * mode.frequency_hz + 1j * DECAY_60_DB / mode.radiation_t60_s
        low, here, high = (
            exact_dynamic(m, 6, root * part, sigma, pulls) for part in (1 - 1e-5, 1, 1 + 1e-5)
        )
        slope = (high - low) / (2e-5 * root)
        step = 1.0 / np.trace(np.linalg.solve(here, slope))
        assert abs(step) < 1e-4 * abs(root), mode


def test_forms_of_the_lowest_pairs() -> None:
    """Both (0,1): lower together, upper opposed; both (1,1) the other way round.

    Air that is squeezed stiffens, air that only sloshes from one side to the other loads.
    """
    modes = hw.couple(SNARE, *pair(SNARE, 220.0, 360.0))
    assert [x.motion for x in pick(modes, 0, 1)] == ["together", "opposed"]
    assert [x.motion for x in pick(modes, 1, 1)] == ["opposed", "together"]
    assert pick(modes, 0, 1)[0].frequency_hz == pytest.approx(185, rel=0.02)
    assert pick(modes, 0, 1)[1].frequency_hz == pytest.approx(355, rel=0.01)
    for mode in modes:
        assert sum(mode.share) == pytest.approx(1.0)
        assert 0.0 < mode.t60_s <= mode.radiation_t60_s


def test_baffle_reproduces_the_one_model_without_fitted_numbers() -> None:
    """Ring times by radiation in a baffle: 0.11 to 0.13 s (0,1), about 1 s (1,1), 5 s (2,1)."""
    films = (Film(254e-6), Film(76e-6))
    shell = Enclosure(0.1778, 0.1397, "head", 0.0, "baffle")
    tensions = [tension(f, film, 0.1778) for f, film in zip((220.0, 360.0), films, strict=True)]
    modes = modes_of(Heads(shell, films), tensions, m_max=2, n_max=1)
    want = {(0, 1): (183, 0.11, 0.14), (1, 1): (276, 0.8, 1.5), (2, 1): (408, 3.5, 5.5)}
    for shape, (frequency, low, high) in want.items():
        mode = pick(modes, *shape)[0]
        # The figures leave out that damping lowers a pitch, by 5/2 (alpha / omega)^2.
        lag = DECAY_60_DB / (mode.radiation_t60_s * 2.0 * math.pi * mode.frequency_hz)
        undamped = mode.frequency_hz * (1.0 + 2.5 * lag**2)
        assert undamped == pytest.approx(frequency, rel=0.005)
        assert low < mode.radiation_t60_s < high


def test_both_low_notes_rise_with_either_head() -> None:
    """Common practice, no source: either head's rods move both notes."""
    low, high = (
        pick(hw.couple(SNARE, *pair(SNARE, 220.0, 360.0), m_max=0), 0, 1)[i] for i in (0, 1)
    )
    for hertz in ((222.0, 360.0), (220.0, 364.0)):
        moved = pick(hw.couple(SNARE, *pair(SNARE, *hertz), m_max=0), 0, 1)
        assert moved[0].frequency_hz > low.frequency_hz
        assert moved[1].frequency_hz > high.frequency_hz


@pytest.mark.parametrize("name", ["snare-14x5.5", "snare-14x6.5", "tom-12x8", "tom-10x7"])
def test_batter_rises_when_the_second_head_goes_on(name: str) -> None:
    """Common practice, no source: the batter's low note settles higher with both heads on."""
    drum = load_drum(name)
    batter, second = pair(drum, 220.0, 260.0)
    alone = pick(hw.couple(drum, batter, m_max=0), 0, 1)[0]
    both = pick(hw.couple(drum, batter, second, m_max=0), 0, 1)[0]
    assert both.frequency_hz > alone.frequency_hz


def test_much_tighter_snare_side_shortens_the_low_note() -> None:
    """Common practice, no source. Heads of unlike pitch breathe, and that radiates.

    Of the whole ring time, film losses included, and of radiation's part in it.
    """
    modes = [
        pick(hw.couple(SNARE, *pair(SNARE, 200.0, second), m_max=0), 0, 1)[0]
        for second in (300.0, 400.0, 500.0)
    ]
    rings = [mode.t60_s for mode in modes]
    assert rings[0] > 1.1 * rings[1] > 1.1 * 1.1 * rings[2]
    cycles = [mode.t60_s * mode.frequency_hz for mode in modes]
    assert cycles[0] > 1.1 * cycles[1] > 1.1 * 1.1 * cycles[2]
    by_air = [mode.radiation_t60_s for mode in modes]
    assert by_air[0] > by_air[1] > by_air[2]


@pytest.mark.parametrize("inches", [6, 14, 26])
@pytest.mark.parametrize("n_max", [1, 4])
def test_no_mode_of_a_shallow_drum_is_missed(inches: int, n_max: int) -> None:
    """Heads that squeeze little air ring far above their own pitch, and are still named."""
    drum = replace(SNARE, diameter_m=inches * 0.0254, depth_m=0.05)
    shapes = [mode.shape for mode in hw.couple(drum, 1500.0, 1000.0, m_max=2, n_max=n_max)]
    assert sorted(shapes) == sorted(2 * [(m, n) for m in range(3) for n in range(1, n_max + 1)])


def test_lone_head_keeps_its_name_beside_the_air_in_its_shell() -> None:
    """The slug of air in a deep shell has a note of its own; (0,1) stays the head's lowest."""
    kick = load_drum("kick-22x16")
    notes = [pick(hw.couple(kick, pull, m_max=0), 0, 1)[0].frequency_hz for pull in (500.0, 2000.0)]
    assert notes[0] < 40.0
    assert notes[1] == pytest.approx(2.0 * notes[0], rel=0.1)  # the root of the tension


@pytest.mark.parametrize("wires", [None, SNARE.wires])
def test_one_head_only(wires: Wires | None) -> None:
    batter, second = pair(SNARE, 220.0, 360.0)
    upper = hw.couple(SNARE, batter)
    lower = hw.couple(SNARE, None, second, wires)
    assert all(x.motion == "alone" for x in upper + lower)
    assert all(x.share == (1.0, 0.0) and not x.second for x in upper)
    assert all(x.share == (0.0, 1.0) and not x.batter for x in lower)


def test_wires_on_the_snare_side_lower_its_notes() -> None:
    tensions = pair(SNARE, 220.0, 360.0)
    bare = hw.couple(SNARE, *tensions)
    laden = hw.couple(SNARE, *tensions, SNARE.wires)
    for shape in ((0, 1), (1, 1), (2, 1)):
        before, after = (max(pick(m, *shape), key=lambda x: x.share[1]) for m in (bare, laden))
        assert after.frequency_hz < before.frequency_hz


def test_effective_air_of_an_open_shell_gives_the_coupled_note() -> None:
    batter, _ = pair(SNARE, 220.0, 360.0)
    for shape in ((0, 1), (1, 1), (2, 1)):
        mode = pick(hw.couple(SNARE, batter, m_max=2), *shape)[0]
        omega, m = 2.0 * math.pi * mode.frequency_hz, shape[0]
        mass, resistance = head_air(SNARE, "batter", m, 6, omega)
        area = (2.0 if m == 0 else 1.0) * math.pi * 0.5 * SNARE.radius_m**2
        area_n = area * head_slopes(m, 6) ** 2
        film = np.diag(SNARE.batter.film.mass_kg_m2 * area_n) + mass
        stiffness = batter * (head_zeros(m, 6) / SNARE.radius_m) ** 2 * area_n
        v = np.array(mode.batter)
        ratio = float(v**2 @ stiffness) / float(v @ film @ v)
        assert math.sqrt(ratio) == pytest.approx(omega, rel=2e-3)
        assert float(v @ resistance @ v) > 0.0


def test_held_head_closes_the_shell_with_a_spring() -> None:
    mass, _ = head_air(SNARE, "batter", 0, 1, 2.0 * math.pi * 200.0, "held")
    opened, _ = head_air(SNARE, "batter", 0, 1, 2.0 * math.pi * 200.0)
    assert mass[0, 0] < 0.0 < opened[0, 0]


@pytest.mark.parametrize(
    ("change", "tensions", "words"),
    [
        ({"depth_m": 0.0}, (3000.0, 2000.0), ("depth 0", "from 1.97 to 24 in")),
        ({"rods": 3}, (3000.0, 2000.0), ("3 rods", "from 4 to 16")),
        ({"diameter_m": 2.0}, (3000.0, 2000.0), ("diameter", "from 6 to 26 in")),
        ({}, (30_000.0, 2000.0), ("batter", "30000 N/m", "up to 24638 N/m")),
        ({}, (3000.0, 20_000.0), ("snare side", "20000 N/m", "up to 7391 N/m")),
        ({}, (-1.0, 2000.0), ("batter", "above 0")),
        ({}, (None, None), ("both heads are off",)),
    ],
)
def test_impossible_drums_are_refused_with_the_legal_range(
    change: dict[str, float], tensions: tuple[float | None, float | None], words: tuple[str, ...]
) -> None:
    drum = replace(SNARE, **change)  # type: ignore[arg-type]  # values of several types
    with pytest.raises(RangeError) as caught:
        hw.couple(drum, *tensions)
    for word in words:
        assert word in str(caught.value)


def test_head_that_is_not_there_is_named() -> None:
    with pytest.raises(DrumError, match="no head on its snare side"):
        hw.couple(replace(SNARE, second=None), 3000.0, 2000.0)


def test_names_go_to_the_purest_mode() -> None:
    parts = np.array([[0.9, 0.1, 0.0], [0.55, 0.05, 0.4], [0.0, 0.8, 0.2]])
    assert name_modes(parts) == [0, 2, 1]


def test_matching_follows_shapes_through_a_swap() -> None:
    before = np.array([[1.0, 0.05], [0.05, -1.0]])
    after = np.array([[0.03, 1.0], [-1.0, 0.02]])
    assert match_modes(before, after, np.array([1.0, 2.0])) == [1, 0]


def test_heads_11_avoid_crossing_and_are_followed() -> None:
    """Where the two heads' (1,1) meet they turn away from each other, and swap heads."""
    steps = np.linspace(420.0, 140.0, 31)
    path = np.array([pair(SNARE, 220.0, hertz) for hertz in steps])
    track = follow_modes(SNARE, path, m=1, n_max=1)
    assert track.frequency_hz.shape == (31, 2)
    gap = track.frequency_hz[:, 1] - track.frequency_hz[:, 0]
    assert gap.min() > 5.0  # never a crossing
    assert 0 < int(gap.argmin()) < 30
    assert track.batter_share[0, 0] > 0.9
    assert track.batter_share[-1, 0] < 0.1


def test_modes_that_merely_pass_are_not_confused() -> None:
    """The snare side's (6,1) sweeps through the batter's; air hardly ties them."""
    path = np.array([pair(SNARE, 220.0, hertz) for hertz in np.linspace(200.0, 420.0, 41)])
    track = follow_modes(SNARE, path, m=6, n_max=1)
    assert (np.diff(np.sign(np.diff(track.frequency_hz, axis=1)), axis=0) != 0).any()  # a swap
    batter = track.batter_share.argmax(axis=1)
    far = np.abs(np.diff(track.frequency_hz, axis=1))[:, 0] > 20.0
    assert (batter[far] == batter[0]).all()  # each stays on its head
    moved = np.ptp(track.frequency_hz, axis=0)
    assert moved[batter[0]] < 0.02 * moved[1 - batter[0]]
