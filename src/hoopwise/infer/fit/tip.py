"""What the tip does to a tap: the spectrum of its push, and how long it stays on the head.

A tip pushes about as a half sine to the power 1.5 (a spring that stiffens as it is pressed,
Hertz). With x = frequency x contact time the push falls to zero near x = 1.7 and comes back
faint and with the other sign. Tips of other shapes (powers 1.2 to 1.8) follow the same curve
to 0.015 of its height once the contact time is matched; beyond x = 2.3 that says nothing.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

UNKNOWN = 1.0
"""Relative scatter of a strength that is not known: as large as strengths usually are."""
CONTACT_SD = 0.12
"""Log scatter of the contact time from tap to tap."""
HARD_STICK_S = 2.0e-3
"""Contact time of a hard stick (common practice, no source)."""
CONTACTS_S = (2.1e-3, 3.1e-3, 4.6e-3, 7.0e-3)
"""Contact times from a hard stick to a soft mallet, close enough that a fit finds its way."""
CONTACTS_BETWEEN_S = (1.7e-3, 2.6e-3, 3.8e-3, 5.7e-3, 8.5e-3)
"""More of them, for taps that none of those explains."""
KNOWN_TO = 2.3
"""Frequency times contact up to which the push is modelled."""
_POWER = 1.5


@lru_cache(maxsize=1)
def _spectrum() -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Steps of x, the push's spectrum there (1 at 0), its slope with log x, and that one's."""
    t = np.linspace(-0.5, 0.5, 1201)
    push = np.cos(np.pi * t) ** _POWER
    x = np.linspace(0.0, 4.0, 801)
    spectrum = np.cos(2 * np.pi * np.outer(x, t)) @ push / push.sum()
    slope = np.gradient(spectrum, x) * x
    return x, spectrum, slope, np.gradient(slope, x) * x


def push(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Spectrum of the push at x = frequency times contact, and its slope with log x."""
    at, value, slope, _ = _spectrum()
    return np.interp(x, at, value), np.interp(x, at, slope)


def push_bend(x: FloatArray) -> FloatArray:
    """Change of that slope with log x."""
    at, *_, bend = _spectrum()
    return np.interp(x, at, bend)


def push_error(x: float) -> float:
    """How far tips of other shapes lie off that spectrum, same scale."""
    known_x = (0.0, 0.8, 1.0, 1.2, 1.4, 1.6, 1.9, 2.2)
    known = (0.0015, 0.003, 0.004, 0.006, 0.010, 0.014, 0.020, 0.03)
    return float(np.interp(x, known_x, known))
