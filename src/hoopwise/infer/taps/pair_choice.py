"""Which two of three or more poles are a pair's modes.

A room, another head or the listening itself may set a further pole beside a pair, heard in as
many waves round the hoop and nearer to where the pair should be than its own modes are. But the
two modes of a pair take turns round the hoop: the lines of rest of the one lie where the other
rings most. A further pole is some mixture of the two.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.head.rod_model import Name
from hoopwise.infer.taps.places import waves_seen
from hoopwise.listen.types import JointModes

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_REACH = 0.05
"""Log distance from where the pair should be within which its modes may lie."""
_MISPLACED = 0.02
"""Log distance of a pair's middle from there at which it begins to look misplaced."""
_SHARE = 0.4
"""Share of a pole's amplitude that must run in the pair's number of waves."""
_MIXED = 0.3
"""Cosine of two poles round the hoop from which on they do not look like a pair."""
_FAINT_COST = 0.7
"""Cost of a mode e times as faint; what is beside a pair is fainter as a rule."""


@dataclass(frozen=True)
class Around:
    """How the poles run round the hoop in a number of waves."""

    turns: ComplexArray
    """(2, K) cosine and sine part of each pole's amplitude."""
    share: FloatArray
    """(K,) of its power that these explain."""


def around(joint: JointModes, strength: ComplexArray, angle_rad: FloatArray, waves: int) -> Around:
    """Parts of each pole in so many waves, the strengths (T,) of the taps taken off."""
    size = np.maximum(np.abs(strength), 0.05 * np.median(np.abs(strength)))
    heard = joint.amplitude / (size * np.exp(1j * np.angle(strength)))[:, None]
    design = np.stack([np.cos(waves * angle_rad), np.sin(waves * angle_rad)], axis=1)
    turns, *_ = np.linalg.lstsq(design.astype(np.complex128), heard, rcond=None)
    told = np.sum(np.abs(design @ turns) ** 2, axis=0)
    return Around(turns, told / np.sum(np.abs(heard) ** 2, axis=0))


def best_pair(
    joint: JointModes, seen: Around, expected_hz: float, named: tuple[int, int], free: list[int]
) -> tuple[int, int]:
    """The two of the named and the free poles that are most likely the pair."""
    away = np.log(joint.frequency_hz / expected_hz)
    near = [k for k in free if abs(away[k]) < _REACH and seen.share[k] > _SHARE]
    level = np.sqrt(np.mean(np.abs(joint.amplitude) ** 2, axis=0))

    def cost(pair: tuple[int, int]) -> float:
        one, other = (seen.turns[:, k] for k in pair)
        size = float(np.linalg.norm(one) * np.linalg.norm(other))
        mixed = float(np.abs(np.vdot(one, other))) / max(size, 1e-300)
        middle = 0.5 * float(away[pair[0]] + away[pair[1]])
        faint = -float(np.sum(np.log(level[list(pair)])))
        odd = -float(np.sum(np.log(0.1 + seen.share[list(pair)])))
        return (
            0.5 * (middle / _MISPLACED) ** 2 + 0.5 * (mixed / _MIXED) ** 2
            + _FAINT_COST * faint + odd
        )  # fmt: skip

    low, high = min(combinations(sorted((*named, *near)), 2), key=cost)
    return low, high


def pairs_chosen(
    joint: JointModes,
    named: dict[Name, tuple[int, ...]],
    strength: ComplexArray,
    angle_rad: FloatArray,
    places: int,
    expected_hz: dict[Name, float],
) -> dict[Name, tuple[int, ...]]:
    """The same naming, each pair made of the two poles that go together best."""
    chosen = dict(named)
    for name, poles in named.items():
        if len(poles) != 2 or name[0] == 0:
            continue
        waves = waves_seen(name[0], places)
        taken = {k for group in chosen.values() for k in group}
        free = [k for k in range(len(joint.frequency_hz)) if k not in taken]
        seen = around(joint, strength, angle_rad, waves)
        low, high = poles
        chosen[name] = best_pair(joint, seen, expected_hz[name], (low, high), free)
    return chosen
