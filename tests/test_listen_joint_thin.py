"""The joint fit's sound brought to a lower rate: whole steps and steps of a half."""

import numpy as np
import pytest

from hoopwise.listen.joint.data import Round, thin

RATE_HZ = 4000.0
FREQUENCY_HZ = np.array([200.0, 360.0, 440.0])
DECAY_PER_S = np.array([10.0, 18.0, 30.0])
SIZE = np.array([1.0, 0.5j, 0.3 - 0.2j])


def _modes(times_s: np.ndarray, size: np.ndarray) -> np.ndarray:
    rate = 2j * np.pi * FREQUENCY_HZ - DECAY_PER_S
    return np.real(np.exp(np.multiply.outer(times_s, rate)) @ size)


def _round(samples: np.ndarray, lengths: tuple[int, ...]) -> Round:
    return Round(
        samples=samples,
        lengths=np.array(lengths),
        times_s=0.0025 + np.arange(samples.shape[1]) / RATE_HZ,
        offsets_s=np.zeros(len(samples)),
        noise=np.ones(len(samples)),
        rate_hz=RATE_HZ,
    )


@pytest.mark.parametrize(
    ("high_hz", "rate_hz"),
    [(1100.0, 4000.0), (1050.0, 8000 / 3), (790.0, 2000.0), (630.0, 1600.0), (500.0, 8000 / 6)],
)
def test_modes_pass_unchanged_but_for_the_gain(high_hz: float, rate_hz: float) -> None:
    """Neither what folds back nor a mirror image is left beside the modes."""
    times = 0.0025 + np.arange(1400) / RATE_HZ
    whole = _modes(times, SIZE)
    cut = np.where(np.arange(1400) < 1100, whole, 0.0)
    thinned = thin(_round(np.stack([whole, cut]), (1400, 1100)), high_hz)
    assert thinned.rate_hz == pytest.approx(rate_hz)
    expected = _modes(thinned.times_s, SIZE * thinned.gain(FREQUENCY_HZ, DECAY_PER_S))
    for samples, length in zip(thinned.samples, thinned.lengths, strict=True):
        np.testing.assert_allclose(samples[:length], expected[:length], atol=2e-6)
        assert not samples[length:].any()
    assert thinned.times_s[0] < 0.012  # little is lost of the start


def test_noise_is_known_after_thinning() -> None:
    """White noise comes out as loud as the round says."""
    rng = np.random.default_rng(3)
    noise = rng.standard_normal((20, 4000))
    for high_hz in (1050.0, 790.0, 630.0):
        thinned = thin(_round(noise, (4000,) * 20), high_hz)
        assert float(np.std(thinned.samples)) == pytest.approx(thinned.noise[0], rel=0.02)
