"""A round with the other head muted: the air in the closed shell, and when to listen."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from hoopwise.acoustics.air import AIR_DENSITY_KG_M3, SOUND_SPEED_M_S
from hoopwise.acoustics.low_note import head_notes
from hoopwise.acoustics.two_heads import couple
from hoopwise.drum import Drum, load_drum
from hoopwise.infer.head.air_load import air_on
from hoopwise.infer.head.even_head import EvenHead, even_head
from hoopwise.infer.head.prior import Belief
from hoopwise.infer.rods import read_round
from hoopwise.infer.taps.identify import identify
from hoopwise.infer.taps.late import carried_back
from hoopwise.listen.types import JointModes
from hoopwise.plan.headwork import HeadWork
from hoopwise.render.practice import PracticeDrum, practice_drum
from tests.rounds import TOM, practice, sounds

SNARE = load_drum("snare-14x5.5")
TENSION = 6000.0
ANGLE = np.repeat(2 * np.pi * np.arange(10) / 10, 2)


@lru_cache(maxsize=1)
def closed() -> EvenHead:
    return even_head(SNARE, "batter", TENSION, "muted")


@pytest.mark.parametrize("drum", [SNARE, TOM], ids=["snare", "tom"])
def test_the_comb_of_a_closed_shell_is_that_of_the_coupled_model(drum: Drum) -> None:
    found = couple(drum, TENSION, m_max=4, n_max=1, held=True)
    told = {mode.shape: mode.frequency_hz for mode in found}
    head = even_head(drum, "batter", TENSION, "muted")
    for name in ((1, 1), (2, 1), (3, 1), (4, 1)):
        mine = head.frequency_hz[head.members(name)[0]]
        assert mine == pytest.approx(told[name], rel=0.01), name


def test_the_spring_of_the_shell_is_that_of_its_volume() -> None:
    _, stiffness = air_on(SNARE, 0, 1, 1000.0, "muted")
    a = SNARE.radius_m
    zero, slope = 2.404826, 0.519147
    swept = 2 * np.pi * a**2 * slope / zero
    volume = np.pi * a**2 * SNARE.depth_m
    expected = AIR_DENSITY_KG_M3 * SOUND_SPEED_M_S**2 * swept**2 / volume
    assert stiffness[0, 0] == pytest.approx(expected, rel=1e-4)
    assert not air_on(SNARE, 0, 1, 1000.0, "off")[1].any()


def test_a_mode_has_one_name_whatever_the_frequency_of_the_air() -> None:
    own = closed()
    air = own.frequency_hz[own.members((1, 0))[0]]
    second = own.frequency_hz[own.members((1, 2))[0]]
    assert air != second
    for hz in (250.0, 0.97 * air, 1.03 * air, 900.0):
        head = even_head(SNARE, "batter", TENSION, "muted", hz)
        assert head.names == own.names
        order = np.sign(
            head.frequency_hz[head.members((1, 0))] - head.frequency_hz[head.members((1, 2))]
        )
        assert np.all(order == np.sign(air - second))


def _heard(poles: list[tuple[float, float, int, float]], rng: np.random.Generator) -> JointModes:
    """Poles (Hz, t60 in s, waves round the hoop, turned by), struck with uneven strength."""
    poles = sorted(poles)
    strength = np.exp(0.4 * rng.normal(size=len(ANGLE)))
    shape = np.stack([np.cos(m * ANGLE - turn) for _, _, m, turn in poles], axis=1)
    hz, ring = (np.array([p[i] for p in poles]) for i in (0, 1))
    count = len(hz)
    return JointModes(
        frequency_hz=hz,
        frequency_sd_hz=np.full(count, 0.01),
        t60_s=ring,
        t60_sd_s=0.01 * ring,
        amplitude=(strength[:, None] * shape).astype(np.complex128),
        amplitude_cov=np.tile(1e-6 * np.eye(count, dtype=np.complex128), (len(ANGLE), 1, 1)),
        glide=np.zeros(len(ANGLE)),
        glide_rate=15.0,
        onset_s=np.zeros(len(ANGLE)),
    )


def _comb(
    names: list[tuple[int, int]], scale: float = 1.0
) -> list[tuple[float, float, int, float]]:
    head = closed()
    out = []
    for name in names:
        hz = scale * float(head.frequency_hz[head.members(name)[0]])
        out.append((0.995 * hz, 0.4, name[0], 0.3))
        if name[0]:
            out.append((1.005 * hz, 0.4, name[0], 0.3 + np.pi / 2))
    return out


def test_pairs_alone_are_named_by_the_comb_of_a_closed_shell() -> None:
    names = [(1, 1), (2, 1), (3, 1), (4, 1)]
    heard = _heard(_comb(names, 1.05), np.random.default_rng(1))
    found = identify(heard, ANGLE, closed())
    assert found.log_shift == pytest.approx(np.log(1.05), abs=0.01)
    assert found.poles == {(1, 1): (0, 1), (2, 1): (2, 3), (3, 1): (4, 5), (4, 1): (6, 7)}


def test_what_dies_sooner_than_a_pole_is_not_its_partner() -> None:
    poles = _comb([(1, 1), (2, 1), (3, 1), (4, 1)])
    lower, upper = poles[-2:]
    del poles[-1]
    alike = _heard([*poles, upper], np.random.default_rng(2))
    assert len(identify(alike, ANGLE, closed()).poles[(4, 1)]) == 2
    soon = _heard([*poles, (upper[0], 0.06, *upper[2:])], np.random.default_rng(2))
    named = identify(soon, ANGLE, closed()).poles[(4, 1)]
    assert soon.frequency_hz[list(named)] == pytest.approx([lower[0]])


def test_a_pair_beside_the_sloshing_air_is_not_read() -> None:
    # Some tension brings (3,1) next to the air's own wave, which hardly moves.
    for tension in np.arange(4000.0, 5500.0, 50.0):
        near = even_head(SNARE, "batter", float(tension), "muted")
        air = float(near.frequency_hz[near.members((1, 0))[0]])
        third = float(near.frequency_hz[near.members((3, 1))[0]])
        if abs(third / air - 1.0) < 0.02:
            break
    else:
        pytest.fail("no tension brings them together")
    poles = []
    for name in ((1, 1), (2, 1), (3, 1), (4, 1)):
        hz = float(near.frequency_hz[near.members(name)[0]])
        poles += [(0.998 * hz, 0.4, name[0], 0.3), (1.002 * hz, 0.4, name[0], 0.3 + np.pi / 2)]
    named = identify(_heard(poles, np.random.default_rng(3)), ANGLE, near).poles
    assert (3, 1) not in named and (2, 1) in named


def test_amplitudes_are_carried_back_to_the_stroke() -> None:
    rng = np.random.default_rng(4)
    by, rate = 0.025, 15.0
    hz, ring = np.array([300.0, 307.0, 500.0]), np.array([0.2, 0.3, 0.5])
    glide = 0.005 * rng.random(4)
    start = rng.normal(size=(4, 3)) + 1j * rng.normal(size=(4, 3))

    def later(hz: np.ndarray, ring: np.ndarray) -> np.ndarray:
        through = by + glide * (1 - np.exp(-rate * by)) / rate
        turn = 2j * np.pi * np.outer(through, hz)
        return np.asarray(start * np.exp(turn - np.log(1000) / ring * by))

    cov = np.tile(np.eye(3, dtype=np.complex128), (4, 1, 1))
    late = JointModes(
        frequency_hz=hz,
        frequency_sd_hz=np.full(3, 0.01),
        t60_s=ring,
        t60_sd_s=0.01 * ring,
        amplitude=later(hz, ring),
        amplitude_cov=cov,
        glide=glide * np.exp(-rate * by),
        glide_rate=rate,
        onset_s=np.zeros(4),
        amplitude_by_pole=np.zeros((4, 3, 6), dtype=np.complex128),
    )
    back = carried_back(late, by)
    assert np.allclose(back.amplitude, start)
    assert np.allclose(back.glide, glide)
    grown = np.exp(2 * np.log(1000) / ring * by)
    assert np.allclose(back.amplitude_cov, cov * grown)
    # the later amplitude known, a pole that is off carries it back to another place
    step = 1e-6
    off = replace(late, frequency_hz=hz + np.array([0.0, step, 0.0]))
    slope = (carried_back(off, by).amplitude - back.amplitude)[:, 1] / step
    assert np.allclose(back.amplitude_by_pole[:, 1, 1], slope, rtol=1e-4)
    off = replace(late, t60_s=ring * np.exp([0.0, 0.0, step]))
    slope = (carried_back(off, by).amplitude - back.amplitude)[:, 2] / step
    assert np.allclose(back.amplitude_by_pole[:, 2, 5], slope, rtol=1e-4)


@lru_cache(maxsize=1)
def muted_work() -> tuple[PracticeDrum, HeadWork]:
    state = practice_drum(SNARE, "batter", 1, other_head="muted")
    rng, work = np.random.default_rng(1), HeadWork(SNARE, other_head="muted")
    work.read(
        [(r, state.tap(r, rng=rng), float(state.rate)) for r in range(1, 11) for _ in range(2)]
    )
    return state, work


def test_a_head_over_a_muted_one_is_read() -> None:
    state, work = muted_work()
    reading = work.readings[-1]
    error = np.array([r.deviation for r in reading.rods]) - state.deviations()
    assert np.sqrt(np.mean(error**2)) < 0.02
    assert reading.mean_tension_n_m == pytest.approx(state.mean_tension, rel=0.03)


def test_a_note_asked_for_over_a_muted_head_is_its_own_with_the_other_held_still() -> None:
    _, work = muted_work()
    tension = work.readings[-1].mean_tension_n_m
    own = float(head_notes(SNARE, "batter", np.array([tension]))[0])
    # On a practice drum a muted head is held still, so that this note is the lowest heard.
    assert work.readings[-1].note.frequency_hz == pytest.approx(own, rel=0.01)
    kept = work.advise(tension_n_m=tension)
    assert work.advise(note_hz=own).rods == kept.rods
    raised = work.advise(note_hz=1.02 * own)
    assert sum(raised.rods) > sum(kept.rods)


def test_a_round_with_a_ringing_head_does_not_speak_against_those_before() -> None:
    taps = [(rod, tap, float(practice().rate)) for rod, by in sounds().items() for tap in by[:2]]
    wrong = Belief(-practice().deviations(), 0.004**2 * np.eye(8))
    assert read_round(TOM, "batter", taps, belief=wrong).by_itself
    assert not read_round(TOM, "batter", taps, "ringing", belief=wrong).by_itself
