"""The glide of a tap: a struck head is tighter, so it starts sharp and settles.

All modes share theta = 2 pi f tau(t), tau = t + g (1 - exp(-b t)) / b: the frequency
starts a fraction g above f and settles at the rate b (1/s). Tension rises with the
energy in the head (Kirchhoff and Carrier's string, as in Fletcher and Rossing, The
Physics of Musical Instruments), so b is near the rate at which energy decays.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

GLIDE_SD: Final = 0.02
"""Prior standard deviation of g for a tap: 2 %."""
LOG_RATE_SD: Final = 0.5
"""Prior standard deviation of ln b about the energy decay rate of the loudest mode."""


def warped(t_s: Real, g: float, b: float) -> Real:
    """Warped time tau(t) (s): a gliding mode is a steady one on this clock."""
    return t_s + g * settling(t_s, b)


def settling(t_s: Real, b: float) -> Real:
    """(1 - exp(-b t)) / b (s), the derivative of warped time by g."""
    return -np.expm1(-b * t_s) / b


def settling_slope(t_s: Real, b: float) -> Real:
    """Derivative of ``settling`` by ln b (s)."""
    return t_s * np.exp(-b * t_s) - settling(t_s, b)


def _candidates() -> list[tuple[float, float]]:
    sizes = (0.003, 0.006, 0.01, 0.015, 0.02, 0.027, 0.035, 0.05)
    return [(0.0, 15.0)] + [(g, b) for b in (8.0, 18.0, 40.0) for g in sizes]


def coarse_glide(y: Real, t_s: Real, top_hz: float = 900.0) -> tuple[float, float]:
    """Glide (g, b) whose clock makes the spectrum of ``y`` sharpest, from a small grid.

    Parameters
    ----------
    y : (n,) evenly spaced samples
    t_s : (n,) times from the onset

    Returns
    -------
    (g, b): fraction, 1/s. A glide must sharpen the spectrum clearly, else g = 0.
    """
    rate = (len(t_s) - 1) / (t_s[-1] - t_s[0])
    size = 1 << int(np.ceil(np.log2(2 * len(y))))
    bins = slice(int(40.0 / rate * size), int(top_hz / rate * size))
    spectrum = np.fft.rfft(y, size)
    spectrum[bins.stop :] = 0.0
    smooth = np.fft.irfft(spectrum, size)[: len(y)]
    taper = np.hanning(len(y) + 2)[1:-1]
    best, best_score = (0.0, 15.0), 0.0
    for g, b in _candidates():
        tau = warped(t_s, g, b)
        even = np.interp(np.linspace(tau[0], tau[-1], len(t_s)), tau, smooth)
        power = np.abs(np.fft.rfft(even * taper, size)[bins]) ** 2
        score = float(np.sum(power**2) / np.sum(power) ** 2)
        if score > best_score * (1.0 if best_score == 0.0 else 1.02):
            best, best_score = (g, b), score
    return best
