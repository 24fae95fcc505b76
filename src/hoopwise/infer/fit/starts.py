"""Where the search for a head begins: even, or with its pairs laid as they show themselves."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.pair_scan import lay
from hoopwise.infer.fit.rod_fit import descend
from hoopwise.infer.fit.rod_state import Point, Setting, subset
from hoopwise.infer.fit.rod_system import states_at, strength_at, tapped_at
from hoopwise.infer.fit.struck import push_at
from hoopwise.infer.head.even_head import Places
from hoopwise.infer.head.rod_model import GroupStates

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_JOIN_STEPS = 4


def start_even(setting: Setting, anchor: ComplexArray) -> Point:
    """Even head, tap strengths from the anchor amplitude (T,), microphone by least squares.

    Delays matter more the higher a mode lies, so groups join two by two from the lowest up,
    when those below them have settled the taps' own unknowns.
    """
    whole = _even(setting, anchor)
    order = sorted(range(len(setting.groups)), key=lambda g: setting.groups[g].mean_hz)
    groups = len(order)
    before: list[int] = []
    for count in (*range(2, groups, 2), groups):
        joined = sorted(order[:count])
        part = subset(setting, joined)
        start = _part(whole, joined)
        states, at = states_at(part, start), tapped_at(part, start)
        new = ~np.isin(joined, before)
        start.microphone[new] = _microphone(part, start, states, at)[new]
        fitted, *_ = descend(part, start, states, at, _JOIN_STEPS, rough=True)
        whole = _joined(whole, fitted, joined)
        before = joined
    return whole


def start_laid(setting: Setting, anchor: ComplexArray) -> Point:
    """The same, but every pair with its lines of rest where it shows them by itself.

    That asks nothing of the tip, whose strengths lead astray where its contact time is wrong.
    """
    even = _even(setting, anchor)
    states = states_at(setting, even)
    microphone = _microphone(setting, even, states, tapped_at(setting, even))
    return lay(setting, replace(even, microphone=microphone), states)


def _even(setting: Setting, anchor: ComplexArray) -> Point:
    """What is expected of the head, and the taps by their anchor, unheard as yet."""
    size = np.maximum(np.abs(anchor), 1e-3 * np.median(np.abs(anchor)))
    tap = np.zeros((len(anchor), 6))
    tap[:, 0] = np.log(size)
    tap[:, 1] = np.angle(anchor)
    tap[:, 0] -= tap[:, 0].mean()
    groups = len(setting.groups)
    return Point(
        uneven=setting.prior_spread[0].copy(),
        log_shift=_even_shift(setting),
        inner=np.zeros((groups, 2)),
        microphone=np.zeros((groups, 2), dtype=np.complex128),
        tap=tap,
    )


def _part(point: Point, groups: list[int]) -> Point:
    """The same point for some groups only."""
    return replace(
        point,
        log_shift=point.log_shift[groups],
        inner=point.inner[groups],
        microphone=point.microphone[groups],
    )


def _joined(whole: Point, part: Point, groups: list[int]) -> Point:
    """The whole point with what a part of the groups was found to be."""
    shift, inner, microphone = whole.log_shift.copy(), whole.inner.copy(), whole.microphone.copy()
    shift[groups], inner[groups], microphone[groups] = part.log_shift, part.inner, part.microphone
    return Point(part.uneven, shift, inner, microphone, part.tap)


def _even_shift(setting: Setting) -> FloatArray:
    """(G,) log of each group's measured over its even frequency."""
    heads = setting.heads
    even = heads.frequency_hz[np.arange(len(heads.groups)), heads.members[:, 0]]
    return np.asarray(np.log(setting.moments.mean_hz / even))


def _microphone(setting: Setting, point: Point, states: GroupStates, at: Places) -> ComplexArray:
    """(G, 2) how the microphone hears each group, by least squares, all else as it is."""
    strength = strength_at(setting, point.tap)
    value = push_at(setting, point.tap[:, 3], states).value[..., 0, 0]
    shown = at.value @ (setting.heads.ritz @ states.moments()[:, 0])
    # the column of a second mode that is not there is nought, and so is its number
    inverse = np.linalg.pinv((strength * value)[:, :, None] * shown, rcond=1e-6)
    return np.asarray((inverse @ setting.moments.values[:, :, :1])[..., 0])
