"""Taps that do not fit the round: made elsewhere than was said, or not usable at all."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.one_tap import own_costs, tap_costs
from hoopwise.infer.fit.rod_fit import Fit, fit, narrowed
from hoopwise.infer.fit.rod_state import Point, Setting, picked, recentred
from hoopwise.infer.fit.search import Settled, glance, settle
from hoopwise.infer.taps.places import angle_of, at_rod, place_at

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_ODD = 4.0
"""A tap whose misfit is this many times the median of the round does not belong to it, ..."""
_LEAST = 1.25
"""... if a number measured of it also misses by more than this (half its square; 0.5 is usual)."""
_GROSS = 4.0
"""A tap whose numbers miss by this on average may have led the whole search astray."""
_NARROWINGS = 2
"""Times that the groups' scatter is brought in line with what the taps that belong show."""
_BETTER = 0.4
"""Another place must bring the misfit down to this share to be named."""
_FAR_LIKELIER = 200.0
"""Log likelihood by which the other label must be better. On simulated drums wrong labels that
hid so gave 318 to 627; right ones lost, but for one badly read drum that gained 131."""
_WORTH_A_LOOK = 60.0
"""The same at a glance, from where on it is worth a whole search: on simulated drums wrong labels
that hid so gave 143 and more; right ones mostly lost, but one of twelve gained 432."""
_FEWEST_RODS = 3


@dataclass(frozen=True)
class Stray:
    """A tap that does not fit where it was said to be."""

    tap: int
    nearer: float | None
    """Place that it fits; None when it fits nowhere."""
    gross: bool
    """So far off that the fit made with it is not to be believed either."""


def settle_round(
    setting: Setting, anchor: ComplexArray, alike: Callable[[], tuple[float, float]]
) -> tuple[Settled, tuple[Stray, ...]]:
    """The fit of the taps that belong to a round, and those that do not.

    A gross stray pulls the search to a wrong place, where good taps look like strays: it is
    left out first and the search begins anew. ``alike`` tells the two places whose taps sound
    most alike, and is asked where a wrong label may have passed for a soft tip.
    """
    settled = settle(setting, anchor)
    found = _mislabelled(setting, anchor, settled, alike) or strays(settled.setting, settled.fit)
    gross = tuple(s for s in found if s.gross)
    kept = np.setdiff1d(np.arange(len(anchor)), [s.tap for s in gross])
    if gross and len(kept) > 2:
        settled = settle(picked(setting, kept, setting.angle_rad[kept]), anchor[kept])
        found = strays(settled.setting, settled.fit)
    else:
        gross, kept = (), np.arange(len(anchor))
    if found:
        settled = _without(settled, [s.tap for s in found])
    for _ in range(_NARROWINGS):
        inside, point = recentred(narrowed(settled.setting, settled.fit), settled.fit.point)
        settled = replace(settled, setting=inside, fit=fit(inside, point))
    later = tuple(replace(s, tap=int(kept[s.tap])) for s in found)
    return settled, tuple(sorted((*gross, *later), key=lambda s: s.tap))


def _without(settled: Settled, taps: list[int]) -> Settled:
    """The same without some taps, fitted again."""
    setting = settled.setting
    belongs = np.setdiff1d(np.arange(len(setting.angle_rad)), taps)

    def of_these(point: Point) -> Point:
        return replace(point, tap=point.tap[belongs])

    setting = picked(setting, belongs, setting.angle_rad[belongs])
    rivals = tuple(of_these(rival) for rival in settled.rivals)
    return Settled(setting, fit(setting, of_these(settled.fit.point)), rivals)


def _mislabelled(
    setting: Setting,
    anchor: ComplexArray,
    settled: Settled,
    alike: Callable[[], tuple[float, float]],
) -> tuple[Stray, ...]:
    """All taps of a place that were made at another one, if that explains the round far better.

    With free strengths, as a soft tip has, a whole rod's wrong label hardly shows in the
    residuals; but its taps sound like those of the place where they were made.
    """
    if not settled.setting.most_strengths_are_free:
        return ()
    rods = setting.head.rods
    pair, as_said = alike(), glance(setting, anchor)
    for wrong, right in (pair, pair[::-1]):
        angle = setting.angle_rad.copy()
        mine = np.isclose(angle, angle_of(wrong, rods))
        if len(np.unique(angle[~mine])) < _FEWEST_RODS:
            continue
        angle[mine] = angle_of(right, rods)
        other = replace(setting, angle_rad=angle)
        if as_said - glance(other, anchor) < _WORTH_A_LOOK:
            continue
        if settled.fit.surprise - settle(other, anchor).fit.surprise > _FAR_LIKELIER:
            return tuple(Stray(int(t), right, gross=True) for t in np.flatnonzero(mine))
    return ()


def strays(setting: Setting, fitted: Fit) -> tuple[Stray, ...]:
    """Taps far off the rest, each with the place that it would fit."""
    full, rods = replace(setting, tap_weight=np.ones_like(setting.tap_weight)), setting.head.rods
    own = np.array([place_at(angle, rods) for angle in setting.angle_rad])
    step = 1.0 if all(at_rod(place) for place in own) else 0.5
    places = np.arange(1.0, rods + 1, step)
    angles = angle_of(places, rods)
    at_own = own_costs(full, fitted)
    typical = float(np.median(at_own))
    found = []
    least = max(_ODD * typical, _LEAST * fitted.residual.shape[1])
    for t in np.flatnonzero(at_own > least):
        costs = tap_costs(full, fitted.point, np.full(len(places), t), angles)
        best = int(np.argmin(costs))
        named = places[best] != own[t] and costs[best] < max(_BETTER * at_own[t], 0.0)
        gross = bool(at_own[t] > _GROSS * fitted.residual.shape[1])
        found.append(Stray(int(t), float(places[best]) if named else None, gross))
    return tuple(found)
