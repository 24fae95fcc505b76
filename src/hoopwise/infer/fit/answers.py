"""All the sets of deviations that explain a round: the best one, and any close second.

What travels an odd number of times round the hoop shows only in amplitudes, and half the
rods' number of waves hardly at all: the fit can come to rest on the wrong side. So every
such wave of the answer is turned over and fitted again.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.least_sure import least_sure_widened
from hoopwise.infer.fit.rod_fit import Fit, fit, rescaled, start_point
from hoopwise.infer.fit.rod_state import Point, Setting, coarse, recentred
from hoopwise.infer.fit.tap_scan import rescan
from hoopwise.infer.fit.tip import CONTACTS_BETWEEN_S, CONTACTS_S
from hoopwise.infer.fit.tip_found import tips_found, with_tip
from hoopwise.infer.head.prior import wave_matrix, wave_numbers

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_ROUNDS = 2
_TRY_STEPS = 6
_KEEP = 2
_WIDE = (10.0, 3.0)
_NEAR = 30.0
"""A first search that ended this far behind does not overtake when looked at more closely."""
_CAREFUL_S = (2.4e-3, 4.3e-3)
"""Contact times to try when no strength near or beyond the zero of the push is believed."""
_POOR = 1.0
_UNBELIEVED = 1.8
"""Cost that a settled fit may leave; more means frequencies that no tensions make."""
_SURELY_KNOWN = 1.25
_MOST_ODD = 1.5
_ONE_ODD = 3.5
"""Scatter against what is expected, of most groups or of one, at which a fit explains little.

On simulated drums one group beyond it marks the fits that are furthest off.
"""
_SAME = 0.35
"""Answers nearer than this many standard deviations (rms) are the same answer."""
_UNLIKELY = 8.0
"""Costs this far above the best are not worth telling."""


@dataclass(frozen=True)
class Answers:
    """Fits by growing cost, and how likely each is; the first is the best."""

    setting: Setting
    fits: tuple[Fit, ...]
    odds: FloatArray

    @property
    def best(self) -> Fit:
        """The most likely fit."""
        return self.fits[0]

    @property
    def cov(self) -> FloatArray:
        """(N, N) spread about the best answer, the others counted by their odds."""
        total = np.zeros_like(self.best.cov)
        for f, w in zip(self.fits, self.odds, strict=True):
            apart = f.deviation - self.best.deviation
            total += w * (f.cov + np.outer(apart, apart))
        return total


def evidence(result: Answers) -> float:
    """Log of how likely the round was before it was heard, but for a constant of its own."""
    best, prior = result.best, result.setting.prior
    room = np.linalg.slogdet(best.cov)[1] - np.linalg.slogdet(prior.cov)[1]
    return float(-best.surprise + 0.5 * room)


def settle(setting: Setting, anchor: ComplexArray) -> tuple[Setting, Fit]:
    """A first fit from the even head, scatter and tap weights brought in line with it.

    Several contact times are tried: near the zero of a tip's push a wrong one puts signs
    wrong, and the fit does not find its way back. Each fit starts with misfits counted
    little, so that the prior holds the unknowns together, and is sharpened step by step.
    """
    setting, fitted = _best_of(setting, anchor, CONTACTS_S)
    if _poor(fitted):
        careful = _best_of(replace(setting, known_to=_SURELY_KNOWN), anchor, _CAREFUL_S)
        again = [
            _best_of(setting, anchor, CONTACTS_BETWEEN_S),
            careful,
            *_with_tips(*careful),
            (setting, fitted),
        ]
        setting, fitted = min(again, key=lambda t: t[1].surprise)
    for _ in range(_ROUNDS):
        setting = rescaled(reweighted(setting, fitted), fitted)
        setting, point = recentred(setting, fitted.point)
        fitted = fit(setting, point)
    return setting, fitted


def _best_of(
    setting: Setting, anchor: ComplexArray, contacts: tuple[float, ...]
) -> tuple[Setting, Fit]:
    quick = coarse(setting)

    def first_try(contact: float) -> tuple[Setting, Fit]:
        moved = _widened(replace(quick, contact_s=contact), _WIDE[0])
        moved, point = recentred(moved, start_point(moved, anchor))
        fitted = fit(moved, point, steps=_TRY_STEPS, rough=True)
        return _sharper(moved, fitted.point, _WIDE[1])

    tried = sorted(map(first_try, contacts), key=lambda t: t[1].surprise)
    full = [(replace(s, head=setting.head, heads=setting.heads), f) for s, f in tried[:_KEEP]]
    sharpened = [_sharper(moved, fitted.point, 1.0) for moved, fitted in full]
    sharpened.sort(key=lambda t: t[1].surprise)
    best = _scanned(*sharpened[0])
    near = [t for t in sharpened[1:] if t[1].surprise < best[1].surprise + _NEAR]
    return min([best, *(_scanned(*t) for t in near)], key=lambda t: t[1].surprise)


def _with_tips(setting: Setting, fitted: Fit) -> list[tuple[Setting, Fit]]:
    """A fit that believed few strengths, made to believe them with the tips that explain them."""
    out = []
    for tip in tips_found(setting, fitted.point, fitted.states)[:_KEEP]:
        moved, point = with_tip(setting, fitted.point, tip)
        moved, rough = _sharper(moved, point, _WIDE[1])
        out.append(_scanned(*_sharper(moved, rough.point, 1.0)))
    return out


def _sharper(setting: Setting, point: Point, widen: float) -> tuple[Setting, Fit]:
    setting, point = recentred(_widened(setting, widen), point)
    return setting, fit(setting, point, steps=_TRY_STEPS)


def _scanned(setting: Setting, fitted: Fit) -> tuple[Setting, Fit]:
    """The same fit with each tap's contact time looked for afresh, if that helps."""
    again = fit(setting, rescan(setting, fitted.point, fitted.states))
    return setting, min(fitted, again, key=lambda f: f.surprise)


def unexplained(result: Answers) -> bool:
    """Whether a settled fit had to widen most groups' misfit or one out of all measure.

    Or whether it still leaves too much.
    """
    widen = result.setting.widen
    odd = np.median(widen) > _MOST_ODD or np.max(widen) > _ONE_ODD
    return bool(odd or _poor(result.best, _UNBELIEVED))


def _poor(fitted: Fit, limit: float = _POOR) -> bool:
    """Whether a fit at full sharpness leaves more than the tips and the model may."""
    return bool(2.0 * fitted.tolerant_cost > limit * fitted.freedom.sum())


def _widened(setting: Setting, times: float) -> Setting:
    return replace(setting, widen=np.full(len(setting.groups), times))


def reweighted(setting: Setting, fitted: Fit) -> Setting:
    """The same setting with taps that stand out counted less (Student's t, 5 degrees)."""
    weight = np.empty_like(setting.tap_weight)
    for g, columns in enumerate(fitted.columns):
        whitened = np.mean(fitted.residual[:, columns] ** 2, axis=1) / setting.tap_weight[:, g]
        typical = max(float(np.median(whitened)), 1e-9)
        weight[:, g] = 6.0 / (5.0 + np.maximum(whitened / typical, 1.0))
    return replace(setting, tap_weight=weight)


def answers(setting: Setting, first: Fit) -> Answers:
    """Turn over each wave that amplitudes alone decide, fit again, keep what differs."""
    head = setting.head
    waves, numbers = wave_matrix(head.rods), wave_numbers(head.rods)
    found = [first]
    for k in sorted(set(numbers[1:])):
        if k % 2 == 0 and 2 * k != head.rods:
            continue
        rows = waves[numbers == k]
        turned = _turned(first.point, rows)
        if turned is not None:
            found.append(fit(setting, turned))
    found.sort(key=lambda f: f.surprise)
    kept: list[Fit] = []
    for f in found:
        likely = f.surprise - found[0].surprise < _UNLIKELY
        if likely and not any(_same(f, other) for other in kept):
            kept.append(f)
    logs = np.array([-f.surprise + 0.5 * np.linalg.slogdet(f.cov)[1] for f in kept])
    odds = np.exp(logs - logs.max())
    kept[0] = least_sure_widened(setting, kept[0])
    return Answers(setting, tuple(kept), odds / odds.sum())


def _turned(point: Point, rows: FloatArray) -> Point | None:
    uneven = point.uneven.copy()
    part = rows.T @ (rows @ uneven[: rows.shape[1]])
    if np.sqrt(np.mean(part**2)) < 0.004:
        return None
    uneven[: len(part)] -= 2 * part
    return replace(point, uneven=uneven)


def _same(one: Fit, other: Fit) -> bool:
    sd = np.sqrt(np.diag(one.cov))
    apart = (one.deviation - other.deviation) / sd
    return bool(np.sqrt(np.mean(apart**2)) < _SAME)
