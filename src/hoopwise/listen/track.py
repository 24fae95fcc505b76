"""Follows one mode of a hit: its amplitude and its frequency from moment to moment.

The mode is brought to 0 Hz by a carrier that glides as it does, low-passed, and the law of
its glide fitted to the phase that is left. The carrier is then corrected and the fit
repeated.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.filters import decimate_valid, lowpass
from hoopwise.listen.phase_law import Law, fit_law, integral

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LAPS: Final = 5
SKIRT: Final = 2.4
"""Transition of the band filter over its half width."""
DEPTH: Final = 10.0 ** (-30.0 / 20.0)
"""A mode is followed until it has sunk this far below its top (30 dB)."""


@dataclass(frozen=True)
class Track:
    """One mode over time; times count from the onset."""

    t_s: Real
    amplitude: Real
    left_rad: Real
    """Phase that the model leaves over."""
    law: Law
    sd_hz: float
    """Standard deviation of the settled frequency, from what the law leaves over."""
    decay: float
    """Decay rate of the mode, 1/s, weighted towards its loud part."""
    level: float
    """Amplitude at the onset."""

    @property
    def frequency_hz(self) -> float:
        """Settled frequency f0."""
        return self.law.frequency_hz

    @property
    def rise_hz(self) -> float:
        """How far above f0 the hit starts, from the law carried back to the onset."""
        return self._rise_hz(0.0, self.level)

    @property
    def first_rise_hz(self) -> float:
        """How far above f0 the mode is where the track begins."""
        return self._rise_hz(float(self.t_s[0]), float(self.amplitude[0]))

    def _rise_hz(self, t_s: float, amplitude: float) -> float:
        stretch = self.law.stretch(np.array([t_s]), np.array([amplitude**2]))
        return self.frequency_hz * float(stretch[0] - 1.0)

    def phase_rms(self) -> float:
        """Phase that the law leaves over, rms weighted by power, rad."""
        power = self.amplitude**2
        return float(np.sqrt(np.sum(power * self.left_rad**2) / np.sum(power)))


@dataclass(frozen=True)
class _Slow:
    """The slowed-down mode: where it is sampled and its complex envelope."""

    at: NDArray[np.intp]
    z: Complex


def follow(y: Real, t_s: Real, f: float, reach_hz: float) -> Track | None:
    """Track the mode near ``f`` Hz through evenly spaced samples ``y`` at times ``t_s``.

    ``reach_hz`` is the half width of the band; other modes must lie outside it. None
    when the mode cannot be followed for ten outputs of the band filter.
    """
    law = Law(f)
    carrier = 2.0 * np.pi * f * t_s
    track = None
    for _ in range(LAPS):
        slow = _slow(y, t_s, carrier, reach_hz)
        if slow is None:
            return None
        track = _tracked(t_s[slow.at], slow.z, law)
        law = track.law
        carrier = 2.0 * np.pi * law.frequency_hz * tension_clock(t_s, track)
    return track


def _tracked(t: Real, z: Complex, law: Law) -> Track:
    """The track of a mode that was slowed down by ``law``, and the law corrected."""
    a = np.abs(z)
    decay, level = _decay(t, a)
    fit = fit_law(t, a, np.unwrap(np.angle(z)), law, decay, level)
    return Track(
        t_s=t,
        amplitude=a,
        left_rad=fit.left_rad,
        law=fit.law,
        sd_hz=fit.sd_hz,
        decay=decay,
        level=level,
    )


def tension_clock(t_s: Real, track: Track) -> Real:
    """Time (s) that runs as fast as the head is stretched: all modes are steady on it."""
    stretch = track.law.stretch(t_s, _power_at(t_s, track))
    return np.asarray(t_s[0] + integral(t_s, stretch))


def _slow(y: Real, t_s: Real, carrier: Real, reach_hz: float) -> _Slow | None:
    rate = (len(t_s) - 1) / (t_s[-1] - t_s[0])
    step = max(1, int(rate / (8.0 * reach_hz)))
    taps = lowpass(reach_hz / rate, SKIRT * reach_hz / rate, 45.0)
    half = len(taps) // 2
    count = (len(y) - 1 - 2 * half) // step + 1
    if count < 10:
        return None
    z = decimate_valid(2.0 * y * np.exp(-1j * carrier), taps, step, half, count)
    faint = np.abs(z) <= np.abs(z).max() * DEPTH
    # a beat may touch zero; only a lasting silence ends the track
    heard = int(np.max(np.flatnonzero(~faint), initial=0)) + 1
    first = int(np.argmax(faint)) if faint.any() else heard
    heard = min(heard, first)
    if heard < 10:
        return None
    return _Slow(half + step * np.arange(heard), z[:heard])


def _decay(t: Real, a: Real) -> tuple[float, float]:
    """Decay rate and amplitude at t = 0 from the log envelope, loud parts first."""
    slope, height = np.polyfit(t, np.log(a), 1, w=a)
    return float(np.clip(-slope, 0.5, 150.0)), float(np.exp(height))


def _power_at(t_s: Real, track: Track) -> Real:
    """A^2 at any time; before the track its decay is carried backwards."""
    t, a = track.t_s, track.amplitude
    power = np.interp(t_s, t, a * a)
    early = t_s < t[0]
    power[early] = a[0] ** 2 * np.exp(2.0 * track.decay * (t[0] - t_s[early]))
    return power
