"""What the tip does to a tap: the spectrum of its push, and how long it stays on the head.

A tip pushes about as a half sine to the power 1.5 (a spring that stiffens as it is pressed,
Hertz). With x = frequency x contact time the push falls to zero near x = 1.7 and comes back
faint and with the other sign. Tips of other shapes (powers 1.2 to 1.8) follow the same curve
to 0.015 of its height once the contact time is matched; beyond x = 2.3 that says nothing.
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
KNOWN_TO = 2.3
"""Frequency times contact up to which the push is modelled."""
_PLACE_SCATTER = 0.04
"""What place alone scatters a strength by, typically."""
_POWER = 1.5


@lru_cache(maxsize=1)
def _spectrum() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Steps of x, the push's spectrum there (1 at 0), and its slope with log x."""
    t = np.linspace(-0.5, 0.5, 1201)
    push = np.cos(np.pi * t) ** _POWER
    x = np.linspace(0.0, 4.0, 801)
    spectrum = np.cos(2 * np.pi * np.outer(x, t)) @ push / push.sum()
    return x, spectrum, np.gradient(spectrum, x) * x


def push(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Spectrum of the push at x = frequency times contact, and its slope with log x."""
    at, value, slope = _spectrum()
    return np.interp(x, at, value), np.interp(x, at, slope)


def push_error(x: float) -> float:
    """How far tips of other shapes lie off that spectrum, same scale."""
    known_x = (0.0, 0.8, 1.0, 1.2, 1.4, 1.6, 1.9, 2.2)
    known = (0.0015, 0.003, 0.004, 0.006, 0.010, 0.014, 0.020, 0.03)
    return float(np.interp(x, known_x, known))


def usual_push(x: float) -> float:
    """Root mean square of the spectrum over the usual scatter of contact times."""
    spread = np.exp(CONTACT_SD * np.linspace(-2.0, 2.0, 41))
    weight = np.exp(-0.5 * np.linspace(-2.0, 2.0, 41) ** 2)
    return float(np.sqrt(np.sum(weight * push(x * spread)[0] ** 2) / weight.sum()))


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
    return np.asarray(1.4826 * np.median(apart, axis=1) / np.sqrt(2.0), dtype=np.float64)


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

    draws = np.exp(CONTACT_SD * np.linspace(-1.8, 1.8, 25))

    def expected(contact: float) -> FloatArray:
        size = np.log(np.abs(push(np.outer(hz * contact, draws))[0]) + 3e-3)
        against = size - size[low]
        scatter = 1.4826 * np.median(
            np.abs(against - np.median(against, axis=1, keepdims=True)), axis=1
        )
        together: FloatArray = np.log(np.hypot(scatter, _PLACE_SCATTER))
        picked: FloatArray = together[rest]
        return picked

    seen = np.log(np.clip(found[rest], 0.02, 1.2))
    misses = [float(np.sum(np.abs(seen - expected(c)))) for c in CONTACTS_S]
    prior = 0.5 * (np.log(CONTACTS_S / TYPICAL_CONTACT_S) / 0.6) ** 2
    return float(CONTACTS_S[int(np.argmin(np.array(misses) / 0.6 + prior))])
