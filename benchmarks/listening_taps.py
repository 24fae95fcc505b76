"""Random synthetic taps with known modes, for the listening benchmarks and tests.

A tap is the sum of modes that start at the onset, all gliding together, plus a contact
pulse of 1 to 3 ms that is over before modes are fitted, plus white noise. It uses none
of the code under test.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
RATE = 48_000.0


@dataclass(frozen=True)
class Truth:
    """What was put into a tap: one entry per mode, amplitudes at the onset."""

    onset_s: float
    frequency_hz: Real
    t60_s: Real
    amplitude: Real
    phase_rad: Real
    glide: float
    glide_rate: float
    noise_sd: float
    rate: float = RATE
    contact_s: float = 0.002
    pair: tuple[int, int] | None = None
    extra: dict[str, float] = field(default_factory=dict)


def tap_signal(truth: Truth, length_s: float) -> Real:
    """The noiseless modes of a tap, silent before the onset."""
    t = np.arange(round(length_s * truth.rate)) / truth.rate - truth.onset_s
    on = t >= 0.0
    late = t[on]
    tau = late + truth.glide * -np.expm1(-truth.glide_rate * late) / truth.glide_rate
    x = np.zeros(len(t))
    for f, t60, size, phase in zip(
        truth.frequency_hz, truth.t60_s, truth.amplitude, truth.phase_rad, strict=True
    ):
        decay = np.exp(-np.log(1000.0) / t60 * late)
        x[on] += size * decay * np.cos(2.0 * np.pi * f * tau + phase)
    return x


def contact_pulse(truth: Truth, length_s: float, rng: np.random.Generator) -> Real:
    """The stick's own sound: a half sine with some click noise on it."""
    t = np.arange(round(length_s * truth.rate)) / truth.rate - truth.onset_s
    on = (t >= 0.0) & (t < truth.contact_s)
    x = np.zeros(len(t))
    shape = np.sin(np.pi * t[on] / truth.contact_s)
    loud = float(np.max(truth.amplitude))
    x[on] = loud * shape * (0.5 + 0.3 * rng.standard_normal(int(on.sum())))
    return x


def random_tap(
    rng: np.random.Generator,
    snr_db: float,
    glide_top: float = 0.025,
    modes: int | None = None,
    pair: bool = False,
    length_s: float = 1.1,
) -> tuple[Real, Truth]:
    """One tap: isolated modes at least 20 Hz apart, or with ``pair`` one split pair.

    ``snr_db`` is the loudest mode's power at the onset over the noise power, full band.
    """
    count = modes if modes is not None else int(rng.integers(2, 9))
    frequency = _spaced(rng, count, 80.0, 900.0, 20.0)
    t60 = rng.uniform(0.2, 1.0, count)
    level_db = -rng.uniform(0.0, 20.0, count)
    level_db[rng.integers(count)] = 0.0
    which = None
    if pair:
        which = (0, 1)
        frequency = _spaced(rng, count, 120.0, 900.0, 45.0)
        split = np.exp(rng.uniform(np.log(0.5), np.log(12.0)))
        frequency = np.concatenate([[frequency[0] + split], frequency])
        t60 = np.concatenate([[t60[0] * np.exp(0.15 * rng.standard_normal())], t60])
        level_db[0] = max(level_db[0], -10.0)
        level_db = np.concatenate([[level_db[0] - rng.uniform(-6.0, 12.0)], level_db])
    amplitude = 0.3 * 10.0 ** ((level_db - level_db.max()) / 20.0)
    phase = rng.uniform(-np.pi, np.pi, len(frequency))
    truth = Truth(
        onset_s=0.35 + rng.uniform(0.0, 0.01),
        frequency_hz=frequency,
        t60_s=t60,
        amplitude=amplitude,
        phase_rad=phase,
        glide=rng.uniform(0.0, glide_top),
        glide_rate=float(2.0 * np.log(1000.0) / t60.mean() * np.exp(0.3 * rng.standard_normal())),
        noise_sd=float(amplitude.max() / np.sqrt(2.0) * 10.0 ** (-snr_db / 20.0)),
        contact_s=rng.uniform(0.001, 0.003),
        pair=which,
    )
    x = tap_signal(truth, length_s) + contact_pulse(truth, length_s, rng)
    return x + truth.noise_sd * rng.standard_normal(len(x)), truth


def _spaced(rng: np.random.Generator, count: int, low: float, high: float, apart: float) -> Real:
    while True:
        f = np.sort(rng.uniform(low, high, count))
        if count == 1 or np.min(np.diff(f)) >= apart:
            return np.asarray(rng.permutation(f))
