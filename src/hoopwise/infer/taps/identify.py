"""Which pole of a round belongs to which mode of the head.

Two kinds of evidence are weighed together: where a pole lies against the air-loaded comb of
the even head, and how its amplitude runs round the hoop (a mode with m nodal diameters goes
through m waves). Two poles of one pair must also ring for about as long. The strength of each
tap is taken from an anchor pole, the round mode (0,1), or where none is heard from all its
poles together.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from hoopwise.errors import RoundError
from hoopwise.infer.head.even_head import EvenHead
from hoopwise.infer.head.rod_model import Name
from hoopwise.infer.taps.pair_choice import pairs_chosen
from hoopwise.infer.taps.places import spots, waves_seen
from hoopwise.listen.types import JointModes

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

USED: tuple[Name, ...] = ((0, 1), (1, 1), (2, 1), (0, 2), (3, 1), (1, 2), (4, 1))
"""Groups the reading is made from; those split by the hoop's own rods are left out."""
_TOLERANCE = 0.045
_PLACE_TOLERANCE = 0.02
"""Log distance at which a pole begins to look misplaced, half a wide pair's split included."""
_FURTHEST = 3.5
_RING_ALIKE = 2.4
"""A pair's two modes radiate alike: their ring times differ by no more than this factor."""
_OF_BOTH_HEADS: tuple[Name, ...] = ((0, 1), (1, 2))
"""In a closed shell these move the other head as well, whose mass nobody knows: not read from.

(0,1) squeezes the air between the heads, and (1,2) shares the wave in which it sloshes.
"""
_WITH_AIR: tuple[Name, ...] = ((1, 0), (1, 2))
_BESIDE = 0.04
"""Log distance from these two within which a group is not read either.

What they lend a neighbour turns with which of the two is higher, and their pitch is foretold
no better than that.
"""
_EMPTY_COST = 6.0
_NEVER = 1e6
_FAINT_COST = 0.35
_FAINT = 10 ** (-50 / 20)
_LEAST = 0.3
"""Score below which the taps are not of this drum."""
_PLAIN = 0.45
"""Score above which the naming is plain."""


@dataclass(frozen=True)
class Identified:
    """Poles by mode group, the shift that brings the comb onto them, and tap strengths."""

    poles: dict[Name, tuple[int, ...]]
    log_shift: float
    """Measured over even-head frequency, log, common to all groups."""
    anchor: ComplexArray
    """(T,) relative complex strength of each tap."""
    score: float
    """Share of the expected groups that were found where they should be, 0 to 1."""


@dataclass(frozen=True)
class _Tried:
    """The best score with one anchor, and what goes with it."""

    score: float
    log_shift: float
    anchor: ComplexArray
    pattern: FloatArray


def used_groups(head: EvenHead) -> tuple[Name, ...]:
    """Groups to read from: on a hoop of N rods, and with the shell open or closed."""
    left_out = _OF_BOTH_HEADS if closed_in(head) else ()
    return tuple(n for n in USED if 2 * n[0] != head.rods and n not in left_out)


def closed_in(head: EvenHead) -> bool:
    """Whether the air in a closed shell has modes of its own among the head's."""
    return any(n == 0 for _, n in head.names)


def identify(joint: JointModes, angle_rad: FloatArray, head: EvenHead) -> Identified:
    """The most likely naming of a round's poles.

    Raises
    ------
    RoundError
        No naming puts at least three groups where the drum file says they should be.
    """
    level = np.sqrt(np.mean(np.abs(joint.amplitude) ** 2, axis=0))
    loud = np.flatnonzero(level > _FAINT * level.max())
    anchors = [joint.amplitude[:, k] for k in loud if level[k] > 0.03 * level.max()][:6]
    places = spots(angle_rad, head.rods)
    shifts, expected = _shifts(joint, loud, head), _expected(head, places)

    def tried(anchor: ComplexArray, pattern: FloatArray) -> _Tried:
        scores = _scores(joint, loud, level, pattern, expected, shifts)
        at = int(np.argmax(scores))
        return _Tried(float(scores[at]), float(shifts[at]), anchor, pattern)

    def by_waves(anchor: ComplexArray) -> _Tried:
        return tried(anchor, _patterns(joint, anchor, angle_rad, places))

    best = max(map(by_waves, anchors), key=lambda t: t.score)
    loudness = _loudness(joint, loud, level)
    if best.score < _PLAIN:  # a muted head may sound no round mode at all
        best = max(best, by_waves(loudness), key=lambda t: t.score)
    if best.score < _LEAST:  # a soft mallet strikes high modes with any sign, tap by tap
        sizes = _size_patterns(joint, loudness, angle_rad, places)
        best = max(best, tried(anchors[0], sizes), key=lambda t: t.score)
    if best.score < _LEAST:
        raise RoundError(
            "The taps do not sound like the drum in the drum file: fewer than three of its modes "
            "are where they should be. Check diameter, film and which head was tapped."
        )
    shift, anchor = best.log_shift, best.anchor
    named = _assign(joint, loud, level, best.pattern, head, shift, places)
    expected_hz = {name: hz * float(np.exp(shift)) for name, _, hz in expected}
    poles = pairs_chosen(joint, named, anchor, angle_rad, places, expected_hz)
    strength = joint.amplitude[:, poles[(0, 1)][0]] if (0, 1) in poles else anchor
    return Identified(poles, shift, strength / np.mean(np.abs(strength)), best.score)


def _loudness(joint: JointModes, loud: NDArray[np.intp], level: FloatArray) -> ComplexArray:
    """(T,) strength of each tap by all its poles together, whatever their nodes."""
    share = np.abs(joint.amplitude[:, loud]) ** 2 / level[loud] ** 2
    return np.asarray(np.sqrt(np.mean(share, axis=1)), dtype=np.complex128)


def _patterns(
    joint: JointModes, anchor: ComplexArray, angle_rad: FloatArray, places: int
) -> FloatArray:
    """(K, places // 2 + 1): share of each pole's amplitude that runs in m waves round the hoop."""
    size = np.maximum(np.abs(anchor), 0.05 * np.median(np.abs(anchor)))
    gain = size * np.exp(1j * np.angle(anchor))
    y = joint.amplitude / gain[:, None]
    total = np.sum(np.abs(y) ** 2, axis=0)
    shares = []
    for m in range(places // 2 + 1):
        waves = [np.cos(m * angle_rad)]
        if 0 < 2 * m < places:
            waves.append(np.sin(m * angle_rad))
        design = np.stack(waves, axis=1)
        found, *_ = np.linalg.lstsq(design.astype(np.complex128), y, rcond=None)
        shares.append(np.sum(np.abs(design @ found) ** 2, axis=0) / total)
    return np.stack(shares, axis=1)


def _size_patterns(
    joint: JointModes, loudness: ComplexArray, angle_rad: FloatArray, places: int
) -> FloatArray:
    """(K, places // 2 + 1): how much each pole's size alone looks like m waves round the hoop.

    The square of m waves is a mean and 2 m waves of its size, whatever their signs.
    """
    square = np.abs(joint.amplitude / np.abs(loudness)[:, None]) ** 2
    uneven = square / square.mean(axis=0) - 1.0
    total = np.mean(uneven**2, axis=0)
    shares = [np.maximum(1.0 - 2.0 * total, 0.0)]
    for m in range(1, places // 2 + 1):
        if 2 * m == places:
            shares.append(np.zeros(len(total)))  # at these places it looks like no wave
            continue
        design = np.stack([np.cos(2 * m * angle_rad), np.sin(2 * m * angle_rad)], axis=1)
        found, *_ = np.linalg.lstsq(design, uneven, rcond=None)
        told = np.mean((design @ found) ** 2, axis=0)
        shares.append(np.minimum(told / np.maximum(total, 0.5), 1.0))
    return np.stack(shares, axis=1)


def _shifts(joint: JointModes, loud: NDArray[np.intp], head: EvenHead) -> FloatArray:
    """Log shifts worth trying: those that put (1,1) or (2,1) near a loud pole."""
    tries = [
        np.log(joint.frequency_hz[k] / head.frequency_hz[head.members(name)[0]])
        for k in loud
        for name in ((0, 1), (1, 1), (2, 1))
    ]
    return np.unique(np.round(np.array(tries), 3))


def _expected(head: EvenHead, places: int) -> list[tuple[Name, int, float]]:
    """Groups with their aliased wave number and even frequency."""
    rows = []
    for name in used_groups(head):
        waves = waves_seen(name[0], places)
        rows.append((name, waves, float(head.frequency_hz[head.members(name)[0]])))
    return rows


def _scores(
    joint: JointModes,
    loud: NDArray[np.intp],
    level: FloatArray,
    pattern: FloatArray,
    expected: list[tuple[Name, int, float]],
    shifts: FloatArray,
) -> FloatArray:
    """(len(shifts),) how well loud poles serve as the expected groups, 0 to 1."""
    waves = [w for _, w, _ in expected]
    worth = np.array([1.0 if name[1] == 1 else 0.5 for name, _, _ in expected])
    loudness = 1.0 + np.log10(np.maximum(level[loud] / level.max(), 1e-3)) / 3.0
    pitch = np.log([hz for _, _, hz in expected])[:, None] + shifts[:, None, None]
    miss = (np.log(joint.frequency_hz[loud]) - pitch) / _TOLERANCE  # (shifts, groups, poles)
    # each pole as a mode of that many waves at that pitch
    match = pattern[loud][:, waves].T * np.exp(-0.5 * miss**2)
    best = np.max(match * (0.5 + loudness / 2), axis=2)
    return np.asarray(best @ worth / worth.sum())


def _slots(head: EvenHead, places: int) -> list[tuple[Name, int, float]]:
    """A place for every mode that may lie among the used ones: name, waves, even pitch.

    Groups that are not read from have places too, so that their poles do not fall to others.
    """
    highest = max(hz for _, _, hz in _expected(head, places)) * 1.25
    rows = []
    for name, hz in zip(head.names, head.frequency_hz, strict=True):
        waves = waves_seen(name[0], places)
        if hz < highest and waves >= 0:
            rows.append((name, waves, float(hz)))
    return rows


def _assign(
    joint: JointModes,
    loud: NDArray[np.intp],
    level: FloatArray,
    pattern: FloatArray,
    head: EvenHead,
    shift: float,
    places: int,
) -> dict[Name, tuple[int, ...]]:
    """Poles to slots at the least total cost, all slots weighed together."""
    slots = _slots(head, places)
    waves = np.array([w for _, w, _ in slots])
    expected = np.log(np.array([hz for _, _, hz in slots])) + shift
    miss = (np.log(joint.frequency_hz[loud])[None, :] - expected[:, None]) / _PLACE_TOLERANCE
    fits = pattern[loud][:, waves].T
    faint = -np.log(level[loud] / level.max() + 1e-3)
    cost = 0.5 * miss**2 - np.log(0.1 + fits) + _FAINT_COST * faint[None, :]
    wanted = used_groups(head)
    while True:
        # A slot may stay empty, at a cost.
        empty = np.full((len(slots), len(slots)), _EMPTY_COST)
        chosen_slot, chosen = linear_sum_assignment(np.concatenate([cost, empty], axis=1))
        poles: dict[Name, list[int]] = {}
        for i, k in zip(chosen_slot, chosen, strict=True):
            if k < len(loud) and slots[i][0] in wanted and abs(miss[i, k]) < _FURTHEST:
                poles.setdefault(slots[i][0], []).append(int(k))
        unlike = [
            (name, odd)
            for name, pair in poles.items()
            if (odd := _unlike(joint.t60_s[loud], cost, slots, name, pair)) is not None
        ]
        if not unlike:
            break
        for name, pole in unlike:
            cost[[slot[0] == name for slot in slots], pole] = _NEVER
    unsure = _shared_with_air(head) + shift
    log_hz = np.log(joint.frequency_hz[loud])
    return {
        name: tuple(sorted(int(loud[p]) for p in found))
        for name, found in poles.items()
        if np.all(np.abs(np.mean(log_hz[found]) - unsure) > _BESIDE)
    }


def _shared_with_air(head: EvenHead) -> FloatArray:
    """Log frequencies of the even modes that share the air's first wave in a closed shell."""
    if not closed_in(head):
        return np.empty(0)
    return np.log([head.frequency_hz[head.members(name)[0]] for name in _WITH_AIR])


def _unlike(
    t60_s: FloatArray,
    cost: FloatArray,
    slots: list[tuple[Name, int, float]],
    name: Name,
    pair: list[int],
) -> int | None:
    """The pole that suits a pair less, where the two ring too differently to be one."""
    ring = t60_s[pair]
    if ring.max() < _RING_ALIKE * ring.min():
        return None
    place = next(i for i, slot in enumerate(slots) if slot[0] == name)
    return max(pair, key=lambda k: float(cost[place, k]))
