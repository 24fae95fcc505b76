"""The sound of one tap: forced and free ringing of every mode, noise, room, mistakes.

A mode answers a force f(t) with  z(t) = int_0^t f(t') exp(i(theta(t) - theta(t')) -
alpha (t - t')) dt', theta' = omega (1 + g exp(-b t)): the pitch starts high by g and
settles. Summed at an eighth of the final rate, since no mode lies above 2 kHz; the
strike's own click is added at the full rate.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve, resample_poly

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

RATE = 48_000
_SLOW = 6_000
PRE_ROLL_S = 0.15
LENGTH_S = 1.05
"""Pre-roll and 0.9 s of sound."""
_FORCE_STEPS = 600
_FADED_DB = 90.0


@dataclass(frozen=True)
class Strike:
    """One strike: when, how long the tip stays, how hard, how much the pitch starts high."""

    onset_s: float
    contact_s: float
    impulse_n_s: float
    sharpness: float
    """Power of the half sine that the force follows; 1.5 is a spring that stiffens."""
    glide: float
    glide_rate: float


def _force_integral(strike: Strike, omega: Complex, times: Array) -> Complex:
    """(modes, times) running integral of f(t) exp(-i theta(t) + alpha t)."""
    t = np.linspace(0.0, strike.contact_s, _FORCE_STEPS)
    force = np.abs(np.sin(np.pi * t / strike.contact_s)) ** strike.sharpness
    force *= strike.impulse_n_s / (force.sum() * (t[1] - t[0]))
    turning = -1j * omega.real[:, None] * _warped(strike, t) + omega.imag[:, None] * t
    integrand = force * np.exp(turning)
    running = np.zeros(integrand.shape, dtype=np.complex128)
    middle = 0.5 * (integrand[:, 1:] + integrand[:, :-1]) * (t[1] - t[0])
    np.cumsum(middle, axis=1, out=running[:, 1:])
    place = np.clip(times / (t[1] - t[0]), 0.0, _FORCE_STEPS - 1.0)
    low = np.minimum(place.astype(int), _FORCE_STEPS - 2)
    part = place - low
    inside: Complex = running[:, low] * (1.0 - part) + running[:, low + 1] * part
    return inside


def _warped(strike: Strike, t: Array) -> Array:
    b = strike.glide_rate
    warped: Array = t + strike.glide * (1.0 - np.exp(-b * t)) / b
    return warped


def ringing(strike: Strike, omega: Complex, gain: Complex) -> Array:
    """Sum of Re[gain z(t)] over the modes, at the slow rate, ``LENGTH_S`` long."""
    count = round(LENGTH_S * _SLOW)
    first = int(np.ceil(strike.onset_s * _SLOW))
    times = np.arange(first, count) / _SLOW - strike.onset_s
    contact = int(np.searchsorted(times, strike.contact_s)) + 1
    out = np.zeros(count)
    lasting = _FADED_DB / 20.0 * np.log(10.0) / omega.imag
    order = np.argsort(lasting)
    pushed = _force_integral(strike, omega, times[:contact])
    warped = _warped(strike, times)
    for block in np.array_split(order, max(len(order) // 6, 1)):
        end = min(max(int(lasting[block].max() * _SLOW), contact), len(times))
        phase = omega.real[block, None] * warped[:end]
        size = np.exp(-omega.imag[block, None] * times[:end])
        driven = gain[block, None] * pushed[block]
        out[first : first + contact] += np.sum(
            (driven * np.exp(1j * phase[:, :contact])).real * size[:, :contact], axis=0
        )
        free = driven[:, -1:]
        after = phase[:, contact:]
        out[first + contact : first + end] += np.sum(
            (free.real * np.cos(after) - free.imag * np.sin(after)) * size[:, contact:], axis=0
        )
    return out


def amplitudes(strike: Strike, omega: Complex, gain: Complex) -> Complex:
    """(modes,) complex amplitudes once the tip has left, referred to the onset.

    The sound is then the sum of Re[amplitude exp(i theta(t) - alpha t)], t from the onset.
    """
    whole = _force_integral(strike, omega, np.array([strike.contact_s]))
    referred: Complex = gain * whole[:, 0]
    return referred


def click(rng: np.random.Generator, strike: Strike, peak: float) -> Array:
    """Noise of the tip itself: a burst of a few milliseconds, weaker for soft tips."""
    t = np.arange(round(0.012 * RATE)) / RATE
    envelope = (t / 4e-4) * np.exp(1.0 - t / 4e-4)
    size = 0.15 * peak * min(1.0, (3e-3 / strike.contact_s) ** 2)
    burst: Array = size * envelope * rng.uniform(-1.0, 1.0, len(t))
    return burst


def room_response(rng: np.random.Generator, t60_s: float) -> Array:
    """Reverberant tail at the slow rate: exponentially decaying noise, unit energy."""
    t = np.arange(round(0.8 * t60_s * _SLOW)) / _SLOW
    tail = rng.normal(size=len(t)) * np.exp(-np.log(1000.0) * t / t60_s)
    tail[: round(4e-3 * _SLOW)] = 0.0
    normed: Array = tail / np.sqrt(np.sum(tail**2))
    return normed


def with_room(dry: Array, response: Array, direct_to_reverberant_db: float) -> Array:
    """The sound with its room, the tail's energy set against that of the direct sound."""
    tail = fftconvolve(dry, response)[: len(dry)]
    wanted = np.sqrt(np.sum(dry**2)) * 10.0 ** (-direct_to_reverberant_db / 20.0)
    wet: Array = dry + tail * wanted / np.sqrt(np.sum(tail**2))
    return wet


def full_rate(slow: Array) -> Array:
    """The same sound at ``RATE``."""
    fast: Array = resample_poly(slow, RATE // _SLOW, 1, window=("kaiser", 9.0))
    return fast
