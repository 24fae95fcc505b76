"""A round tapped in a room that rings along is read, with wider bars, and the room is told of."""

import numpy as np
import pytest

from benchmarks.truth import random_truth
from benchmarks.truth.rounds import round_of_taps
from hoopwise.drum import load_drum
from hoopwise.infer.rods import read_round
from hoopwise.infer.taps.round_data import GroupData, stack_moments
from hoopwise.infer.types import Reading
from hoopwise.listen.joint.modes import loudest_onset
from hoopwise.listen.joint.room import LEAST_SHARE, room_share
from hoopwise.render.practice import PracticeDrum, practice_drum
from tests.room import in_room

DRUM = load_drum("tom-14x14")


def told_in_room(direct_db: float) -> tuple[PracticeDrum, Reading]:
    state, rng = practice_drum(DRUM, "batter", 1), np.random.default_rng(1)
    rods = [r for r in range(1, 9) for _ in range(2)]
    wet = in_room([(state.tap(r, rng=rng), float(state.rate)) for r in rods], direct_db)
    taps = [(rod, x, rate) for rod, (x, rate) in zip(rods, wet, strict=True)]
    return state, read_round(DRUM, "batter", taps).reading


@pytest.mark.parametrize("direct_db", [32.0, 20.0])
def test_a_round_in_a_room_is_read(direct_db: float) -> None:
    state, reading = told_in_room(direct_db)
    error = np.array([r.deviation for r in reading.rods]) - state.deviations()
    sd = np.array([r.deviation_sd for r in reading.rods])
    assert np.sqrt(np.mean(error**2)) < 0.25 * np.sqrt(np.mean(state.deviations() ** 2))
    assert np.all(np.abs(error) < 3 * sd)
    assert not any("room" in sentence for sentence in reading.advice)


def test_a_room_that_outlasts_the_modes_is_heard_and_told_of() -> None:
    rng = np.random.default_rng(1)
    drum = random_truth(rng, 10)
    taps = [(drum.tap(rod, rng), 48000.0) for rod in range(1, 11)]
    onsets = [loudest_onset(x, rate, k) for k, (x, rate) in enumerate(taps)]
    assert room_share(taps, onsets) == LEAST_SHARE
    wet = in_room(taps, 20.0)
    assert room_share(wet, onsets) > 2 * LEAST_SHARE
    told = read_round(drum.nominal, "batter", [(k + 1, *tap) for k, tap in enumerate(wet)])
    assert any(sentence.startswith("The room is heard") for sentence in told.reading.advice)


@pytest.mark.parametrize("seed", [70_001, 70_005])
def test_rounds_in_one_room_tell_the_same_share(seed: int) -> None:
    rng = np.random.default_rng(seed)
    drum = random_truth(rng, 10)
    shares = []
    for _ in range(2):
        taps = [(x, rate) for _, x, rate in round_of_taps(drum, rng, 2, reverb_db=20.0)]
        onsets = [loudest_onset(x, rate, k) for k, (x, rate) in enumerate(taps)]
        shares.append(room_share(taps, onsets))
    assert min(shares) > 2 * LEAST_SHARE
    assert max(shares) < 1.5 * min(shares)


def test_a_room_leaves_a_pair_s_distance_less_sure() -> None:
    """By its share of the lines' width: 1 / (pi tau) and tau = T60 / ln 1000."""

    def split_sd_hz(room: float) -> float:
        pair = GroupData(
            name=(2, 1),
            poles=(0, 1),
            moments=np.ones((4, 2), dtype=np.complex128),
            cov=np.tile(np.eye(2, dtype=np.complex128), (4, 1, 1)),
            frequency_hz=np.array([300.0, 302.0]),
            frequency_sd_hz=np.array([0.01, 0.01]),
            t60_s=0.5,
            level=np.ones(2),
            room=room,
        )
        return float(stack_moments([pair], [np.ones((4, 2))]).split_sd_hz[0])

    half_width_hz = np.log(1000) / 0.5 / (2 * np.pi)
    more = np.sqrt(split_sd_hz(0.05) ** 2 - split_sd_hz(0.0) ** 2)
    assert more == pytest.approx(np.sqrt(2) * 0.05 * half_width_hz)
