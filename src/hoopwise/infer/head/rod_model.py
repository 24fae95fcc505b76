"""From deviations to what taps show: the model that the fit compares with.

For a group g of modes (a pair, or one round mode) a tap at place x shows two complex
numbers that stay smooth where the pair is nearly degenerate: the summed amplitude
S0 = phi(x) P E r and the frequency-weighted sum S1 = phi(x) F P E r, with P the projector
on the group's modes, F their frequencies against the group's mean (Hz), E the even pair and
r two complex numbers that say how the microphone hears it.

All groups are computed together. A round mode stands as a pair whose second mode is nought.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.head.head_stack import HeadStack, Name

__all__ = ["GroupStates", "Name", "solve_groups"]

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class _Solved:
    """The eigenproblem of each group's head, B even modes."""

    stack: HeadStack
    omega: FloatArray
    """(G, B)"""
    matrix: FloatArray
    """(G, B, B)"""
    vectors: FloatArray
    """(G, B, B)"""
    mine: NDArray[np.intp]
    """(G, 2) the eigenvectors that belong to the group."""
    picked: FloatArray
    """(G, B, 2) these eigenvectors."""
    share: ComplexArray
    """(G, B, 2) what a slope towards another eigenvector turns a mode by; nought if missing."""

    @cached_property
    def rotated(self) -> FloatArray:
        """(G, B, P, 2) slopes of the matrix times the picked modes, in the eigenvectors' terms."""
        stack, omega, picked = self.stack, self.omega[:, :, None], self.picked
        groups, causes, count, _ = stack.coupling.shape
        slopes = np.empty((groups, count, causes + groups + 2, 2))
        pulled = stack.coupling.reshape(groups, causes * count, count) @ (omega * picked)
        pulled = np.swapaxes(pulled.reshape(groups, causes, count, 2), 1, 2)
        np.multiply(pulled, omega[..., None], out=slopes[:, :, :causes])
        # Shift of a group: rows and columns of the matrix grow alike.
        rows = stack.membership.T[None, :, :, None]
        moved = (rows * picked[:, :, None, :]).reshape(groups, count, -1)
        both = self.matrix @ np.concatenate([picked, moved], axis=2)
        shifts = slopes[:, :, causes:-2]
        np.multiply(rows, both[:, :, None, :2], out=shifts)
        shifts += both[:, :, 2:].reshape(groups, count, groups, 2)
        slopes[:, :, -2:] = _own_split_slopes(stack, self.omega, picked)
        turned = np.swapaxes(self.vectors, 1, 2) @ slopes.reshape(groups, count, -1)
        return turned.reshape(slopes.shape)


@dataclass(frozen=True, eq=False)
class GroupStates:
    """G groups of the uneven head, B even modes, P = U + G + 2 parameters.

    The parameters of each group's slopes are the U causes of unevenness, one shift per group
    of the fit, and the two splits of its own. Slopes are found when they are first asked for:
    a step that is not gone on from needs none.
    """

    solved: _Solved
    shape: ComplexArray
    """(G, B, 2) the groups' modes over the even modes."""
    even: ComplexArray
    """(G, 2, 2) overlap of a group's modes with its even pair."""
    spread_hz: FloatArray
    """(G, 2) frequencies against the group's mean."""
    frequency_hz: FloatArray
    """(G, 2) growing; a round mode's one stands twice."""

    def moments(self) -> ComplexArray:
        """(G, 2, B, 2): phi(x) @ moments[g, j] @ r is S0 (j = 0) and S1 (j = 1)."""
        return self._moments

    @cached_property
    def _moments(self) -> ComplexArray:
        groups, count, _ = self.shape.shape
        out = np.empty((groups, 2, count, 2), dtype=np.complex128)
        out[:, 0] = self.shape @ self.even
        out[:, 1] = self.shape @ (self.spread_hz[:, :, None] * self.even)
        return out

    @cached_property
    def shape_slope(self) -> ComplexArray:
        """(G, B, P, 2) change of the modes out of the group."""
        rotated = self.solved.rotated
        out = rotated * self.solved.share[:, :, None, :]
        # a real matrix times a complex one, as real numbers side by side
        flat = self.solved.vectors @ out.reshape(*out.shape[:2], -1).view(np.float64)
        return np.asarray(flat.view(np.complex128).reshape(rotated.shape))

    @cached_property
    def even_slope(self) -> ComplexArray:
        """(G, P, 2, 2) change of ``even``."""
        stack = self.solved.stack
        own = self.shape_slope[stack.each, stack.members]
        return np.asarray(np.transpose(own, (0, 2, 3, 1)) * stack.both[:, None])

    @cached_property
    def _within(self) -> FloatArray:
        """(G, q, P, 2) slopes of the squared angular frequencies, and what mixes them."""
        return self.solved.rotated[self.solved.stack.each, self.solved.mine]

    @cached_property
    def spread_slope(self) -> FloatArray:
        """(G, P, 2, 2) change of the group's frequencies against their mean, and of its mixing."""
        middle = 0.5 * (self.frequency_hz[:, 0] + self.frequency_hz[:, 1])
        inside = np.swapaxes(self._within, 1, 2) / (8 * np.pi**2 * middle[:, None, None, None])
        mean = 0.5 * (inside[..., 0, 0] + inside[..., 1, 1])
        inside[..., 0, 0] -= mean
        inside[..., 1, 1] -= mean
        return np.asarray(inside * self.solved.stack.both[:, None])

    @cached_property
    def frequency_slope(self) -> FloatArray:
        """(G, P, 2) change of ``frequency_hz``."""
        own = np.stack([self._within[:, 0, :, 0], self._within[:, 1, :, 1]], axis=2)
        return np.asarray(own / (8 * np.pi**2 * self.frequency_hz[:, None, :]))

    def heard_slope(self, r: ComplexArray) -> ComplexArray:
        """(G, B, 2, P) change of moments @ r with each parameter, for microphones r (G, 2)."""
        groups, modes, count, _ = self.shape_slope.shape
        seen = (self.even @ r[:, :, None])[:, :, 0]
        change = (self.even_slope.reshape(groups, -1, 2) @ r[:, :, None]).reshape(groups, -1, 2)
        inside = (self.spread_slope.reshape(groups, -1, 2) @ seen[:, :, None]).reshape(
            groups, -1, 2
        )
        inside += change * self.spread_hz[:, None]
        weights = np.stack([seen, self.spread_hz * seen], axis=2)  # (G, 2, 2)
        flat = self.shape_slope.reshape(groups, modes * count, 2) @ weights
        within = np.concatenate([change, inside], axis=1)  # (G, 2P, 2)
        out = (self.shape @ np.swapaxes(within, 1, 2)).reshape(groups, modes, 2, count)
        out += np.swapaxes(flat.reshape(groups, modes, count, 2), 2, 3)
        return np.asarray(out)


def solve_groups(
    stack: HeadStack, uneven: FloatArray, log_shift: FloatArray, inner: FloatArray
) -> GroupStates:
    """All groups, each from the even head at its own frequency.

    Parameters
    ----------
    stack
        The heads with their air at the groups' frequencies.
    uneven, log_shift
        (U,) deviations and seat waves, and (B,) of the even modes' log frequencies.
    inner
        (G, 2) splits of the pairs that no rod makes (a film of uneven mass, say), as
        fractions of their frequency.

    Notes
    -----
    Modes that decay differently mix out of phase: to first order, as a complex share of each
    other's shape.
    """
    omega = 2 * np.pi * stack.frequency_hz * np.exp(log_shift)
    groups, count = omega.shape
    matrix = (uneven @ stack.coupling.reshape(groups, len(uneven), -1)).reshape(
        groups, count, count
    )
    matrix += stack.ripple
    matrix.reshape(groups, -1)[:, :: count + 1] += 1.0
    matrix *= omega[:, :, None] * omega[:, None, :]
    _add_own_splits(stack, omega, inner, matrix)
    values, vectors = np.linalg.eigh(matrix)
    mine = _owned(stack, vectors)
    return _states(stack, omega, matrix, values, vectors, mine)


def _add_own_splits(
    stack: HeadStack, omega: FloatArray, inner: FloatArray, matrix: FloatArray
) -> None:
    """Add what splits each pair without any rod, along its axes and across."""
    g, i, j = stack.own_splits
    wi, wj = omega[g, i], omega[g, j]
    along, across = 2 * inner[g].T
    across = wi * wj * across
    matrix[g, i, i] += wi**2 * along
    matrix[g, j, j] -= wj**2 * along
    matrix[g, i, j] += across
    matrix[g, j, i] += across


def _own_split_slopes(stack: HeadStack, omega: FloatArray, picked: FloatArray) -> FloatArray:
    """(G, B, 2, 2) change of the matrix by a pair's own splits, times the picked modes."""
    out = np.zeros((*omega.shape, 2, 2))
    g, i, j = stack.own_splits
    wi, wj = omega[g, i, None], omega[g, j, None]
    mi, mj = picked[g, i], picked[g, j]
    out[g, i, 0] = 2 * wi**2 * mi
    out[g, j, 0] = -2 * wj**2 * mj
    out[g, i, 1] = 2 * wi * wj * mj
    out[g, j, 1] = 2 * wi * wj * mi
    return out


def _owned(stack: HeadStack, vectors: FloatArray) -> NDArray[np.intp]:
    """(G, 2) the eigenvectors that belong to a group: those most in its even modes."""
    rows = vectors[stack.each, stack.members]
    share = rows[:, 0] ** 2 + rows[:, 1] ** 2
    each = stack.each[:, 0]
    first = share.argmax(axis=1)
    share[each, first] = -1.0
    second = np.where(stack.real[:, 1] > 0, share.argmax(axis=1), first)
    return np.stack([np.minimum(first, second), np.maximum(first, second)], axis=1)


def _states(
    stack: HeadStack,
    omega: FloatArray,
    matrix: FloatArray,
    values: FloatArray,
    vectors: FloatArray,
    mine: NDArray[np.intp],
) -> GroupStates:
    """The groups' modes; other modes take part in them out of phase, by the losses."""
    each, real = stack.each, stack.real
    own = values[each, mine]
    root = np.sqrt(np.maximum(own[:, :1], 1.0))  # a step may try a head that is slack in places
    turned = stack.loss @ vectors
    damped = values + 1j * root * np.einsum("gbi,gbi->gi", vectors, turned)
    gap = damped[each, mine][:, None, :] - damped[:, :, None]
    near = np.abs(gap) < 1e-6 * own[:, :1, None]
    near[each, mine] = True
    gap[near] = np.inf
    share = real[:, None, :] / gap
    # (G, 2, B) picks make rows of eigenvectors
    picked = np.swapaxes(np.swapaxes(vectors, 1, 2)[each, mine], 1, 2)
    lost = np.swapaxes(np.swapaxes(turned, 1, 2)[each, mine], 1, 2)
    mixing = root[:, :, None] * (np.swapaxes(vectors, 1, 2) @ lost)
    shape = picked * real[:, None, :] + 1j * (vectors @ (mixing * share))
    hz = np.sqrt(np.maximum(own, 1.0)) / (2 * np.pi)
    middle = 0.5 * (hz[:, :1] + hz[:, 1:])
    return GroupStates(
        solved=_Solved(stack, omega, matrix, vectors, mine, picked, share),
        shape=shape,
        even=np.swapaxes(shape[each, stack.members], 1, 2) * stack.both,
        spread_hz=(hz - middle) * real,
        frequency_hz=hz,
    )
