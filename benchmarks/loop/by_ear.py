"""Evening a head by ear: what a careful person does who hears the low pitch at each rod.

All of them hear with 3 cents of error and know how far a turn of all rods moves the pitch
of their drum. They turn with the same hand errors as everyone else.
"""

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from benchmarks.truth import TrueDrum

Array = NDArray[np.float64]
Policy = Callable[[TrueDrum, np.random.Generator], TrueDrum]

HEARING_CENTS = 3.0
ROUNDS = 4
_BAND_CENTS = 5.0
"""Pitches closer than this count as matched."""


def _turn_per_deviation(truth: TrueDrum) -> float:
    """Turns of all rods that raise the tension by its own amount (deviation 1)."""
    n = truth.rods
    per_metre = float(np.mean(truth.response.around[:, :n].sum(axis=1)))
    pitch = truth.nominal.thread_pitch_m
    return truth.rim_tension() / (per_metre * pitch * float(np.mean(truth.arrives)))


def _heard(truth: TrueDrum, rng: np.random.Generator) -> Array:
    pitch = np.array([truth.low_pitch(rod) for rod in range(1, truth.rods + 1)])
    heard: Array = pitch * 2.0 ** (HEARING_CENTS / 1200.0 * rng.normal(size=truth.rods))
    return heard


def _with_the_rod_across(values: Array) -> Array:
    """Mean of each rod's value and that of the rod across (odd counts: itself)."""
    n = len(values)
    return values if n % 2 else 0.5 * (values + np.roll(values, n // 2))


def _kept(cents_off: Array, turns: Array) -> Array:
    """Turns of the rods that sound off, the total kept."""
    off = np.abs(cents_off) > _BAND_CENTS
    wanted = np.where(off, turns, 0.0)
    if off.any():
        wanted[off] -= wanted[off].mean()
    kept: Array = np.clip(wanted, -0.25, 0.25)
    return kept


def local_pitch_squared(truth: TrueDrum, rng: np.random.Generator) -> TrueDrum:
    """Take tension as the square of the pitch at the rod; turn every rod by that."""
    heard = _heard(truth, rng)
    relative = heard / heard.mean()
    turns = -(relative**2 - 1.0) * _turn_per_deviation(truth)
    return truth.turned(_kept(1200.0 * np.log2(relative), turns), rng)


def pairs_across(truth: TrueDrum, rng: np.random.Generator) -> TrueDrum:
    """The same, each rod together with the rod across, and twice as far.

    A pull of two-fold shape moves the pitch at the rods half as much as local tension
    would, so that the doubled turn is the best that the low pitch allows.
    """
    heard = _with_the_rod_across(_heard(truth, rng))
    relative = heard / heard.mean()
    turns = -2.0 * (relative**2 - 1.0) * _turn_per_deviation(truth) / 0.6
    return truth.turned(_kept(1200.0 * np.log2(relative), turns), rng)


def match_across(truth: TrueDrum, rng: np.random.Generator) -> TrueDrum:
    """Match each rod to the rod across: the lower of the two up, the higher down."""
    heard = _heard(truth, rng)
    other = np.roll(heard, truth.rods // 2)
    relative = heard / np.sqrt(heard * other)
    turns = -(relative**2 - 1.0) * _turn_per_deviation(truth)
    return truth.turned(_kept(1200.0 * np.log2(relative), turns), rng)


def star_listening_again(truth: TrueDrum, rng: np.random.Generator) -> TrueDrum:
    """In star order, rod by rod: match the pitch to the head's mean, listen again, go on."""
    half = truth.rods // 2
    order = [rod for first in range(half) for rod in (first, first + half)]
    aim = _heard(truth, rng).mean()
    for rod in order:
        pitch = truth.low_pitch(rod + 1) * 2.0 ** (HEARING_CENTS / 1200.0 * rng.normal())
        off = 1200.0 * np.log2(pitch / aim)
        if abs(off) > _BAND_CENTS:
            turns = np.zeros(truth.rods)
            wanted = -((pitch / aim) ** 2 - 1.0) * _turn_per_deviation(truth)
            turns[rod] = np.clip(wanted, -0.25, 0.25)
            truth = truth.turned(turns, rng)
    return truth


POLICIES: dict[str, Policy] = {
    "local pitch squared": local_pitch_squared,
    "pitch, rods across together": pairs_across,
    "match the rod across": match_across,
    "star order, listening again": star_listening_again,
}


def rounds_by_ear(
    truth: TrueDrum, policy: Policy, rng: np.random.Generator, rounds: int = ROUNDS
) -> Iterator[Array]:
    """True deviations at the start and after each round of a policy."""
    yield truth.deviations()
    for _ in range(rounds):
        truth = policy(truth, rng)
        yield truth.deviations()
