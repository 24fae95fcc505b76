"""From deviations to what taps show: the model that the fit compares with.

For a group g of modes (a pair, or one round mode) a tap at place x shows two complex
numbers that stay smooth where the pair is nearly degenerate: the summed amplitude
S0 = phi(x) P E r and the frequency-weighted sum S1 = phi(x) F P E r, with P the projector
on the group's modes, F their frequencies against the group's mean (Hz), E the even pair and
r two complex numbers that say how the microphone hears it.

All groups are computed together. A round mode stands as a pair whose second mode is nought.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.head_stack import HeadStack, Name

__all__ = ["GroupStates", "Name", "solve_groups"]

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class GroupStates:
    """G groups of the uneven head, B even modes, P = U + G + 2 parameters.

    The parameters of each group's slopes are the U causes of unevenness, one shift per group
    of the fit, and the two splits of its own.
    """

    shape: ComplexArray
    """(G, B, 2) the groups' modes over the even modes."""
    even: ComplexArray
    """(G, 2, 2) overlap of a group's modes with its even pair."""
    shape_slope: ComplexArray
    """(G, B, P, 2) change of the modes out of the group."""
    even_slope: ComplexArray
    """(G, P, 2, 2)"""
    spread_hz: FloatArray
    """(G, 2) frequencies against the group's mean."""
    spread_slope: FloatArray
    """(G, P, 2, 2)"""
    frequency_hz: FloatArray
    """(G, 2) growing; a round mode's one stands twice."""
    frequency_slope: FloatArray
    """(G, P, 2)"""

    def moments(self) -> ComplexArray:
        """(G, 2, B, 2): phi(x) @ moments[g, j] @ r is S0 (j = 0) and S1 (j = 1)."""
        first = self.shape @ self.even
        second = (self.shape * self.spread_hz[:, None]) @ self.even
        return np.stack([first, second], axis=1)

    def heard_slope(self, r: ComplexArray) -> ComplexArray:
        """(G, B, 2, P) change of moments @ r with each parameter, for microphones r (G, 2)."""
        groups, modes, count, _ = self.shape_slope.shape
        seen = (self.even @ r[:, :, None])[:, :, 0]
        change = (self.even_slope @ r[:, None, :, None])[..., 0]
        inside = (
            change * self.spread_hz[:, None] + (self.spread_slope @ seen[:, None, :, None])[..., 0]
        )
        weights = np.stack([seen, self.spread_hz * seen], axis=2)  # (G, 2, 2)
        flat = self.shape_slope.reshape(groups, modes * count, 2) @ weights
        out = np.swapaxes(flat.reshape(groups, modes, count, 2), 2, 3)
        within = np.concatenate([change, inside], axis=1)  # (G, 2P, 2)
        turned = self.shape @ np.swapaxes(within, 1, 2)
        return np.asarray(out + turned.reshape(groups, modes, 2, count))


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
    causes = len(uneven)
    pattern = (uneven @ stack.coupling.reshape(groups, causes, -1)).reshape(groups, count, count)
    pattern += stack.ripple
    pattern[:, np.arange(count), np.arange(count)] += 1.0
    matrix = pattern * (omega[:, :, None] * omega[:, None, :])
    _add_own_splits(stack, omega, inner, matrix)
    values, vectors = np.linalg.eigh(matrix)
    mine = _owned(stack, vectors)
    picked = np.take_along_axis(vectors, mine[:, None, :], axis=2)
    slopes = np.empty((groups, count, causes + groups + 2, 2))
    pulled = stack.coupling.reshape(groups, causes * count, count) @ (omega[:, :, None] * picked)
    slopes[:, :, :causes] = np.swapaxes(pulled.reshape(groups, causes, count, 2), 1, 2)
    slopes[:, :, :causes] *= omega[:, :, None, None]
    # Shift of a group: rows and columns of the matrix grow alike.
    rows = stack.membership.T[None, :, :, None]
    moved = (rows * picked[:, :, None, :]).reshape(groups, count, -1)
    slopes[:, :, causes:-2] = rows * (matrix @ picked)[:, :, None, :]
    slopes[:, :, causes:-2] += (matrix @ moved).reshape(groups, count, groups, 2)
    slopes[:, :, -2:] = _own_split_slopes(stack, omega, picked)
    turned = np.swapaxes(vectors, 1, 2) @ slopes.reshape(groups, count, -1)
    return _states(stack, values, vectors, turned.reshape(slopes.shape), mine)


def _add_own_splits(
    stack: HeadStack, omega: FloatArray, inner: FloatArray, matrix: FloatArray
) -> None:
    """Add what splits each pair without any rod, along its axes and across."""
    g = stack.pairs
    i, j = stack.members[g].T
    wi, wj = omega[g, i], omega[g, j]
    matrix[g, i, i] += 2 * wi**2 * inner[g, 0]
    matrix[g, j, j] -= 2 * wj**2 * inner[g, 0]
    matrix[g, i, j] += 2 * wi * wj * inner[g, 1]
    matrix[g, j, i] += 2 * wi * wj * inner[g, 1]


def _own_split_slopes(stack: HeadStack, omega: FloatArray, picked: FloatArray) -> FloatArray:
    """(G, B, 2, 2) change of the matrix by a pair's own splits, times the picked modes."""
    out = np.zeros((*omega.shape, 2, 2))
    g = stack.pairs
    i, j = stack.members[g].T
    wi, wj = omega[g, i, None], omega[g, j, None]
    out[g, i, 0] = 2 * wi**2 * picked[g, i]
    out[g, j, 0] = -2 * wj**2 * picked[g, j]
    out[g, i, 1] = 2 * wi * wj * picked[g, j]
    out[g, j, 1] = 2 * wi * wj * picked[g, i]
    return out


def _owned(stack: HeadStack, vectors: FloatArray) -> NDArray[np.intp]:
    """(G, 2) the eigenvectors that belong to a group: those most in its even modes."""
    rows = np.take_along_axis(vectors, stack.members[:, :, None], axis=1)
    share = np.sum(rows**2, axis=1)
    order = np.argsort(-share, axis=1, kind="stable")
    best = np.sort(order[:, :2], axis=1)
    single = stack.members[:, 0] == stack.members[:, 1]
    best[single] = order[single, :1]
    return best


def _states(
    stack: HeadStack,
    values: FloatArray,
    vectors: FloatArray,
    rotated: FloatArray,
    mine: NDArray[np.intp],
) -> GroupStates:
    """First-order change of each group's modes, from the slopes in the eigenvectors' terms."""
    groups, count = rotated.shape[:2]
    each = np.arange(groups)[:, None]
    own = values[each, mine]
    root = np.sqrt(own[:, :1])
    turned = stack.loss @ vectors
    damped = values + 1j * root * np.sum(vectors * turned, axis=1)
    gap = damped[each, mine][:, None, :] - damped[:, :, None]
    near = np.abs(gap) < 1e-6 * own[:, :1, None]
    near[each, mine] = True
    share = np.where(near, 0.0, 1.0 / np.where(near, 1.0, gap))
    real = stack.real
    picked = np.take_along_axis(vectors, mine[:, None, :], axis=2)
    lost = np.take_along_axis(turned, mine[:, None, :], axis=2)
    mixing = root[:, :, None] * (np.swapaxes(vectors, 1, 2) @ lost)
    mixed = picked + vectors @ (1j * mixing * share)
    shape: ComplexArray = np.asarray(mixed * real[:, None, :], dtype=np.complex128)
    out = (rotated * (share * real[:, None, :])[:, :, None, :]).reshape(groups, count, -1)
    # a real matrix times a complex one, as real numbers side by side
    slope = (vectors @ out.view(np.float64)).view(np.complex128).reshape(rotated.shape)
    members = stack.members
    both = real[:, :, None] * real[:, None, :]
    hz = np.sqrt(np.maximum(own, 1.0)) / (2 * np.pi)
    middle = hz.mean(axis=1)
    within = np.moveaxis(rotated[each, mine], 1, 2)  # (G, P, q, 2)
    inside = within / (8 * np.pi**2 * middle[:, None, None, None])
    mean = np.trace(inside, axis1=2, axis2=3) / 2
    diagonal = np.diagonal(within, axis1=2, axis2=3)
    return GroupStates(
        shape=shape,
        even=np.swapaxes(shape[each, members], 1, 2) * both,
        shape_slope=slope,
        even_slope=np.asarray(
            np.transpose(slope[each, members], (0, 2, 3, 1)) * both[:, None], dtype=np.complex128
        ),
        spread_hz=(hz - middle[:, None]) * real,
        spread_slope=(inside - mean[..., None, None] * np.eye(2)) * both[:, None],
        frequency_hz=hz,
        frequency_slope=diagonal / (8 * np.pi**2 * hz[:, None, :]),
    )
