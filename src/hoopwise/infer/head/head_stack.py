"""Even heads side by side, one for each mode group of a fit, as arrays over the groups.

A fit asks for all its groups at every step; taken together they cost little more than one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.head.even_head import EvenHead

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

Name = tuple[int, int]


@dataclass(frozen=True, eq=False)
class HeadStack:
    """G even heads with B modes each; head g has all its air at group g's frequency."""

    groups: tuple[Name, ...]
    """(G,) the group that each head is for."""
    names: tuple[Name, ...]
    """(B,) of the even modes, the same in all heads."""
    frequency_hz: FloatArray
    """(G, B)"""
    ritz: FloatArray
    """(G, B_ritz, B)"""
    ripple: FloatArray
    """(G, B, B)"""
    coupling: FloatArray
    """(G, U, B, B) as of an even head."""
    loss: FloatArray
    """(G, B, B)"""
    members: IntArray
    """(G, 2) each group's even modes; a round mode's one stands twice."""
    membership: FloatArray
    """(G, B) 1 where an even mode belongs to a group."""

    @cached_property
    def pairs(self) -> IntArray:
        """Indices of the groups with two modes."""
        return np.flatnonzero(self.members[:, 0] != self.members[:, 1])

    @cached_property
    def real(self) -> FloatArray:
        """(G, 2) 0 for the second mode that a round group does not have, else 1."""
        out = np.ones((len(self.groups), 2))
        out[self.members[:, 0] == self.members[:, 1], 1] = 0.0
        return out

    @cached_property
    def both(self) -> FloatArray:
        """(G, 2, 2) 1 where both of two modes of a group are real, else 0."""
        return np.asarray(self.real[:, :, None] * self.real[:, None, :])

    @cached_property
    def each(self) -> IntArray:
        """(G, 1) indices of the heads, to pick modes from each with."""
        return np.arange(len(self.groups))[:, None]

    @cached_property
    def own_splits(self) -> tuple[IntArray, IntArray, IntArray]:
        """The groups with two modes, and the even modes i and j of each."""
        i, j = self.members[self.pairs].T
        return self.pairs, i, j

    def part(self, chosen: Sequence[int]) -> "HeadStack":
        """The heads of some groups only."""
        at = np.array(chosen, dtype=np.intp)
        return replace(
            self,
            groups=tuple(self.groups[g] for g in chosen),
            frequency_hz=self.frequency_hz[at],
            ritz=self.ritz[at],
            ripple=self.ripple[at],
            coupling=self.coupling[at],
            loss=self.loss[at],
            members=self.members[at],
            membership=self.membership[at],
        )


def stack_heads(heads: Sequence[EvenHead], groups: Sequence[Name]) -> HeadStack:
    """Heads of one drum at the frequencies of as many groups; they must hold equal modes."""
    first = heads[0]
    rows = [first.members(name) for name in groups]
    return HeadStack(
        groups=tuple(groups),
        names=first.names,
        frequency_hz=np.stack([h.frequency_hz for h in heads]),
        ritz=np.stack([h.ritz for h in heads]),
        ripple=np.stack([h.ripple for h in heads]),
        coupling=np.stack([h.coupling for h in heads]),
        loss=np.stack([h.loss for h in heads]),
        members=np.array([(r[0], r[-1]) for r in rows], dtype=np.intp),
        membership=np.array([[float(n == name) for n in first.names] for name in groups]),
    )


def keeping(stack: HeadStack, kept: IntArray) -> HeadStack:
    """The same heads with some of their even modes only: quicker, a little less exact."""
    place = np.full(len(stack.names), -1, dtype=np.intp)
    place[kept] = np.arange(len(kept))
    return replace(
        stack,
        names=tuple(stack.names[k] for k in kept),
        frequency_hz=stack.frequency_hz[:, kept],
        ritz=np.ascontiguousarray(stack.ritz[:, :, kept]),
        ripple=stack.ripple[:, kept][:, :, kept],
        coupling=np.ascontiguousarray(stack.coupling[:, :, kept][:, :, :, kept]),
        loss=stack.loss[:, kept][:, :, kept],
        members=place[stack.members],
        membership=stack.membership[:, kept],
    )
