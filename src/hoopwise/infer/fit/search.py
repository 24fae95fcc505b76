"""The head that a round shows, looked for from several starts.

Near the zero of a tip's push a wrong contact time puts signs wrong, and a fit does not find its
way back: several are tried. Where none explains the taps, or strengths tell little, starts that
do not ask for the tip are tried as well; the tip is then found from the strengths that they
need. Each fit starts with misfits counted little, so that what is expected holds the unknowns
together, and is sharpened step by step.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.pair_scan import rehear
from hoopwise.infer.fit.rod_fit import Fit, fit, rescaled
from hoopwise.infer.fit.rod_state import Point, Setting, coarse, recentred
from hoopwise.infer.fit.starts import start_even, start_laid
from hoopwise.infer.fit.tap_scan import rescan
from hoopwise.infer.fit.tip import CONTACTS_BETWEEN_S, CONTACTS_S
from hoopwise.infer.fit.tip_found import tips_found, with_tip

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Start = Callable[[Setting, ComplexArray], Point]
Tried = tuple[Setting, Fit]

_ROUNDS = 2
_TRY_STEPS = 6
_KEEP = 2
_WIDE = (10.0, 3.0)
_NEAR = 30.0
"""A first search that ended this far behind does not overtake when looked at more closely."""
_CAREFUL_S = (2.4e-3, 4.3e-3)
"""Contact times to try when no strength near or beyond the zero of the push is believed."""
_LAID_S = (3.0e-3,)
_SURELY_KNOWN = 1.25
_POOR = 1.0
_SETTLED = 3
"""So many of the best are looked at to the end where many were tried: their order may change."""
UNLIKELY = 8.0
"""Costs this far above the best are not worth telling."""


@dataclass(frozen=True)
class Settled:
    """The best fit of a round, scatter and tap weights brought in line with it."""

    setting: Setting
    fit: Fit
    rivals: tuple[Point, ...] = ()
    """Where other starts ended that explain the round nearly as well."""


def settle(setting: Setting, anchor: ComplexArray) -> Settled:
    """The best fit from every start that is worth trying, and those that come near it."""
    first = _best_of(setting, anchor, CONTACTS_S)
    if not poor(first[1]) and not first[0].strengths_are_free:
        return Settled(*_in_line(*first))
    tried = [first, *_others(setting, anchor)]
    tried.sort(key=_surprise)
    ended = sorted((_in_line(*one) for one in tried[:_SETTLED]), key=_surprise)
    setting, best = ended[0]
    near = [(s, f.point) for s, f in ended[1:] if f.surprise < best.surprise + UNLIKELY]
    return Settled(setting, best, tuple(_as_in(setting, *rival) for rival in near))


def glance(setting: Setting, anchor: ComplexArray) -> float:
    """Roughly minus the log likelihood of a round: one search that does not ask for the tip.

    To compare what taps might be before each is looked into with care.
    """
    unknown = replace(setting, known_to=_SURELY_KNOWN)
    try:
        with np.errstate(over="ignore", invalid="ignore"):
            return _best_of(unknown, anchor, _LAID_S, start_laid)[1].surprise
    except np.linalg.LinAlgError:
        return np.inf


def _others(setting: Setting, anchor: ComplexArray) -> list[Tried]:
    """Where the starts end that are tried when the usual ones do not explain the taps."""
    unknown = replace(setting, known_to=_SURELY_KNOWN)
    ended: list[Tried] = []
    for within, contacts, start in (
        (setting, CONTACTS_BETWEEN_S, start_even),
        (unknown, _CAREFUL_S, start_even),
        (unknown, _LAID_S, start_laid),
    ):
        try:
            with np.errstate(over="ignore", invalid="ignore"):
                best = _best_of(within, anchor, contacts, start)
                ended += [best, *(_with_tips(*best) if within is unknown else ())]
        except np.linalg.LinAlgError:
            continue  # it ran away, as a start far from the head may; the others stand
    return ended


def _as_in(setting: Setting, own: Setting, point: Point) -> Point:
    """A point of one setting in the terms of another: contact times against its usual one."""
    tap = point.tap.copy()
    tap[:, 3] += np.log(own.contact_s / setting.contact_s)
    return replace(point, tap=tap)


def _surprise(tried: Tried) -> float:
    return tried[1].surprise


def _in_line(setting: Setting, fitted: Fit) -> Tried:
    """The same fit with scatter and tap weights as its residuals show them."""
    for _ in range(_ROUNDS):
        setting = rescaled(_reweighted(setting, fitted), fitted)
        setting, point = recentred(setting, fitted.point)
        fitted = fit(setting, point)
    return setting, fitted


def _best_of(
    setting: Setting,
    anchor: ComplexArray,
    contacts: tuple[float, ...],
    start: Start = start_even,
) -> Tried:
    quick = coarse(setting)

    def first_try(contact: float) -> Tried:
        moved = _widened(replace(quick, contact_s=contact), _WIDE[0])
        moved, point = recentred(moved, start(moved, anchor))
        fitted = fit(moved, point, steps=_TRY_STEPS, rough=start is start_even)
        return _sharper(moved, fitted.point, _WIDE[1])

    tried = sorted(map(first_try, contacts), key=_surprise)
    full = [(replace(s, head=setting.head, heads=setting.heads), f) for s, f in tried[:_KEEP]]
    sharpened = [_sharper(moved, fitted.point, 1.0) for moved, fitted in full]
    sharpened.sort(key=_surprise)
    best = _scanned(*sharpened[0])
    near = [t for t in sharpened[1:] if t[1].surprise < best[1].surprise + _NEAR]
    return min([best, *(_scanned(*t) for t in near)], key=_surprise)


def _with_tips(setting: Setting, fitted: Fit) -> list[Tried]:
    """A fit that believed few strengths, made to believe them with the tips that explain them."""
    out = []
    for tip in tips_found(setting, fitted.point, fitted.states)[:_KEEP]:
        moved, point = with_tip(setting, fitted.point, tip)
        moved, rough = _sharper(moved, point, _WIDE[1])
        out.append(_scanned(*_sharper(moved, rough.point, 1.0)))
    return out


def _sharper(setting: Setting, point: Point, widen: float) -> Tried:
    setting, point = recentred(_widened(setting, widen), point)
    return setting, fit(setting, point, steps=_TRY_STEPS)


def _scanned(setting: Setting, fitted: Fit) -> Tried:
    """The same fit with pairs and contact times looked for afresh, if that helps."""
    heard = rehear(setting, fitted.point, fitted.states)
    again = fit(setting, rescan(setting, heard, fitted.states))
    return setting, min(fitted, again, key=lambda f: f.surprise)


def poor(fitted: Fit, limit: float = _POOR) -> bool:
    """Whether a fit at full sharpness leaves more than the tips and the model may."""
    return bool(2.0 * fitted.tolerant_cost > limit * fitted.freedom.sum())


def _widened(setting: Setting, times: float) -> Setting:
    return replace(setting, widen=np.full(len(setting.groups), times))


def _reweighted(setting: Setting, fitted: Fit) -> Setting:
    """The same setting with taps that stand out counted less (Student's t, 5 degrees)."""
    weight = np.empty_like(setting.tap_weight)
    for g, columns in enumerate(fitted.columns):
        whitened = np.mean(fitted.residual[:, columns] ** 2, axis=1) / setting.tap_weight[:, g]
        typical = max(float(np.median(whitened)), 1e-9)
        weight[:, g] = 6.0 / (5.0 + np.maximum(whitened / typical, 1.0))
    return replace(setting, tap_weight=weight)
