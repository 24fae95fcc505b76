"""Two poles of one line are one mode, whether or not the pair's other one lies beside them."""

from dataclasses import replace

import numpy as np
import pytest

from hoopwise.infer.taps.one_line import lines_merged
from hoopwise.listen.types import JointModes


def modes(hz: list[float]) -> JointModes:
    rng = np.random.default_rng(1)
    k = len(hz)
    shape = (6, k, k)
    root = rng.normal(size=shape) + 1j * rng.normal(size=shape)
    poles = rng.normal(size=(2 * k, 2 * k))
    return JointModes(
        frequency_hz=np.array(hz),
        frequency_sd_hz=np.full(k, 0.01),
        t60_s=np.full(k, 0.9),
        t60_sd_s=np.full(k, 0.01),
        amplitude=rng.normal(size=(6, k)) + 1j * rng.normal(size=(6, k)),
        amplitude_cov=root @ np.swapaxes(root.conj(), 1, 2),
        glide=np.zeros(6),
        glide_rate=10.0,
        onset_s=np.zeros(6),
        pole_cov=poles @ poles.T,
        amplitude_by_pole=rng.normal(size=(6, k, 2 * k)).astype(complex),
    )


def test_a_line_of_two_poles_beside_a_third_is_one() -> None:
    joint = modes([343.8, 348.35, 348.39, 440.0])
    one = lines_merged(joint)
    assert len(one.frequency_hz) == 3
    assert 348.35 < one.frequency_hz[1] < 348.39
    assert np.allclose(one.amplitude[:, 1], joint.amplitude[:, 1:3].sum(axis=1))
    # The sum's own variance, and the poles' errors, follow.
    sums = joint.amplitude_cov[:, 1:3, 1:3].sum(axis=(1, 2))
    assert np.allclose(one.amplitude_cov[:, 1, 1], sums)
    assert one.pole_cov.shape == (6, 6) and one.amplitude_by_pole.shape == (6, 3, 6)
    assert np.all(np.linalg.eigvalsh(one.pole_cov) > 0)
    kept = [0, 3]
    assert np.allclose(one.amplitude[:, [0, 2]], joint.amplitude[:, kept])


@pytest.mark.parametrize("hz", [[200.0, 348.35, 348.39], [343.8, 348.3, 348.9]])
def test_a_close_pair_by_itself_and_a_wide_one_stay(hz: list[float]) -> None:
    assert len(lines_merged(modes(hz)).frequency_hz) == 3


def test_poles_that_their_errors_do_not_tell_apart_are_one_line() -> None:
    joint = modes([343.8, 348.2, 348.5])
    assert len(lines_merged(joint).frequency_hz) == 3
    unsure = replace(joint, frequency_sd_hz=np.array([0.01, 1.1, 0.9]))
    assert len(lines_merged(unsure).frequency_hz) == 2
    # nor does any error make one line of what lies wider apart than a line
    wide = replace(modes([343.8, 348.0, 349.0]), frequency_sd_hz=np.array([0.01, 3.0, 3.0]))
    assert len(lines_merged(wide).frequency_hz) == 3


def test_poles_heard_alike_at_every_rod_are_one_line_and_a_pair_is_not() -> None:
    joint = modes([200.0, 348.2, 349.0])
    alike, turn = joint.amplitude.copy(), 2 * np.pi * np.arange(6) / 6
    alike[:, 2] = (0.4 - 0.2j) * alike[:, 1]
    assert len(lines_merged(replace(joint, amplitude=alike)).frequency_hz) == 2
    # wider apart than a line they stay, however alike
    far = replace(joint, amplitude=alike, frequency_hz=np.array([200.0, 348.2, 349.4]))
    assert len(lines_merged(far).frequency_hz) == 3
    pair = joint.amplitude.copy()
    pair[:, 1], pair[:, 2] = np.cos(turn), np.sin(turn)
    assert len(lines_merged(replace(joint, amplitude=pair)).frequency_hz) == 3
