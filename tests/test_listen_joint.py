"""Joint fit of many taps against synthetic drums and the Cramer-Rao bound."""

import numpy as np
import pytest

from benchmarks.joint_synth import Floats, Truth, joint_bound, make_drum, sound
from benchmarks.loop.lines import LINES
from benchmarks.truth.rounds import round_of_taps
from hoopwise.drum import load_drum
from hoopwise.errors import RecordingError
from hoopwise.listen import joint_modes
from hoopwise.render.practice import LEAD_S, practice_drum
from tests.room import in_room


@pytest.mark.parametrize("seed", [0, 1])
def test_finds_every_mode_of_a_drum_and_none_besides(seed: int) -> None:
    rng = np.random.default_rng(seed)
    truth = make_drum(rng, 12, groups=6, splits_hz=(1.0, 12.0))
    taps, onsets = sound(truth, rng, length_s=0.6)
    found = joint_modes(taps, onsets=onsets)
    bound = joint_bound(truth, 0.0055, 0.595)
    assert len(found.frequency_hz) == len(truth.frequency_hz)
    error = found.frequency_hz - truth.frequency_hz
    assert np.all(np.abs(error) < 5 * bound.frequency_hz)
    assert np.sqrt(np.mean((error / bound.frequency_hz) ** 2)) < 1.6
    assert np.all(np.abs(error) < 5 * found.frequency_sd_hz)
    assert found.glide == pytest.approx(truth.glide, abs=1e-3)


@pytest.mark.parametrize("direct_db", [32.0, 26.0])
@pytest.mark.parametrize("seed", [0, 1])
def test_a_room_adds_no_modes_and_takes_none(seed: int, direct_db: float) -> None:
    rng = np.random.default_rng(seed)
    truth = make_drum(rng, 12, groups=6, splits_hz=(1.0, 12.0))
    taps, onsets = sound(truth, rng, length_s=0.6)
    found = joint_modes(in_room(taps, direct_db), onsets=onsets).frequency_hz
    assert len(found) == len(truth.frequency_hz)
    assert np.all(np.abs(found - truth.frequency_hz) < 2.0)


def test_a_glide_that_modes_do_not_share_makes_no_partner() -> None:
    """The stretch lifts each mode of the practice drum by a share of its own."""
    drum = load_drum("tom-14x14")
    state, rng = practice_drum(drum, "batter", 1), np.random.default_rng(1)
    taps = [(state.tap(r, rng=rng), float(state.rate)) for r in range(1, 9) for _ in range(2)]
    found = joint_modes(taps, onsets=[LEAD_S] * len(taps), most_modes=14).frequency_hz
    low, high = state.voice.frequency_hz[1:3]  # the pair (1,1)
    assert found[(found > low - 8) & (found < high + 8)] == pytest.approx([low, high], abs=0.05)


def test_refuses_one_tap() -> None:
    with pytest.raises(RecordingError, match="two taps or more"):
        joint_modes([(np.zeros(48000), 48000.0)], onsets=[0.1])


@pytest.fixture(scope="module")
def soft_round() -> tuple[Truth, list[tuple[Floats, float]], list[float]]:
    rng = np.random.default_rng(5)
    truth = make_drum(rng, 10, groups=5, contact_s=0.007, splits_hz=(1.0, 12.0))
    return truth, *sound(truth, rng, length_s=0.5)


def test_amplitudes_lie_within_their_covariance_when_the_tip_is_soft(
    soft_round: tuple[Truth, list[tuple[Floats, float]], list[float]],
) -> None:
    truth, taps, onsets = soft_round
    found = joint_modes(taps, onsets=onsets)
    assert len(found.frequency_hz) == len(truth.frequency_hz)
    square = []
    for error, cov, lever in zip(
        found.amplitude - truth.amplitude,
        found.amplitude_cov,
        found.amplitude_by_pole,
        strict=True,
    ):
        whole = cov + lever @ found.pole_cov @ lever.conj().T
        square.append(np.abs(np.linalg.solve(np.linalg.cholesky(whole), error)) ** 2)
    assert 0.7 < np.mean(square) < 1.5
    assert 0.8 < np.mean(np.array(square) < np.log(10)) < 0.97


def test_scale_and_polarity_change_amplitudes_alone(
    soft_round: tuple[Truth, list[tuple[Floats, float]], list[float]],
) -> None:
    _, taps, onsets = soft_round
    found = joint_modes(taps, onsets=onsets)
    turned = joint_modes([(-0.1 * x, rate) for x, rate in taps], onsets=onsets)
    assert turned.frequency_hz == pytest.approx(found.frequency_hz, abs=1e-6)
    assert turned.amplitude == pytest.approx(-0.1 * found.amplitude, rel=1e-4)


def test_noise_alone_has_no_modes() -> None:
    rng = np.random.default_rng(3)
    taps = [(0.01 * rng.standard_normal(30000), 48000.0) for _ in range(4)]
    with pytest.raises(RecordingError, match="no ringing mode"):
        joint_modes(taps, onsets=[0.1] * 4)


@pytest.mark.parametrize(
    ("name", "seed", "pair"),
    [
        ("soft6", 71400, (1, 2)),  # where the microphone is, the one is 28 dB louder
        ("ten", 71022, (6, 7)),  # a few taps had one start value for both
        ("reverberant", 71003, (1, 2)),  # no louder than the room answers to the other
    ],
)
def test_a_faint_mode_beside_its_partner_is_not_lost(
    name: str, seed: int, pair: tuple[int, int]
) -> None:
    line, rng = LINES[name], np.random.default_rng(seed)
    truth = line.draw(rng)
    made = round_of_taps(truth, rng, 2, contact_s=line.contact_s, reverb_db=line.reverb_db)
    found = joint_modes([(x, rate) for _, x, rate in made], most_modes=14).frequency_hz
    for hz in np.real(truth.modes.omega)[list(pair)] / (2 * np.pi):
        assert np.abs(found - hz).min() < 0.5


def test_a_mode_that_two_start_values_share_is_not_lost() -> None:
    """Each makes the other look weak; both were dropped, and a loud mode with them."""
    line, rng = LINES["hard"], np.random.default_rng(71000)
    truth = line.draw(rng)
    made = round_of_taps(truth, rng, line.taps, contact_s=line.contact_s)
    found = joint_modes([(x, rate) for _, x, rate in made], most_modes=14)
    low, high = np.real(truth.modes.omega)[1:3] / (2 * np.pi)  # the pair (1,1)
    near = (found.frequency_hz > low - 5) & (found.frequency_hz < high + 5)
    assert found.frequency_hz[near] == pytest.approx([low, high], abs=0.1)
    assert np.median(found.left_over) < 0.02
