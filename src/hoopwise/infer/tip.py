"""What the tip does to a tap: the spectrum of its push, and how long it stays on the head.

A tip pushes about as a half sine to the power 1.5 (a spring that stiffens as it is pressed,
Hertz). With x = frequency x contact time the push falls to zero near x = 1.7. Below x = 1.2
tips of other shapes differ from it by one number only, the log of the contact time; beyond,
strength and even sign of a mode stray from tap to tap and say nothing.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.round_data import GroupData

FloatArray = NDArray[np.float64]

UNKNOWN = 3.0
"""Relative scatter of a strength that is not known: a factor of e^3."""
CONTACT_SD = 0.12
"""Log scatter of the contact time from tap to tap."""
CONTACTS_S = np.geomspace(1.0e-3, 10.0e-3, 60)
TYPICAL_CONTACT_S = 0.004
_PLACE_SCATTER = 0.04
"""What place alone scatters a strength by, typically."""
_POWER = 1.5


@lru_cache(maxsize=1)
def _log_spectrum() -> tuple[FloatArray, FloatArray]:
    """Steps of x and the log of the push's spectrum, up to its first zero."""
    t = np.linspace(-0.5, 0.5, 1201)
    push = np.cos(np.pi * t) ** _POWER
    x = np.linspace(0.0, 1.68, 400)
    spectrum = np.cos(2 * np.pi * np.outer(x, t)) @ push / push.sum()
    return x, np.log(np.maximum(spectrum, 1e-6))


def pulse_slope(x: FloatArray) -> FloatArray:
    """Change of log strength with log contact time at x = frequency times contact."""
    at, log = _log_spectrum()
    slope = np.gradient(log, at) * at
    return np.asarray(np.interp(np.minimum(x, 1.45), at, slope))


def pulse_scatter(x: FloatArray) -> FloatArray:
    """Relative scatter of strength that one contact time per tap does not explain.

    From pulses of power 1.2 to 1.8 and contact times that scatter by 10 %.
    """
    known_x = np.array([0.0, 1.0, 1.1, 1.2, 1.3, 1.4])
    known = np.array([0.006, 0.008, 0.015, 0.04, 0.11, 0.35])
    return np.asarray(np.where(np.asarray(x) > 1.4, UNKNOWN, np.interp(x, known_x, known)))


def repeat_scatter(groups: tuple[GroupData, ...], angle_rad: FloatArray) -> FloatArray | None:
    """(G,) scatter of log strength over taps at the same rod; None with under four repeats.

    Counted against the lowest group, whose strength stands for the whole tap.
    """
    low = min(range(len(groups)), key=lambda g: groups[g].mean_hz)
    near = np.abs(np.angle(np.exp(1j * (angle_rad[:, None] - angle_rad)))) < 1e-9
    first, second = np.nonzero(np.triu(near, 1))
    if len(first) < 4:
        return None
    size = np.log(np.abs(np.stack([g.moments[:, 0] for g in groups])) + 1e-300)
    against = size - size[low]
    apart = np.abs(against[:, first] - against[:, second])
    return np.asarray(1.4826 * np.median(apart, axis=1) / np.sqrt(2.0))


def contact_time(groups: tuple[GroupData, ...], angle_rad: FloatArray) -> float:
    """Contact time (s) under which the groups scatter from tap to tap as they do.

    Without repeats a typical time is taken: nothing in single taps tells a soft tip from
    a microphone that hears high modes faintly.
    """
    found = repeat_scatter(groups, angle_rad)
    if found is None:
        return TYPICAL_CONTACT_S
    hz = np.array([g.mean_hz for g in groups], dtype=np.float64)
    low = int(np.argmin(hz))
    rest = np.arange(len(hz)) != low

    def expected(contact: float) -> FloatArray:
        x = hz * contact
        slope = pulse_slope(x) - pulse_slope(x[[low]])
        scatter = np.hypot(CONTACT_SD * slope, np.minimum(pulse_scatter(x), 1.0))
        return np.asarray(np.log(np.hypot(scatter, _PLACE_SCATTER)))[rest]

    seen = np.log(np.clip(found[rest], 0.02, 1.2))
    misses = [float(np.sum(np.abs(seen - expected(c)))) for c in CONTACTS_S]
    prior = 0.5 * (np.log(CONTACTS_S / TYPICAL_CONTACT_S) / 0.6) ** 2
    return float(CONTACTS_S[int(np.argmin(np.array(misses) / 0.6 + prior))])
