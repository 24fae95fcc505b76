"""How loud the noise is at each frequency, from the sound before the strike.

Levels are variances per decimated sample, scaled so that white noise of variance v at
the decimated rate has the level v at every frequency.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.filters import decimate_valid
from hoopwise.listen.window import decimator

Real = NDArray[np.float64]


@dataclass(frozen=True)
class Noise:
    """Noise level over frequency; ``known`` is False without sound before the strike."""

    frequency_hz: Real
    level: Real
    known: bool

    def at(self, frequency_hz: Real) -> Real:
        """Level at the given frequencies (Hz), linear between the stored ones."""
        return np.interp(frequency_hz, self.frequency_hz, self.level)


def noise_before(x: Real, rate: float, onset: float, keep_s: float = 0.3) -> Noise:
    """Noise level from up to ``keep_s`` before the onset (a sample index).

    Too little sound before the strike (under 40 ms) gives level 0, ``known`` False.
    """
    taps, step = decimator(rate)
    half = len(taps) // 2
    stop = int(onset - 0.002 * rate)
    start = max(0, int(onset - keep_s * rate))
    count = (stop - start - 2 * half) // step
    if count * step < 0.04 * rate:
        return Noise(np.array([0.0]), np.array([0.0]), known=False)
    y = decimate_valid(x[start:stop], taps, step, half, count)
    return noise_level(y, rate / step)


def noise_level(y: Real, rate_hz: float, segment_s: float = 0.064) -> Noise:
    """Averaged periodogram of ``y`` (decimated samples), as a Noise level."""
    size = min(len(y), round(segment_s * rate_hz))
    hop = max(1, size // 2)
    taper = np.hanning(size + 2)[1:-1]
    starts = range(0, len(y) - size + 1, hop)
    pieces = np.stack([y[s : s + size] for s in starts])
    pieces = (pieces - pieces.mean(axis=1, keepdims=True)) * taper
    power = np.mean(np.abs(np.fft.rfft(pieces, axis=1)) ** 2, axis=0) / np.sum(taper**2)
    # neighbouring bins are averaged: a level, not a line spectrum, is wanted
    level = np.convolve(np.pad(power, 2, mode="reflect"), np.ones(5) / 5.0, mode="valid")
    frequency_hz = np.asarray(np.fft.rfftfreq(size, 1.0 / rate_hz), dtype=np.float64)
    return Noise(frequency_hz, level, known=True)
