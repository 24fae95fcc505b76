"""Narrow bands of a tap around its spectral peaks, slowed down and freed of the glide.

A band is the window multiplied by a carrier that glides as the head does, low-passed in
valid-only mode and decimated to about 250 complex samples per second.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.filters import decimate_valid, lowpass

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

BAND_HZ: Final = 250.0
PASS_HZ: Final = 55.0
"""A band carries modes this far from its carrier unharmed."""


@dataclass(frozen=True)
class Band:
    """A slowed-down stretch: ``z ~ sum c exp((2 pi i df - a) t)``, df from the carrier."""

    carrier_hz: float
    z: Complex
    t_s: Real
    rate_hz: float


def band(y: Real, t_s: Real, carrier_hz: float, clock_s: Real) -> Band | None:
    """Complex band of evenly spaced samples around a carrier that runs on ``clock_s``.

    ``clock_s`` is the warped time of a gliding tap, or ``t_s`` itself without a glide.
    ``z`` holds the analytic signal (a real cosine of amplitude A gives modulus A). None
    when the stretch is too short for the filter and 16 outputs.
    """
    rate = (len(t_s) - 1) / (t_s[-1] - t_s[0])
    step = max(1, round(rate / BAND_HZ))
    slow = rate / step
    taps = lowpass(0.5 * slow / rate, (slow - 2.0 * PASS_HZ) / rate, 60.0)
    half = len(taps) // 2
    count = (len(y) - 1 - 2 * half) // step + 1
    if count < 16:
        return None
    shifted = 2.0 * y * np.exp(-2j * np.pi * carrier_hz * clock_s)
    z = decimate_valid(shifted, taps, step, half, count)
    return Band(carrier_hz, z, t_s[half::step][:count], slow)


def peaks(power: Real, spacing_hz: float, apart_hz: float, floor: Real) -> list[float]:
    """Frequencies (Hz) of spectral peaks above ``floor``, loudest first, kept apart.

    Parameters
    ----------
    power : (n,) power spectrum on the grid ``spacing_hz * arange(n)``
    apart_hz : float
        A peak closer than this to a louder one is not listed.
    floor : (n,) power that a peak must exceed
    """
    inner = power[1:-1]
    top = (inner >= power[:-2]) & (inner > power[2:]) & (inner > floor[1:-1])
    found: list[float] = []
    candidates = np.flatnonzero(top) + 1
    for i in candidates[np.argsort(power[candidates])[::-1]]:
        left, mid, right = np.log(power[i - 1 : i + 2] + 1e-300)
        bend = left - 2.0 * mid + right
        shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
        where = float((i + shift) * spacing_hz)
        if all(abs(where - f) >= apart_hz for f in found):
            found.append(where)
    return found
