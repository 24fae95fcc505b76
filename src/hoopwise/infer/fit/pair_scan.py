"""Where a pair's lines of rest lie and how it is heard, looked for over all there is.

A tap shows two moments of a pair. How they go together over the rods tells where the pair's
lines of rest lie and what the microphone makes of its two modes, whatever the strengths of the
taps. The misfit has several hollows over these few numbers: a stepwise fit that starts in a
wrong one stays there and bends the head to it, above all where the tip's push is not modelled
and each strength is free. With the head as it stands they are one small search for each pair,
so all are tried.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.fit.rod_state import INNER_SD, Point, Setting
from hoopwise.infer.fit.rod_system import tapped_at
from hoopwise.infer.head.rod_model import GroupStates, solve_groups

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Groups = NDArray[np.intp]

_SIZES, _TURNS = np.meshgrid(
    np.linspace(0.0, 0.5 * np.pi, 9), np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
)
_RATIOS = np.stack([np.cos(_SIZES).ravel(), np.sin(_SIZES).ravel() * np.exp(1j * _TURNS.ravel())])
"""(2, D) what a microphone may make of a pair's modes, of unit size."""
_LINES = 12
"""Places round the hoop at which a pair's lines of rest are tried where it is heard as it is."""
_LINES_AT_FIRST = 24
_PASSES = 5


def rehear(setting: Setting, point: Point, states: GroupStates) -> Point:
    """The same rods, with the pairs whose strengths are free laid and heard as fits best."""
    groups = _pairs(setting, ~setting.known)
    if not len(groups):
        return point
    tried = [point.inner[groups], *_laid(setting, point, states, groups, _LINES)]
    return _best(setting, point, groups, tried, INNER_SD)


def lay(setting: Setting, point: Point, states: GroupStates) -> Point:
    """The same rods, with every pair's lines of rest where it shows them by itself.

    What the rods do not explain of that stands as the pairs' own splits, which a fit then
    puts down to the rods.
    """
    groups = _pairs(setting, np.ones(len(setting.groups), dtype=np.bool_))
    if not len(groups):
        return point
    tried = _laid(setting, point, states, groups, _LINES_AT_FIRST)
    return _best(setting, point, groups, tried, np.inf)


def _pairs(setting: Setting, wanted: NDArray[np.bool_]) -> Groups:
    """The wanted groups of which both modes were found."""
    return np.flatnonzero(wanted & setting.moments.there[:, 1] & (setting.heads.real[:, 1] > 0))


def _laid(
    setting: Setting, point: Point, states: GroupStates, groups: Groups, lines: int
) -> list[FloatArray]:
    """(g, 2) own splits that lay each pair's lines of rest all round, as far apart as heard."""
    mean = setting.moments.mean_hz[groups, None]
    upper = states.even[groups][:, :, 1].real  # the higher mode over the even pair
    whole = _along(2.0 * np.arctan2(upper[:, 1], upper[:, 0])) * states.spread_hz[groups, 1:] / mean
    rods = whole - point.inner[groups]
    heard = 0.5 * setting.moments.split_hz[groups, None] / mean
    all_round = np.linspace(0.0, 2.0 * np.pi, lines, endpoint=False)
    return [heard * _along(np.full(len(groups), line)) - rods for line in all_round]


def _along(angle_rad: FloatArray) -> FloatArray:
    """(g, 2) a split along and across the even pair's axes."""
    return np.stack([np.cos(angle_rad), np.sin(angle_rad)], axis=1)


def _best(
    setting: Setting, point: Point, groups: Groups, tried: Sequence[FloatArray], own_sd: float
) -> Point:
    """The point with the likeliest of the tried own splits, and microphones to match."""
    white = setting.white[groups]
    phi = tapped_at(setting, point).value @ setting.heads.ritz[groups]
    heard = (white @ setting.moments.values[groups][..., None])[..., 0]
    stack, shift = setting.heads.part(groups.tolist()), setting.shift_of_all @ point.log_shift
    microphone, inner = point.microphone.copy(), point.inner.copy()
    most = np.full(len(groups), -np.inf)
    for own in tried:
        states = solve_groups(stack, point.uneven, shift, own)
        pattern = white @ np.einsum("gtb,gjbm->gtjm", phi, states.moments())
        for i, g in enumerate(groups):
            start = np.concatenate([point.microphone[g][:, None], _RATIOS], axis=1)
            told = _explained(pattern[i], heard[i], start)
            found = _refined(pattern[i], heard[i], start[:, int(np.argmax(told))])
            likely = float(_explained(pattern[i], heard[i], found[:, None])[0])
            likely -= float(np.sum((own[i] / own_sd) ** 2))
            if likely > most[i]:
                most[i], microphone[g], inner[g] = likely, found, own[i]
    return replace(point, microphone=microphone, inner=inner)


def _explained(pattern: ComplexArray, heard: ComplexArray, tried: ComplexArray) -> FloatArray:
    """(D,) sum of squares that free strengths explain, for microphones (2, D)."""
    shown = pattern @ tried  # (T, 2, D)
    power = np.maximum(np.sum(np.abs(shown) ** 2, axis=1), 1e-300)
    along = np.abs(np.sum(shown.conj() * heard[:, :, None], axis=1)) ** 2
    return np.asarray(np.sum(along / power, axis=0))


def _refined(pattern: ComplexArray, heard: ComplexArray, start: ComplexArray) -> ComplexArray:
    """The microphone after strengths and microphone in turns, each the best for the other."""
    microphone = start
    for _ in range(_PASSES):
        shown = pattern @ microphone
        power = np.maximum(np.sum(np.abs(shown) ** 2, axis=1), 1e-300)
        strength = np.sum(shown.conj() * heard, axis=1) / power
        mine = strength[:, None, None] * pattern
        normal = np.einsum("tjm,tjn->mn", mine.conj(), mine)
        normal.flat[::3] *= 1.0 + 1e-9
        right = np.einsum("tjm,tj->m", mine.conj(), heard)
        microphone = np.linalg.solve(normal, right)
    return microphone
