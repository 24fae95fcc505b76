"""Which taps of a recording belong to which rod, told by their pauses and their sound.

Two taps at one rod are nearly the same wave; at another rod modes answer more or less,
some with the other sign, so that even the rod across differs. From each tap to the next
the evidence that the rod changed is a number (log odds), and a way to deal taps to rods is
weighed by the sum over its changes less the sum over the rest. What cannot be told is
refused or said, never guessed in silence.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RoundError
from hoopwise.infer.taps.likeness import likeness, wave

FloatArray = NDArray[np.float64]

_ALIKE: Final = 0.03
"""One less the likeness of two taps, at which one rod and two rods are as likely.

On simulated drums it is below 0.03 for 19 of 20 pairs at one rod and above it for most at
neighbouring rods, soft mallets the least (`tests/test_cli_round_visits.py`).
"""
_ALIKE_RANGE: Final = (0.006, 0.05)
_TWO_KINDS: Final = 1.6
_MOST_LIKENESS: Final = 3.0
_MOST_PAUSE: Final = 2.0
_OTHER_FILE: Final = 8.0
_PLAIN: Final = 3.0
"""The plain reading of a count is taken unless another is better by this much."""
_CLEAR: Final = 2.0
_NEAR_ZERO: Final = 0.7
_MOST_TAPS: Final = 6
_MOST_ROUNDS: Final = 3


@dataclass(frozen=True)
class CutTap:
    """One tap cut from a recording."""

    samples: FloatArray
    rate: float
    onset_s: float
    """Within the samples."""
    at_s: float
    """In the recording."""
    file: int = 0
    """Number of the recording it comes from."""


@dataclass(frozen=True)
class Dealt:
    """Taps dealt to rods."""

    rods: tuple[float, ...]
    """Rod of each tap."""
    sentence: str = ""
    """Which reading of the count was taken, where it is not the plain one."""


@dataclass(frozen=True)
class _Way:
    """One way to deal: rods visited and how many taps at each."""

    visits: tuple[float, ...]
    sizes: tuple[int, ...]
    words: str
    score: float = 0.0

    @property
    def changes(self) -> list[int]:
        """Gaps between taps, from 0, at which the rod changes."""
        return [end - 1 for end in accumulate(self.sizes)][:-1]

    @property
    def rods(self) -> tuple[float, ...]:
        return tuple(
            r for r, size in zip(self.visits, self.sizes, strict=True) for _ in range(size)
        )


def deal(taps: Sequence[CutTap], rods: Sequence[float]) -> Dealt:
    """Deal taps, in the order recorded, to rods in the order they were visited.

    Raises
    ------
    RoundError
        There are fewer taps than rods, or it is not clear which taps belong together.
    """
    if len(taps) < len(rods):
        raise RoundError(
            f"{_count(len(taps))} found for {len(rods)} rods named; name only the rods that were "
            "tapped, or record one file a rod."
        )
    if len(rods) == 1 or (len(taps) == len(rods) and _repeats(rods)):
        return Dealt(tuple(rods) if len(rods) > 1 else (rods[0],) * len(taps))
    sound, pause = _evidence(taps, len(rods) - 1)
    evidence = sound + pause
    plain, others, clear = _ways(evidence, tuple(rods))
    if plain is not None and all(o.score < plain.score + _PLAIN for o in others):
        return Dealt(plain.rods, _one_each(plain, sound))
    ranked = sorted([*others, *([plain] if plain else [])], key=lambda w: -w.score)
    if ranked and (len(ranked) == 1 or ranked[0].score > ranked[1].score + _PLAIN):
        best = ranked[0]
        if best.words != _UNEVEN or clear:
            return Dealt(best.rods, _taken(len(taps), len(rods), best))
    # An equal count is taken unless the sound speaks for whole rounds instead.
    rounds = max((o.score for o in others if o.words != _UNEVEN), default=-np.inf)
    if plain is not None and plain.score > rounds - _PLAIN:
        return Dealt(plain.rods, _doubtful(plain, evidence))
    raise RoundError(_unclear(len(taps), len(rods), evidence))


_UNEVEN: Final = "uneven"


def _ways(evidence: FloatArray, rods: tuple[float, ...]) -> tuple[_Way | None, list[_Way], bool]:
    """The plain way if the count allows it, the others, and whether an uneven one is clear."""
    count, named = len(evidence) + 1, len(rods)
    plain, others = None, []
    if count % named == 0:
        times = count // named
        plain = _scored(_Way(rods, (times,) * named, ""), evidence)
        for rounds in range(2, 1 + min(times, _MOST_ROUNDS)):
            if times % rounds == 0 and named > 2:
                sizes = (times // rounds,) * (named * rounds)
                others.append(_scored(_Way(rods * rounds, sizes, f"{rounds} rounds"), evidence))
    uneven, clear = _best_uneven(evidence, rods)
    if uneven is not None and (plain is None or uneven.sizes != plain.sizes):
        others.append(uneven)
    return plain, others, clear


def _best_uneven(evidence: FloatArray, rods: tuple[float, ...]) -> tuple[_Way | None, bool]:
    """Changes where the evidence for them is strongest, and whether they stand out."""
    order = np.argsort(-evidence)
    changes = np.sort(order[: len(rods) - 1])
    edges = [-1, *changes.tolist(), len(evidence)]
    sizes = tuple(b - a for a, b in pairwise(edges))
    if max(sizes) > _MOST_TAPS:
        return None, False
    last = float(evidence[order[len(rods) - 2]])
    rest = evidence[order[len(rods) - 1 :]]
    following = float(rest[0]) if len(rest) else -np.inf
    usual = max(set(sizes), key=sizes.count)
    split = any(a + b <= usual for a, b in pairwise(sizes))  # more like one rod than two
    clear = (
        not split
        and last > -_NEAR_ZERO
        and following < _NEAR_ZERO
        and 2.0 * (last - following) > _CLEAR
    )
    return _scored(_Way(rods, sizes, _UNEVEN), evidence), clear


def _scored(way: _Way, evidence: FloatArray) -> _Way:
    signs = -np.ones(len(evidence))
    signs[way.changes] = 1.0
    return _Way(way.visits, way.sizes, way.words, float(signs @ evidence))


def _evidence(taps: Sequence[CutTap], changes: int) -> tuple[FloatArray, FloatArray]:
    """(T-1,) log odds that the rod changed from each tap to the next: by sound, by pause."""
    waves = [wave(tap.samples, tap.rate, tap.onset_s) for tap in taps]
    unlike = np.array([1.0 - likeness(a, b) for a, b in pairwise(waves)])
    apart = np.log(np.maximum(unlike, 1e-6))
    sound = np.clip(apart - _border(apart), -_MOST_LIKENESS, _MOST_LIKENESS)
    other = np.array([a.file != b.file for a, b in pairwise(taps)])
    sound[other] = _OTHER_FILE
    log_gap = np.array(
        [np.log(max(b.at_s - a.at_s, 0.05)) if a.file == b.file else np.nan
         for a, b in pairwise(taps)]
    )  # fmt: skip
    within = np.sort(log_gap[~other])[::-1]
    long_ones = changes - int(other.sum())
    if not 0 < long_ones < len(within):
        return sound, np.zeros(len(sound))
    middle = 0.5 * (within[long_ones - 1] + within[long_ones])
    pause = np.clip(3.0 * (log_gap - middle), -_MOST_PAUSE, _MOST_PAUSE)
    return sound, np.where(other, 0.0, pause)


def _border(apart: FloatArray) -> float:
    """Log unlikeness between one rod and two, moved to where this tip and room put it."""
    low, high = float(apart.min()), float(apart.max())
    for _ in range(20):
        middle = 0.5 * (low + high)
        under, over = apart[apart <= middle], apart[apart > middle]
        if not len(under) or not len(over):
            break
        low, high = float(under.mean()), float(over.mean())
    if high - low < _TWO_KINDS:
        return float(np.log(_ALIKE))
    return float(np.clip(0.5 * (low + high), *np.log(_ALIKE_RANGE)))


def _repeats(rods: Sequence[float]) -> bool:
    return any(a == b for a, b in pairwise(rods))


def _count(taps: int) -> str:
    return "1 tap was" if taps == 1 else f"{taps} taps were"


def _taken(taps: int, named: int, way: _Way) -> str:
    start = f"{_count(taps)} found for {named} rods named"
    if way.words != _UNEVEN:
        return f"{start}; by their sound they are {way.words} over all rods, one after the other."
    usual = max(set(way.sizes), key=way.sizes.count)
    odd = [f"{s} at rod {r:g}" for r, s in zip(way.visits, way.sizes, strict=True) if s != usual]
    return f"{start}; by pauses and sound they are {', '.join(odd)}, and {usual} at each other."


def _one_each(way: _Way, sound: FloatArray) -> str:
    """A doubt where taps taken as at two rods are as good as the same."""
    same = [i for i in way.changes if sound[i] <= -2.0]
    if not same:
        return ""
    i = same[0]
    return (
        f"Taps {i + 1} and {i + 2} sound like one rod; they were taken as rods {way.rods[i]:g} and "
        f"{way.rods[i + 1]:g}, as the count says."
    )


def _doubtful(way: _Way, evidence: FloatArray) -> str:
    changes = set(way.changes)
    wrong = [e if i in changes else -e for i, e in enumerate(evidence)]
    i = int(np.argmin(wrong))
    return (
        f"The taps were taken as {way.sizes[0]} in a row at each rod, but taps {i + 1} and {i + 2} "
        "do not sound so; name a rod for every tap, or record one file a rod, if that is wrong."
    )


def _unclear(taps: int, named: int, evidence: FloatArray) -> str:
    like = int(np.sum(evidence > 0.0)) + 1
    heard = f" (by their sound, at {like} rods)" if like != named else ""
    return (
        f"{_count(taps)} found for {named} rods named{heard}, and it is not clear which belong "
        "together. Name a rod for every tap (--rods 1,1,2,2,…), or record one file a rod, or "
        "tap each rod equally often."
    )
