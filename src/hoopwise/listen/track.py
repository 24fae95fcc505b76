"""Follows one mode of a hit: its amplitude and its frequency from moment to moment.

The mode is brought to 0 Hz by a carrier that glides as it does, low-passed, and its
phase fitted by the law  f(t) = f0 sqrt(1 + k A(t)^2):  the tension, and so the square of
the frequency, rises with the energy in the head (Kirchhoff and Carrier's string carried
over to the membrane). The carrier is then corrected and the fit repeated.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.filters import decimate_valid, lowpass

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
    frequency_hz: float
    """Settled frequency f0."""
    sd_hz: float
    """Standard deviation of f0 from what the model leaves over."""
    rise_hz: float
    """k A^2 at the onset: how far above f0 the hit starts."""
    decay: float
    """Decay rate of the mode, 1/s, weighted towards its loud part."""
    level: float
    """Amplitude at the onset."""
    k: float
    """Relative tension per squared amplitude."""

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
    f0, k = f, 0.0
    carrier = 2.0 * np.pi * f * t_s
    track = None
    for _ in range(LAPS):
        slow = _slow(y, t_s, carrier, reach_hz)
        if slow is None:
            return None
        track = _phase_fit(t_s[slow.at], slow.z, carrier[slow.at], f0, k)
        f0, k = track.frequency_hz, track.k
        carrier = 2.0 * np.pi * f0 * tension_clock(t_s, track)
    return track


def tension_clock(t_s: Real, track: Track) -> Real:
    """Time (s) that runs as fast as the head is stretched: all modes are steady on it."""
    stretch = np.sqrt(1.0 + track.k * _power_at(t_s, track))
    return np.asarray(t_s[0] + _integral(t_s, stretch))


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


def _phase_fit(t: Real, z: Complex, carrier: Real, f: float, k: float) -> Track:
    """Fit f0 and k of f = f0 sqrt(1 + k A^2) to the phase, one step from (f, k)."""
    a = np.abs(z)
    phase = np.unwrap(np.angle(z)) + carrier
    decay, level = _decay(t, a)
    stretch = np.sqrt(np.maximum(1.0 + k * a * a, 0.5))  # a beat's peak can pass what k allows
    by_f = 2.0 * np.pi * _integral(t, stretch)
    by_k = np.pi * f * _integral(t, a * a / stretch)
    basis = np.stack([np.ones(len(t)), by_f, by_k])
    weighted = basis * a
    target = phase + k * by_k
    solution = np.linalg.lstsq(weighted.T, target * a, rcond=None)[0]
    left = target - solution @ basis
    spare = max(1, len(t) - 3)
    variance = np.linalg.pinv(weighted @ weighted.T) * float(np.sum((a * left) ** 2)) / spare
    f0 = float(solution[1])
    k = float(np.clip(solution[2], -0.05 / level**2, 3.0 / level**2))
    return Track(
        t_s=t,
        amplitude=a,
        left_rad=left,
        frequency_hz=f0,
        sd_hz=float(np.sqrt(variance[1, 1] * _correlation(left * a))),
        rise_hz=f0 * float(np.sqrt(1.0 + k * level**2) - 1.0),
        decay=decay,
        level=level,
        k=k,
    )


def _decay(t: Real, a: Real) -> tuple[float, float]:
    """Decay rate and amplitude at t = 0 from the log envelope, loud parts first."""
    slope, height = np.polyfit(t, np.log(a), 1, w=a)
    return float(np.clip(-slope, 0.5, 150.0)), float(np.exp(height))


def _integral(t: Real, x: Real) -> Real:
    steps = 0.5 * (x[1:] + x[:-1]) * np.diff(t)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _power_at(t_s: Real, track: Track) -> Real:
    """A^2 at any time; before the track its decay is carried backwards."""
    t, a = track.t_s, track.amplitude
    power = np.interp(t_s, t, a * a)
    early = t_s < t[0]
    power[early] = a[0] ** 2 * np.exp(2.0 * track.decay * (t[0] - t_s[early]))
    return power


def _correlation(x: Real) -> float:
    """How many neighbouring samples tell the same: 1 for white, more for slow errors."""
    x = x - x.mean()
    power = float(x @ x)
    if power <= 0.0:
        return 1.0
    rho = float(np.clip(x[1:] @ x[:-1] / power, 0.0, 0.98))
    return (1.0 + rho) / (1.0 - rho)
