"""How a tip strikes a pair of modes: the push leans from the one to the other.

The push at a pair's mean frequency is not the push at either mode: near the zero of the push
a tip that stays a tenth longer moves them apart by a third on a small tight head, whose pairs
lie 5 % apart. Taken along the straight line through the mean, it turns the pair's two moments
into each other: with the push v, its slope w by frequency and half the split d,

    S0 = v s0 + w s1,    S1 = v s1 + w d^2 s0,

for within a pair the square of the frequencies against their mean is d^2, whichever the mode.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.rod_state import Setting
from hoopwise.infer.fit.tip import push, push_bend
from hoopwise.infer.head.rod_model import GroupStates

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Push:
    """The tip's push over the two moments of each group, (G, T, 2, 2)."""

    value: FloatArray
    by_contact: FloatArray
    """Change with the log of the contact time."""
    lean: FloatArray
    """(G, T) w above; nought where the push is not modelled."""


def push_at(setting: Setting, log_contact: FloatArray, states: GroupStates) -> Push:
    """The push of each tap (T,); one where it is not modelled."""
    hz = setting.moments.mean_hz[:, None]
    x = hz * setting.contact_s * np.exp(log_contact)
    value, slope = push(x)
    known = setting.known[:, None]
    lean = np.where(known, slope / hz, 0.0)
    square = states.spread_hz[:, 1:] ** 2
    return Push(
        _over_moments(np.where(known, value, 1.0), lean, square),
        _over_moments(np.where(known, slope, 0.0), np.where(known, push_bend(x) / hz, 0.0), square),
        lean,
    )


def square_slope(states: GroupStates) -> FloatArray:
    """(G, P) change of half the split, squared, with the head's parameters."""
    apart = states.frequency_slope[:, :, 1] - states.frequency_slope[:, :, 0]
    return np.asarray(states.spread_hz[:, 1:] * apart)


def _over_moments(value: FloatArray, lean: FloatArray, square: FloatArray) -> FloatArray:
    out = np.empty((*value.shape, 2, 2))
    out[..., 0, 0] = out[..., 1, 1] = value
    out[..., 0, 1] = lean
    out[..., 1, 0] = lean * square
    return out
