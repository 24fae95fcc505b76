"""The tip's push on the head: a half-sine-squared pulse, and how a mode answers it.

The force is J p(t), p(t) = (2/T) sin^2(pi t/T) for 0 <= t <= T, J the impulse (N s) and T
the contact time (s). A mode with pole s = -a + i w answers with the analytic signal
Z(t) = integral of p(t') exp(s (t - t')); its displacement is J phi/(m w) Im Z.
Both phases have closed forms, so no step size enters.
"""

import math

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RangeError

Complexes = NDArray[np.complex128]
Floats = NDArray[np.float64]

CONTACT_RANGE_S = (0.2e-3, 20e-3)


def check_contact(contact_s: float) -> None:
    """Refuse a contact time that no tip has.

    Raises
    ------
    RangeError
        Outside 0.2 to 20 ms.
    """
    low, high = CONTACT_RANGE_S
    if not (math.isfinite(contact_s) and low <= contact_s <= high):
        raise RangeError(
            f"a contact time of {contact_s * 1e3:g} ms is outside {low * 1e3:g} to "
            f"{high * 1e3:g} ms; a light hard tip has about 1 ms, a felt mallet 5 ms."
        )


def push(time_s: Floats, contact_s: float) -> Floats:
    """The pulse p(t), of unit area (1/s)."""
    inside = (time_s >= 0) & (time_s <= contact_s)
    shape: Floats = np.where(
        inside, (2.0 / contact_s) * np.sin(np.pi * time_s / contact_s) ** 2, 0.0
    )
    return shape


def answer_during(pole: Complexes, time_s: Floats, contact_s: float) -> Complexes:
    """Z(t) of each mode while the tip is still on the head.

    Parameters
    ----------
    pole
        (K,) poles, 1/s.
    time_s
        (n,) times from 0 to the contact time.

    Returns
    -------
    (K, n) analytic signals.
    """
    turn = 2.0 * np.pi / contact_s
    s, t = pole[:, None], time_s[None, :]
    even = s * s + turn * turn
    free = np.exp(s * t) * (1.0 / s - s / even)
    forced = (s * np.cos(turn * t) - turn * np.sin(turn * t)) / even - 1.0 / s
    signal: Complexes = (free + forced) / contact_s
    return signal


def answer_after(pole: Complexes, contact_s: float) -> Complexes:
    """Z at the moment the tip leaves: (K,), the spectrum of the pulse times exp(s T)."""
    turn = 2.0 * np.pi / contact_s
    signal: Complexes = (
        (np.exp(pole * contact_s) - 1.0) / contact_s * turn**2 / (pole * (pole**2 + turn**2))
    )
    return signal
