"""The spectrum of a hit, for pictures: levels on a logarithmic grid of frequencies."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

LOWEST_HZ: Final = 30.0
HIGHEST_HZ: Final = 1500.0
POINTS: Final = 400
AFTER_STRIKE_S: Final = 0.005
LENGTH_S: Final = 1.0
FLOOR_DB: Final = -90.0
_FADE_S: Final = 0.01


@dataclass(frozen=True)
class Spectrum:
    """Levels in dB relative to the highest, over a growing grid of frequencies."""

    frequency_hz: NDArray[np.float64]
    level_db: NDArray[np.float64]


def spectrum_of_hit(samples: NDArray[np.float64], rate_hz: float, onset_s: float) -> Spectrum:
    """Spectrum of the ringing after the strike, from 30 to 1500 Hz.

    The window falls off smoothly from just after the strike to its end, so that decaying
    modes show as plain peaks. Each grid point holds the highest level of its interval.
    """
    grid = np.geomspace(LOWEST_HZ, HIGHEST_HZ, POINTS)
    first = max(0, round((onset_s + AFTER_STRIKE_S) * rate_hz))
    x = samples[first : first + round(LENGTH_S * rate_hz)]
    if x.size < 8:
        return Spectrum(grid, np.full(POINTS, FLOOR_DB))
    window = np.cos(0.5 * np.pi * np.arange(x.size) / x.size) ** 2
    fade = min(x.size, round(_FADE_S * rate_hz))
    window[:fade] *= np.sin(0.5 * np.pi * np.arange(fade) / fade) ** 2
    size = 1 << int(np.ceil(np.log2(max(x.size, 4.0 * rate_hz))))
    power = np.abs(np.fft.rfft((x - x.mean()) * window, size)) ** 2
    edges = np.geomspace(LOWEST_HZ, HIGHEST_HZ, 2 * POINTS - 1)[1::2]
    bins = np.ceil(np.concatenate([[LOWEST_HZ], edges]) * size / rate_hz).astype(np.intp)
    peaks = np.maximum.reduceat(power[: int(HIGHEST_HZ * size / rate_hz) + 2], bins)
    level = 10.0 * np.log10(peaks / max(float(peaks.max()), 1e-300) + 1e-300)
    return Spectrum(grid, np.maximum(level, FLOOR_DB))
