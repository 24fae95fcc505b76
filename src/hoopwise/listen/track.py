"""Follows one mode of a hit: its amplitude and its frequency from moment to moment.

The mode is brought to 0 Hz by a carrier that glides as it does, low-passed, and its
phase fitted by  phase = p0 + 2 pi [f0 t + k integral A^2 dt]:  the head is tightened in
proportion to the energy in it, A^2. The carrier is then corrected and the fit repeated.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.filters import decimate_valid, lowpass

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LAPS: Final = 5
DEPTH: Final = 10.0 ** (-35.0 / 20.0)
"""A mode is followed until it has sunk this far below its top (35 dB)."""


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
    f0, bend = f, np.zeros(len(y))
    track = None
    for _ in range(LAPS):
        carrier = 2.0 * np.pi * f0 * t_s + bend
        slow = _slow(y, t_s, carrier, reach_hz)
        if slow is None:
            return None
        track, k = _phase_fit(t_s[slow.at], slow.z, carrier[slow.at])
        f0 = track.frequency_hz
        bend = 2.0 * np.pi * k * _energy_at(t_s, track)
    return track


def _slow(y: Real, t_s: Real, carrier: Real, reach_hz: float) -> _Slow | None:
    rate = (len(t_s) - 1) / (t_s[-1] - t_s[0])
    step = max(1, int(rate / (8.0 * reach_hz)))
    taps = lowpass(reach_hz / rate, reach_hz / rate, 50.0)
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


def _phase_fit(t: Real, z: Complex, carrier: Real) -> tuple[Track, float]:
    a = np.abs(z)
    phase = np.unwrap(np.angle(z)) + carrier
    decay, level = _decay(t, a)
    basis = np.stack([np.ones(len(t)), 2.0 * np.pi * t, 2.0 * np.pi * _energy(t, a)])
    weighted = basis * a
    solution = np.linalg.lstsq(weighted.T, phase * a, rcond=None)[0]
    left = phase - solution @ basis
    spare = max(1, len(t) - 3)
    variance = np.linalg.pinv(weighted @ weighted.T) * float(np.sum((a * left) ** 2)) / spare
    k = float(solution[2])
    return (
        Track(
            t_s=t,
            amplitude=a,
            left_rad=left,
            frequency_hz=float(solution[1]),
            sd_hz=float(np.sqrt(variance[1, 1] * _correlation(left * a))),
            rise_hz=k * level**2,
            decay=decay,
            level=level,
        ),
        k,
    )


def _decay(t: Real, a: Real) -> tuple[float, float]:
    """Decay rate and amplitude at t = 0 from the log envelope, loud parts first."""
    slope, height = np.polyfit(t, np.log(a), 1, w=a)
    return float(np.clip(-slope, 0.5, 150.0)), float(np.exp(height))


def _energy(t: Real, a: Real) -> Real:
    power = a * a
    steps = 0.5 * (power[1:] + power[:-1]) * np.diff(t)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _energy_at(t_s: Real, track: Track) -> Real:
    """Integral of A^2 at any time; before the track the decay is carried backwards."""
    t, a = track.t_s, track.amplitude
    energy = np.interp(t_s, t, _energy(t, a))
    early = t_s < t[0]
    d = 2.0 * track.decay
    energy[early] = -(a[0] ** 2) * np.expm1(d * (t[0] - t_s[early])) / d
    return energy


def _correlation(x: Real) -> float:
    """How many neighbouring samples tell the same: 1 for white, more for slow errors."""
    x = x - x.mean()
    power = float(x @ x)
    if power <= 0.0:
        return 1.0
    rho = float(np.clip(x[1:] @ x[:-1] / power, 0.0, 0.98))
    return (1.0 + rho) / (1.0 - rho)
