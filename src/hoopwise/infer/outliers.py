"""Taps that do not fit the round: met another rod than was said, or not usable at all."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.one_tap import own_costs, tap_costs
from hoopwise.infer.rod_fit import Fit
from hoopwise.infer.rod_state import Setting, picked

FloatArray = NDArray[np.float64]

_ODD = 4.0
"""A tap whose misfit is this many times the median of the round does not belong to it, ..."""
_LEAST = 0.8
"""... if a number measured of it also misses by more than this (half its square; 0.5 is usual)."""
_BETTER = 0.4
"""Another rod must bring the misfit down to this share to be named."""


@dataclass(frozen=True)
class Stray:
    """A tap that does not fit where it was said to be."""

    tap: int
    nearer_rod: int | None
    """Number of the rod that it fits; None when it fits nowhere."""


def strays(setting: Setting, fitted: Fit) -> tuple[Stray, ...]:
    """Taps far off the rest, each with the rod that it would fit."""
    full = replace(setting, tap_weight=np.ones_like(setting.tap_weight))
    places = 2 * np.pi * np.arange(setting.head.rods) / setting.head.rods
    at_own = own_costs(full, fitted)
    typical = float(np.median(at_own))
    found = []
    least = max(_ODD * typical, _LEAST * fitted.residual.shape[1])
    for t in np.flatnonzero(at_own > least):
        costs = tap_costs(full, fitted.point, np.full(len(places), t), places)
        best = int(np.argmin(costs))
        own = int(np.argmin(np.abs(np.angle(np.exp(1j * (places - setting.angle_rad[t]))))))
        named = best != own and costs[best] < max(_BETTER * at_own[t], 0.0)
        found.append(Stray(int(t), best + 1 if named else None))
    return tuple(found)


def without(setting: Setting, taps: tuple[int, ...]) -> Setting:
    """The same setting with some taps left out."""
    keep = np.setdiff1d(np.arange(len(setting.angle_rad)), np.array(taps, dtype=np.intp))
    return picked(setting, keep, setting.angle_rad[keep])
