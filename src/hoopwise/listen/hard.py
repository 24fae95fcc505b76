"""Modes of a hard hit, whose glide is too large and whose modes are too many for one fit.

The loudest low mode is tracked through the hit; its tension sets a clock for all modes,
f(t) = f0 sqrt(1 + k A(t)^2). On that clock every spectral peak is modelled in its own
band, by one or two damped exponentials.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.bands import Band, band, peaks
from hoopwise.listen.noise import Noise
from hoopwise.listen.poles import Poles, esprit, polish, signal_space
from hoopwise.listen.search import early_taper
from hoopwise.listen.track import Track, follow, tension_clock
from hoopwise.listen.types import Mode
from hoopwise.listen.window import TOP_HZ, Window
from hoopwise.units import DECAY_60_DB

Real = NDArray[np.float64]

DEPTH_DB: Final = 45.0
"""Peaks further below the loudest are not listed: they may be its skirts."""
APART_HZ: Final = 10.0
MOST: Final = 16
GAIN: Final = 4.0
"""A second exponential must cut what is left over by this factor."""


def modes_of_hard_hit(window: Window, noise: Noise) -> list[Mode]:
    """Modes in a window of a hard hit, growing in frequency."""
    skip = len(window.edge)
    y, t = window.y[skip:], window.t_s[skip:]
    track = loudest_track(window, y, t)
    clock = t if track is None else tension_clock(t, track)
    carriers = _peaks_on_clock(y, t, clock, window, noise)
    modes: list[Mode] = []
    for carrier in carriers:
        slow = band(y, t, carrier, clock)
        if slow is not None:
            modes += _modes_of_band(slow, carriers)
    return sorted(modes, key=lambda mode: mode.frequency_hz)


def loudest_track(window: Window, y: Real, t: Real) -> Track | None:
    """Track of the loudest mode between 35 and 600 Hz; None if it does not glide down."""
    size = 4 * len(y)
    power = np.abs(np.fft.rfft(y * early_taper(len(y)), size)) ** 2
    spacing = window.rate_hz / size
    low, high = int(35.0 / spacing), int(600.0 / spacing)
    top = (low + int(np.argmax(power[low:high]))) * spacing
    track = follow(y, t, top, float(np.clip(0.12 * top, 6.0, 16.0)))
    if track is None or not 0.0 < track.rise_hz < 0.5 * track.frequency_hz:
        return None
    return track


def _peaks_on_clock(y: Real, t: Real, clock: Real, window: Window, noise: Noise) -> list[float]:
    """Peaks (Hz) of the spectrum after the glide has been undone."""
    even = np.interp(np.linspace(clock[0], clock[-1], len(t)), clock, y)
    taper = early_taper(len(t))
    size = 1 << int(np.ceil(np.log2(4 * len(t))))
    power = np.abs(np.fft.rfft(even * taper, size)) ** 2 / float(np.sum(taper**2))
    rate = (len(t) - 1) / float(clock[-1] - clock[0])
    grid = np.asarray(rate / size * np.arange(len(power)), dtype=np.float64)
    power = np.where((grid >= 30.0) & (grid <= TOP_HZ), power, 0.0)
    least = np.maximum(16.0 * noise.at(grid), power.max() * 10.0 ** (-DEPTH_DB / 10.0))
    return peaks(power, rate / size, APART_HZ, least)[:MOST]


def _modes_of_band(slow: Band, carriers: list[float]) -> list[Mode]:
    """The modes nearer to this band's carrier than to any other peak."""
    space = signal_space(slow.z, 4)
    one = _fitted(slow, space, 3)
    two = _fitted(slow, space, 4)
    poles = two if one.rss > GAIN * two.rss else one
    sd = decay_sd(slow, poles)
    loud = np.abs(poles.amplitude)
    modes: list[Mode] = []
    for s, a, c in zip(poles.s, sd, poles.amplitude, strict=True):
        f = slow.carrier_hz + float(s.imag) / (2.0 * np.pi)
        own = abs(f - slow.carrier_hz) <= 0.5 * APART_HZ
        nearest = min(carriers, key=lambda g: abs(g - f)) == slow.carrier_hz
        t60 = DECAY_60_DB / -float(s.real)
        sure = abs(c) > 0.03 * loud.max() and a < -float(s.real) and 0.05 <= t60 <= 12.0
        if own and nearest and sure:
            modes.append(
                Mode(
                    frequency_hz=f,
                    frequency_sd_hz=float(a) / (2.0 * np.pi),
                    t60_s=t60,
                    t60_sd_s=t60 * float(a) / -float(s.real),
                    amplitude=float(abs(c)),
                    amplitude_sd=float(abs(c) * a / -s.real),
                    phase_rad=float(np.angle(c)),
                )
            )
    return modes


def _fitted(slow: Band, space: NDArray[np.complex128], order: int) -> Poles:
    return polish(slow.z, slow.t_s, esprit(space, order, 1.0 / slow.rate_hz), steps=4)


def decay_sd(slow: Band, poles: Poles) -> Real:
    """Standard deviation of each decay rate (1/s), from what the band leaves over."""
    basis = np.exp(np.multiply.outer(slow.t_s, poles.s))
    slope = basis * (slow.t_s[:, None] * poles.amplitude)
    rows = np.concatenate([basis, slope], axis=1)
    k = len(poles.s)
    spare = max(1, len(slow.z) - 2 * k)
    inverse = np.linalg.pinv(rows.conj().T @ rows)
    variance = np.real(np.diag(inverse))[k:] * poles.rss / spare / 2.0
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
