"""What is no drum: voices, swells and scraps are refused, drums and even harmonics are not."""

import numpy as np
import pytest

from benchmarks.recordings import HOME, hit_sets
from hoopwise.errors import RecordingError
from hoopwise.listen.blocks import load_recording
from hoopwise.listen.dying import check_dies_away, is_voice
from hoopwise.listen.types import Tap
from tests.needs import go_without
from tests.recorded import CENTRE, EDGE, RATE, hit, speech


def tap(end_s: float, onset_s: float = 0.0) -> Tap:
    return Tap(onset_s, end_s, strength_db=-6.0, snr_db=60.0)


@pytest.mark.parametrize("seed", range(4))
def test_a_voice_is_known_by_its_even_overtones(seed: int) -> None:
    assert is_voice(speech(1.5, seed=seed), RATE)


HARMONICS = [(100.0 * k, 0.8, 0.3 / k) for k in range(1, 9)]


@pytest.mark.parametrize("modes", [CENTRE, EDGE, [(250.0, 1.0, 0.5)], HARMONICS])
@pytest.mark.parametrize("noise", [1e-3, 1e-5, 0.0])
def test_damped_modes_are_no_voice_even_when_harmonic(
    modes: list[tuple[float, float, float]], noise: float
) -> None:
    sound = hit(modes, noise=noise)[RATE // 2 :]
    assert not is_voice(sound, RATE)
    check_dies_away(sound, RATE, tap(1.5))


def test_a_sound_that_swells_again_is_refused() -> None:
    sound = hit(CENTRE)[RATE // 2 :]
    sound[RATE // 2 :] += 3.0 * sound[: sound.size - RATE // 2]
    with pytest.raises(RecordingError, match="swells after its start"):
        check_dies_away(sound, RATE, tap(1.5))


def test_a_beating_pair_does_not_count_as_swelling() -> None:
    sound = hit([(110.0, 1.5, 0.4), (112.0, 1.5, 0.4), (240.0, 0.2, 0.3)])[RATE // 2 :]
    check_dies_away(sound, RATE, tap(1.5))


def test_a_scrap_of_sound_is_refused() -> None:
    with pytest.raises(RecordingError, match="lasts only 20 ms"):
        check_dies_away(np.ones(RATE), RATE, tap(0.02))


@pytest.mark.recordings
def test_no_real_drum_is_a_voice_or_swells() -> None:
    if not (HOME / "kit-a").is_dir():
        go_without("recordings", "the real kits were not downloaded")
    for found in hit_sets():
        for path in found.hits:
            samples, rate = load_recording(path)
            check_dies_away(samples, rate, tap(min(1.0, samples.size / rate)))
