"""The glide of a tap: a struck head is tighter, so it starts sharp and settles.

All modes share theta = 2 pi f tau(t), tau = t + g (1 - exp(-b t)) / b: the frequency
starts a fraction g above f and settles at the rate b (1/s). Tension rises with the
energy in the head (Kirchhoff and Carrier's string, as in Fletcher and Rossing, The
Physics of Musical Instruments), so b is near the rate at which energy decays.
"""

from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from hoopwise.listen.bands import band

Real = NDArray[np.float64]

GLIDE_SD: Final = 0.02
"""Prior standard deviation of g for a tap: 2 %."""
RANK_ROWS: Final = 16
LOG_RATE_SD: Final = 0.5
"""Prior standard deviation of ln b about the energy decay rate of the loudest mode."""


def warped(t_s: Real, g: float, b: float) -> Real:
    """Warped time tau(t) (s): a gliding mode is a steady one on this clock."""
    return t_s + g * settling(t_s, b)


def settling(t_s: Real, b: float) -> Real:
    """(1 - exp(-b t)) / b (s), the derivative of warped time by g."""
    # not expm1: it is slow, and 1e-16 s is no error for a clock
    return (1.0 - np.exp(-b * t_s)) / b


def settling_slope(t_s: Real, b: float) -> Real:
    """Derivative of ``settling`` by ln b (s)."""
    fall = np.exp(-b * t_s)
    return t_s * fall - (1.0 - fall) / b


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
    smooth, t = _slowed(y, t_s, rate, top_hz)
    size = 1 << int(np.ceil(np.log2(len(smooth))))
    lowest = int(40.0 * (t[1] - t[0]) * size)
    taper = np.hanning(len(smooth) + 2)[1:-1]
    steps = np.linspace(0.0, 1.0, len(t))
    candidates = _candidates()
    settled = {b: settling(t, b) for b in {b for _, b in candidates}}
    even = np.empty((len(candidates), len(t)))
    for row, (g, b) in zip(even, candidates, strict=True):
        tau = t + g * settled[b]
        row[:] = np.interp(tau[0] + (tau[-1] - tau[0]) * steps, tau, smooth)
    even *= taper
    lines = np.fft.rfft(even, size, axis=1)[:, lowest:]
    power = lines.real**2 + lines.imag**2
    sharpness = np.einsum("ij,ij->i", power, power) / (power.sum(axis=1) ** 2 + 1e-300)
    best = 0
    for i, score in enumerate(sharpness):
        if score > 1.02 * sharpness[best]:
            best = i
    return candidates[best]


def _slowed(y: Real, t_s: Real, rate: float, top_hz: float) -> tuple[Real, Real]:
    """Samples at half the rate without what lies above ``top_hz``, and their times."""
    size = 4 * ((len(y) + 3) // 4)
    spectrum = np.fft.rfft(y, size)
    spectrum[int(top_hz / rate * size) :] = 0.0
    slow = np.fft.irfft(spectrum[: size // 4 + 1], size // 2)[: (len(y) + 1) // 2]
    return slow, t_s[0] + 2.0 / rate * np.arange(len(slow))


def band_glide(y: Real, t_s: Real, carriers_hz: list[float], noise: float) -> tuple[float, float]:
    """Glide (g, b) under which narrow bands come nearest to sums of three exponentials.

    Unlike ``coarse_glide`` it is not misled by the beat of a split pair. Each band's
    Hankel matrix has rank three on the right clock; its power beyond that is the score.
    """
    best, best_score = (0.0, 15.0), np.inf
    for g, b in _fine_candidates():
        tau = warped(t_s, g, b)
        score = 0.0
        for carrier in carriers_hz:
            z = _narrow(y, t_s, carrier, tau)
            rows = sliding_window_view(z, RANK_ROWS).T
            values = np.linalg.eigvalsh(rows @ rows.conj().T)
            score += len(z) * float(np.log(values[:-3].sum() / rows.shape[1] + noise))
        if score < best_score:
            best, best_score = (g, b), score
    return best


def _fine_candidates() -> list[tuple[float, float]]:
    sizes = np.arange(0.003, 0.036, 0.003)
    return [(0.0, 15.0)] + [(float(g), b) for b in (10.0, 18.0, 32.0) for g in sizes]


def _narrow(y: Real, t_s: Real, carrier_hz: float, tau: Real) -> NDArray[np.complex128]:
    slow = band(y, t_s, carrier_hz, tau)
    return slow.z if slow is not None else np.zeros(RANK_ROWS + 4, dtype=np.complex128)
