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

Name = tuple[int, int]


@dataclass(frozen=True)
class GroupState:
    """One group of the uneven head; q = number of its modes, P = number of parameters."""

    moment: FloatArray
    """(2, B, q): phi(x) @ moment[j] @ r is S0 (j = 0) and S1 (j = 1)."""
    moment_slope: FloatArray
    """(P, 2, B, q)."""
    frequency_hz: FloatArray
    """(q,) growing."""
    frequency_slope: FloatArray
    """(P, q)."""


def solve_groups(
    head: EvenHead, names: tuple[Name, ...], deviation: FloatArray, log_shift: FloatArray
) -> tuple[GroupState, ...]:
    """Every named group for N deviations and B log-frequency shifts of the even modes.

    Parameters are the N deviations, then one shift per named group.
    """
    omega = 2 * np.pi * head.frequency_hz * np.exp(log_shift)
    scale = np.outer(omega, omega)
    inner = np.eye(len(omega)) + head.ripple + np.tensordot(deviation, head.coupling, axes=1)
    matrix = inner * scale
    values, vectors = np.linalg.eigh(matrix)
    slopes = np.concatenate(
        [head.coupling * scale, *(_shift_slope(head, name, matrix)[None] for name in names)]
    )
    rotated = vectors.T @ slopes @ vectors
    owner = _owners(head, vectors)
    return tuple(_group(head, name, values, vectors, rotated, owner) for name in names)


def _shift_slope(head: EvenHead, name: Name, matrix: FloatArray) -> FloatArray:
    mark = np.zeros(len(matrix))
    mark[head.members(name)] = 1.0
    return matrix * (mark[:, None] + mark[None, :])


def _owners(head: EvenHead, vectors: FloatArray) -> dict[Name, NDArray[np.intp]]:
    """Which eigenvectors belong to which group: those that lie most in its even modes."""
    owners: dict[Name, NDArray[np.intp]] = {}
    taken: set[int] = set()
    weight = vectors**2
    for name in sorted(set(head.names), key=lambda n: head.frequency_hz[head.members(n)[0]]):
        rows = head.members(name)
        share = weight[rows].sum(axis=0)
        best = [i for i in np.argsort(-share, kind="stable") if i not in taken][: len(rows)]
        taken.update(int(i) for i in best)
        owners[name] = np.sort(np.array(best, dtype=np.intp))
    return owners


def _group(
    head: EvenHead,
    name: Name,
    values: FloatArray,
    vectors: FloatArray,
    rotated: FloatArray,
    owner: dict[Name, NDArray[np.intp]],
) -> GroupState:
    mine = owner[name]
    rest = np.setdiff1d(np.arange(len(values)), mine)
    c = vectors[:, mine]
    even = c[head.members(name)].T  # (q modes, q even functions): C^T E
    hz = np.sqrt(np.maximum(values[mine], 1.0)) / (2 * np.pi)
    spread = np.diag(hz - hz.mean())
    # First-order change of the group's modes out of the group.
    gap = values[mine][None, None, :] - values[rest][None, :, None]
    gap = np.where(np.abs(gap) < 1e-6 * values[mine][0], np.inf, gap)
    out = rotated[:, rest][:, :, mine] / gap
    dc = np.einsum("br,prq->pbq", vectors[:, rest], out)
    inside = rotated[:, mine][:, :, mine] / (8 * np.pi**2 * hz.mean())
    frequency_slope = np.einsum("pqq->pq", rotated[:, mine][:, :, mine]) / (8 * np.pi**2 * hz)
    trace = np.einsum("pqq->p", inside) / len(mine)
    inside = inside - trace[:, None, None] * np.eye(len(mine))
    deven = np.swapaxes(dc[:, head.members(name)], 1, 2)
    moment = np.stack([c @ even, c @ spread @ even])
    slope0 = dc @ even + c @ deven
    slope1 = dc @ spread @ even + c @ spread @ deven + c @ inside @ even
    return GroupState(moment, np.stack([slope0, slope1], axis=1), hz, frequency_slope)
