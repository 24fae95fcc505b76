"""From deviations to what taps show: the model that the fit compares with.

For a group g of modes (a pair, or one round mode) a tap at place x shows two complex
numbers that stay smooth where the pair is nearly degenerate: the summed amplitude
S0 = phi(x) P E r and the frequency-weighted sum S1 = phi(x) F P E r, with P the projector
on the group's modes, F their frequencies against the group's mean (Hz), E the even pair and
r two complex numbers that say how the microphone hears it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.even_head import EvenHead

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

Name = tuple[int, int]


@dataclass(frozen=True)
class GroupState:
    """One group of the uneven head; q = number of its modes, P = number of parameters."""

    shape: ComplexArray
    """(B, q) its modes over the even modes."""
    even: ComplexArray
    """(q, q) overlap of its modes with the even pair."""
    shape_slope: ComplexArray
    """(P, B, q) change of the modes out of the group."""
    even_slope: ComplexArray
    """(P, q, q)"""
    spread_hz: FloatArray
    """(q, q) frequencies against the group's mean, on the diagonal."""
    spread_slope: FloatArray
    """(P, q, q)"""
    frequency_hz: FloatArray
    """(q,) growing."""
    frequency_slope: FloatArray
    """(P, q)."""

    def moments(self) -> ComplexArray:
        """(2, B, q): phi(x) @ moments[j] @ r is S0 (j = 0) and S1 (j = 1)."""
        return np.stack([self.shape @ self.even, self.shape @ self.spread_hz @ self.even])

    def heard_slope(self, r: ComplexArray) -> ComplexArray:
        """(P, 2, B) change of moments @ r with each parameter, for a microphone r (q,)."""
        seen = self.even @ r
        change = self.even_slope @ r
        first = self.shape_slope @ seen + change @ self.shape.T
        inside = change @ self.spread_hz.T + self.spread_slope @ seen
        second = self.shape_slope @ (self.spread_hz @ seen) + inside @ self.shape.T
        return np.stack([first, second], axis=1)


def solve_group(
    head: EvenHead,
    name: Name,
    names: tuple[Name, ...],
    deviation: FloatArray,
    log_shift: FloatArray,
    inner: FloatArray,
) -> GroupState:
    """One group, from the even head at its own frequency.

    Parameters
    ----------
    head, name
        The head with its air at the group's frequency, and the group.
    names
        All G groups of the fit.
    deviation, log_shift
        (N,) of the lug tensions, and (B,) of the even modes' log frequencies.
    inner
        (2,) a split of this pair that no rod makes (a film of uneven mass, say), as
        fractions of its frequency.

    Notes
    -----
    The P parameters of the slopes are the N deviations, one shift per group of the fit, and
    two splits per group. Modes that decay differently mix out of phase: to first order, as a
    complex share of each other's shape.
    """
    omega = 2 * np.pi * head.frequency_hz * np.exp(log_shift)
    count, rods = len(omega), len(deviation)
    pattern = head.ripple + (deviation @ head.coupling.reshape(rods, -1)).reshape(count, count)
    pattern.flat[:: count + 1] += 1.0
    matrix = pattern * np.outer(omega, omega)
    own = _split_slopes(head, name, omega)
    matrix += inner[0] * own[0] + inner[1] * own[1]
    values, vectors = np.linalg.eigh(matrix)
    mine = _owned(head, name, vectors)
    picked = vectors[:, mine]
    slopes = np.zeros((rods + 3 * len(names), count, len(mine)))
    slopes[:rods] = (head.coupling @ (omega[:, None] * picked)) * omega[:, None]
    # Shift of a group: rows and columns of the matrix grow alike.
    rows = head.membership(names)[:, :, None]
    slopes[rods : rods + len(names)] = rows * (matrix @ picked) + matrix @ (rows * picked)
    at = rods + len(names) + 2 * names.index(name)
    slopes[at : at + 2] = own @ picked
    return _group(head, name, values, vectors, vectors.T @ slopes, mine)


def _split_slopes(head: EvenHead, name: Name, omega: FloatArray) -> FloatArray:
    """(2, B, B) change of the matrix by a group's own split, along its axes and across."""
    slopes = np.zeros((2, len(omega), len(omega)))
    rows = head.members(name)
    if len(rows) == 2:
        i, j = rows
        slopes[0, i, i], slopes[0, j, j] = 2 * omega[i] ** 2, -2 * omega[j] ** 2
        slopes[1, i, j] = slopes[1, j, i] = 2 * omega[i] * omega[j]
    return slopes


def _owned(head: EvenHead, name: Name, vectors: FloatArray) -> NDArray[np.intp]:
    """The eigenvectors that belong to a group: those that lie most in its even modes."""
    rows = head.members(name)
    share = np.sum(vectors[rows] ** 2, axis=0)
    return np.sort(np.argsort(-share, kind="stable")[: len(rows)])


def _group(
    head: EvenHead,
    name: Name,
    values: FloatArray,
    vectors: FloatArray,
    rotated: FloatArray,
    mine: NDArray[np.intp],
) -> GroupState:
    rest = np.delete(np.arange(len(values)), mine)
    turned = head.loss @ vectors
    damped = values + 1j * float(np.sqrt(values[mine[0]])) * np.einsum("br,br->r", vectors, turned)
    gap = damped[mine][None, :] - damped[rest][:, None]
    gap = np.where(np.abs(gap) < 1e-6 * values[mine[0]], np.inf, gap)
    away = vectors[:, rest]
    mixing = float(np.sqrt(values[mine[0]])) * (away.T @ turned[:, mine])
    c = vectors[:, mine] + away @ (1j * mixing / gap)
    members = head.members(name)
    even = c[members].T  # (q modes, q even functions): C^T E
    hz = np.sqrt(np.maximum(values[mine], 1.0)) / (2 * np.pi)
    middle = hz.sum() / len(mine)
    # First-order change of the group's modes out of the group.
    dc = np.asarray(away @ (rotated[:, rest] / gap), dtype=np.complex128)
    within = rotated[:, mine]
    inside = within / (8 * np.pi**2 * middle)
    mean = np.trace(inside, axis1=1, axis2=2) / len(mine)
    return GroupState(
        shape=c,
        even=even,
        shape_slope=dc,
        even_slope=np.swapaxes(dc[:, members], 1, 2),
        spread_hz=np.diag(hz - middle),
        spread_slope=inside - mean[:, None, None] * np.eye(len(mine)),
        frequency_hz=hz,
        frequency_slope=np.diagonal(within, axis1=1, axis2=2) / (8 * np.pi**2 * hz),
    )
