"""Coupled heads and kettles against published sets; each source stands beside its check."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares
from scipy.special import jv

from hoopwise.acoustics.air import Air
from hoopwise.acoustics.air_table import Enclosure, air_table
from hoopwise.acoustics.heads import Heads
from hoopwise.acoustics.two_heads import CoupledMode, modes_of
from hoopwise.drum import Film

Shape = tuple[int, int]


def limp(mass_kg_m2: float) -> Film:
    """A film of given mass that does not bend, as the published formulas have it."""
    return Film(thickness_m=mass_kg_m2 / 1390.0, modulus_pa=0.0)


def by_shape(modes: list[CoupledMode]) -> dict[Shape, list[CoupledMode]]:
    out: dict[Shape, list[CoupledMode]] = {}
    for mode in modes:
        out.setdefault(mode.shape, []).append(mode)
    return out


@pytest.mark.parametrize("stiffness", [1.0, 2.0, 5.0, 10.0])
def test_head_over_a_closed_volume(stiffness: float) -> None:
    """J0(x) = -B J2(x)/x^2, B = gamma P0 pi a^4/(T V).

    Raichel, The Science and Applications of Acoustics, table 6.2 (its k2a at B = 10, 5.87,
    is a misprint: its own equation gives 5.675, which holds here). Sound is made so fast
    that the cavity is a plain spring, as the table has it.
    """
    radius, depth, tension, film = 0.3, 0.4, 4000.0, 0.26
    speed = 1e5
    volume = math.pi * radius**2 * depth
    density = stiffness * tension * volume / (math.pi * radius**4 * speed**2)
    kettle = Enclosure(radius, depth, "rigid", 0.0, "baffle", Air(density, speed))
    modes = by_shape(modes_of(Heads(kettle, (limp(film),)), [tension], m_max=0))

    def equation(x: float) -> float:
        return float(jv(0, x) + stiffness * jv(2, x) / x**2)

    starts = {1.0: (2.4, 5.5, 8.6), 2.0: (2.4, 5.5, 8.6), 5.0: (2.9, 5.5, 8.6)}
    for n, low in enumerate(starts.get(stiffness, (3.0, 5.5, 8.6)), start=1):
        want = brentq(equation, low, low + 0.9)
        got = 2.0 * math.pi * modes[0, n][0].frequency_hz * radius * math.sqrt(film / tension)
        assert got == pytest.approx(want, rel=1e-3)
    printed = {1.0: 2.545, 2.0: 2.68, 5.0: 3.02, 10.0: 3.485}[stiffness]
    got = 2.0 * math.pi * modes[0, 1][0].frequency_hz * radius * math.sqrt(film / tension)
    assert got == pytest.approx(printed, rel=0.004)


def kettledrum(vent_radius_m: float) -> dict[Shape, float]:
    radius, volume = 0.328, 0.14
    air = Air(1.21, 344.0)
    depth = volume / (math.pi * radius**2)  # a cylinder of the kettle's volume
    kettle = Enclosure(radius, depth, "rigid", vent_radius_m, "baffle", air)
    modes = by_shape(modes_of(Heads(kettle, (limp(0.2653),)), [3990.0], m_max=5, n_max=2))
    return {shape: found[0].frequency_hz for shape, found in modes.items()}


@pytest.mark.parametrize("vent_radius_m", [0.014, 0.0])
def test_kettledrum_with_its_kettle(vent_radius_m: float) -> None:
    # Christian, Davis, Tubis, Anderson, Mills & Rossing 1984, JASA 76:1336: inputs from a
    # public program that implements it, vent of 14 mm radius among them; measured Hz FROM
    # MEMORY (Fletcher & Rossing table), ratios (1,1)..(4,1) also in Reid, Sound on Sound,
    # November 2001. No number is fitted. (0,1) is 0.7 % high with the vent, 0.0 % without.
    got = kettledrum(vent_radius_m)
    want = {
        (0, 1): 127, (1, 1): 150, (2, 1): 227, (3, 1): 298, (4, 1): 366, (5, 1): 434, (0, 2): 252,
    }  # fmt: skip
    for shape, value in want.items():
        assert got[shape] == pytest.approx(value, rel=0.015), shape


@pytest.mark.parametrize(
    ("over_note", "times"), [(0.5, -1.0 / 3.0), (2.0, 4.0 / 3.0), (6.0, 36.0 / 35.0)]
)
def test_a_vent_acts_as_helmholtz_says(over_note: float, times: float) -> None:
    """The air's spring becomes K / (1 - (f_H / f)^2), f_H = c / 2 pi sqrt(A / (V l)) (textbook).

    The kettle above has f_H = 21 Hz; its notes lie so far above that the vent stiffens the air
    by 3 %. It would let the air go, and lower a note, only from f_H down.
    """
    radius, volume, vent, c = 0.328, 0.14, 0.014, 344.0
    kettle = Enclosure(
        radius, volume / (math.pi * radius**2), "rigid", vent, "baffle", Air(1.21, c)
    )
    table = air_table(kettle, 0, 6, 900.0)  # below the first wave in the kettle
    length = 0.006 + 2 * 0.85 * vent  # the hole and two flanged ends (Rayleigh)
    note = c * math.sqrt(math.pi * vent**2 / (volume * length))
    assert note / (2.0 * math.pi) == pytest.approx(21.0, abs=0.3)
    omega = over_note * note
    dynamic = table.stiffness - omega**2 * table.mass(np.array(omega))
    closed = table.stiffness[0, 0]
    with_vent = closed - dynamic[0, -1] ** 2 / dynamic[-1, -1]
    assert with_vent == pytest.approx(times * closed, rel=1e-6)


# Rossing, Bork, Zhao & Fystrom 1992, JASA 92:84, 36 cm snare drum. Values FROM MEMORY; the
# steps 125, 109, 107 and 101, 114 Hz and "about 180, about 330" in Sound on Sound, March 2002.
SNARE = {
    ((0, 1), 0): 182, ((0, 1), 1): 330, ((1, 1), 0): 278, ((1, 1), 1): 341, ((2, 1), 0): 403,
    ((3, 1), 0): 512, ((1, 2), 0): 556, ((4, 1), 0): 619, ((0, 2), 0): 442,
}  # fmt: skip
COATED_10_MIL, PLAIN_3_MIL = limp(0.254e-3 * 1390 + 0.105), limp(76.2e-6 * 1390)


def snare(tensions: tuple[float, float]) -> dict[tuple[Shape, int], float]:
    """36 cm, 165 mm deep, 10-mil batter with 105 g/m2 of coating, 3-mil snare side."""
    heads = Heads(Enclosure(0.178, 0.165, "head", 0.005), (COATED_10_MIL, PLAIN_3_MIL))
    found = by_shape(modes_of(heads, tensions, m_max=4, n_max=2))
    out = {}
    for shape, rank in SNARE:
        pair = found[shape]
        if shape not in ((0, 1), (1, 1)):  # the batter's of the two
            pair = sorted(pair, key=lambda mode: -mode.share[0])
        out[shape, rank] = pair[rank].frequency_hz
    return out


@pytest.fixture(scope="module")
def snare_misfit() -> dict[tuple[Shape, int], float]:
    """Relative misfit of each mode with the two tensions fitted and nothing else."""

    def misfit(log_tensions: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[float]:
        got = snare((math.exp(log_tensions[0]), math.exp(log_tensions[1])))
        return [math.log(got[key] / value) for key, value in SNARE.items()]

    fit = least_squares(misfit, np.log([4300.0, 2900.0]), diff_step=[1e-3, 1e-3])
    return dict(zip(SNARE, fit.fun, strict=True))


def rms(values: list[float]) -> float:
    return math.sqrt(sum(v * v for v in values) / len(values))


def test_snare_spectrum_fits_with_physical_films(
    snare_misfit: dict[tuple[Shape, int], float],
) -> None:
    assert rms(list(snare_misfit.values())) < 0.01
    # (0,2) alone is 1.5 % off; the other eight agree to the design's half per cent.
    others = [value for (shape, _), value in snare_misfit.items() if shape != (0, 2)]
    assert rms(others) < 0.005


def test_snare_lowest_pair(snare_misfit: dict[tuple[Shape, int], float]) -> None:
    assert rms([snare_misfit[(0, 1), 0], snare_misfit[(0, 1), 1]]) < 0.01


def test_bass_drum_with_equal_heads() -> None:
    # 82 cm bass drum, both heads alike: Fletcher & Rossing, FROM MEMORY; Reid, Sound on
    # Sound, January 2002, table 1, prints the same numbers times 25/22. Film 7.5 mil,
    # depth 0.5 m, tension set on (3,1).
    film = limp(0.265)
    heads = Heads(Enclosure(0.41, 0.5, "head"), (film, film))
    found = by_shape(modes_of(heads, (1888.0, 1888.0), m_max=5, n_max=1))
    for shape, value in (((2, 1), 120), ((3, 1), 160), ((4, 1), 198), ((5, 1), 240)):
        assert found[shape][0].frequency_hz == pytest.approx(value, rel=0.04), shape
    assert [m.frequency_hz for m in found[1, 1]] == pytest.approx([76, 82], rel=0.04)
    assert found[0, 1][0].frequency_hz == pytest.approx(44, rel=0.04)
    assert found[0, 1][1].frequency_hz == pytest.approx(104, rel=0.07)
