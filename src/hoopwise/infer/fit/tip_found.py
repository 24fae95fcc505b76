"""The tip that explains how strongly each tap rang each group of modes.

A fit that lets most strengths be anything finds the head without knowing the tip, for what
a pair of modes shows of the head is the pattern over the rods, not the strength. The
strengths it finds, tap by tap, then tell the tip: all follow the one curve of the push, each
tap at its own contact time, each group times a number that the microphone sets. Near the
zero of the push, where a stepwise fit loses its way in the signs, this has no signs to lose.
"""

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.rod_state import Point, Setting
from hoopwise.infer.fit.rod_system import free_strengths
from hoopwise.infer.fit.tip import CONTACT_SD, KNOWN_TO, UNKNOWN, push, push_error
from hoopwise.infer.head.rod_model import GroupStates

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

TRIED_S = np.geomspace(1.5e-3, 9.5e-3, 21)
"""Contact times that may be the round's usual one."""
_LOG_CONTACTS = np.linspace(-0.4, 0.4, 33)
"""A tap's own contact time against that."""
_PASSES = 4
_FEWEST = 2
"""Groups that it takes to tell a tip."""
_PLACE_SD = 0.03
"""What places missed by the tip add to a strength, relative to a group's usual."""


@dataclass(frozen=True)
class TipFound:
    """One usual contact time, and what goes with it."""

    contact_s: float
    log_contact: FloatArray
    """(T,) each tap's own against the usual."""
    strength: ComplexArray
    """(T,)"""
    heard: ComplexArray
    """(G,) number by which each group's microphone is to be multiplied; 1 where not told."""
    log_likelihood: float


@dataclass(frozen=True)
class _Strengths:
    """As a fit found them, (G, T), groups by growing frequency."""

    value: ComplexArray
    """Phases of the taps' delays taken off."""
    variance: FloatArray
    hz: FloatArray
    order: NDArray[np.intp]
    """Where each group stands in the setting."""


def tips_found(setting: Setting, point: Point, states: GroupStates) -> list[TipFound]:
    """Every usual contact time tried on a fit's strengths, the likeliest first."""
    value, variance = free_strengths(setting, point, states)
    hz = setting.moments.mean_hz
    order = np.argsort(hz)
    value = value * np.exp(-2j * np.pi * hz[:, None] * point.tap[:, 2])
    strengths = _Strengths(value[order], variance[order], hz[order], order)
    tried = (_explained(strengths, float(contact)) for contact in TRIED_S)
    return sorted((t for t in tried if t is not None), key=lambda t: -t.log_likelihood)


def with_tip(setting: Setting, point: Point, found: TipFound) -> tuple[Setting, Point]:
    """The same head, its taps and microphones such as a tip explains them."""
    tap = point.tap.copy()
    tap[:, 0] = np.log(np.abs(found.strength) + 1e-300)
    tap[:, 1] = np.angle(found.strength)
    tap[:, 3] = found.log_contact
    microphone = point.microphone * found.heard[:, None]
    moved = replace(setting, contact_s=found.contact_s, known_to=KNOWN_TO)
    return moved, replace(point, microphone=microphone, tap=tap)


def _explained(strengths: _Strengths, contact_s: float) -> TipFound | None:
    """Groups join from the lowest up; each pass weighs every tap's contact time anew."""
    count = int(np.sum(strengths.hz * contact_s <= KNOWN_TO))
    if count < _FEWEST:
        return None
    value, noise = strengths.value[:count], strengths.variance[:count]
    curve = _Curve.of(strengths.hz[:count], contact_s)
    size = np.abs(value[0]) / np.mean(np.abs(curve.push[0]))
    heard = np.zeros(count, dtype=np.complex128)
    heard[0] = 1.0
    for turn in range(_PASSES):
        for g in range(1, count):
            others = [h for h in range(g if turn == 0 else count) if h != g]
            score, strength = _weighed(value, noise, curve, heard, size, others)
            share = np.exp(score - score.max(axis=1, keepdims=True))
            share /= share.sum(axis=1, keepdims=True)
            expected = strength * curve.push[g]
            usual = float(np.median(np.abs(value[g])))
            weight = share / (noise[g] + (_PLACE_SD * usual) ** 2)[:, None]
            power = float(np.sum(weight * np.abs(expected) ** 2))
            shown = np.sum(weight * expected.conj() * value[g][:, None])
            heard[g] = shown / max(power, 1e-300)
    score, strength = _weighed(value, noise, curve, heard, size, list(range(count)))
    best = np.argmax(score, axis=1)
    taps = np.arange(len(best))
    told = np.ones(len(strengths.hz), dtype=np.complex128)
    told[strengths.order[:count]] = heard
    likely = float(np.sum(score[taps, best])) - _price(strengths, count)
    return TipFound(contact_s, _LOG_CONTACTS[best], strength[taps, best], told, likely)


@dataclass(frozen=True)
class _Curve:
    """The push at each group for every contact time that a tap may have had."""

    push: FloatArray
    """(G, K)"""
    off: FloatArray
    """(G,) what tips of other shapes and places missed do to it."""

    @classmethod
    def of(cls, hz: FloatArray, contact_s: float) -> Self:
        """The curve at groups of given frequencies (G,), about a usual contact time."""
        value = push(hz[:, None] * contact_s * np.exp(_LOG_CONTACTS))[0]
        shape = np.array([push_error(float(f) * contact_s) for f in hz])
        return cls(value, np.hypot(shape, _PLACE_SD * np.sqrt(np.mean(value**2, axis=1))))


def _price(strengths: _Strengths, count: int) -> float:
    """What strengths that are not modelled cost: each may be as large as is usual."""
    if count == len(strengths.hz):
        return 0.0
    usual = np.median(np.abs(strengths.value[count:]), axis=1, keepdims=True)
    return float(np.sum(np.log(strengths.variance[count:] + (UNKNOWN * usual) ** 2)))


def _weighed(
    value: ComplexArray,
    noise: FloatArray,
    curve: _Curve,
    heard: ComplexArray,
    size: FloatArray,
    groups: list[int],
) -> tuple[FloatArray, ComplexArray]:
    """(T, K) log likelihood of each tap's contact times, and the strength that suits each."""
    spread = noise[groups] + (curve.off[groups] * np.abs(heard[groups]))[:, None] ** 2 * size**2
    model = heard[groups, None] * curve.push[groups]  # (g, K)
    upper = np.einsum("gk,gt,gt->tk", model.conj(), value[groups], 1.0 / spread)
    lower = np.maximum(np.einsum("gk,gt->tk", np.abs(model) ** 2, 1.0 / spread), 1e-300)
    alone = np.sum(np.abs(value[groups]) ** 2 / spread + np.log(spread), axis=0)
    score = np.abs(upper) ** 2 / lower - alone[:, None]
    return score - 0.5 * (_LOG_CONTACTS / CONTACT_SD) ** 2, upper / lower
