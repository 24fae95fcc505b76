"""Joint fit of many taps against synthetic drums and the Cramer-Rao bound."""

import numpy as np
import pytest

from benchmarks.joint_synth import joint_bound, make_drum, sound
from hoopwise.errors import RecordingError
from hoopwise.listen import joint_modes


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


def test_refuses_one_tap() -> None:
    with pytest.raises(RecordingError, match="two taps or more"):
        joint_modes([(np.zeros(48000), 48000.0)], onsets=[0.1])
