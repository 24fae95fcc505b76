"""Names modes by their shape, whatever their order.

A mode is named after the pure motion (one head, one number of circles) that it holds most
of, each name used once; so a name crosses over where two modes merely pass each other.
"""

from typing import Literal

import numpy as np
from scipy.optimize import linear_sum_assignment

from hoopwise.acoustics.air import Floats

Motion = Literal["together", "opposed", "alone"]


def energy_parts(vectors: Floats, mass: Floats) -> Floats:
    """Part of each coordinate in a mode, (I, N), rows summing to 1.

    ``vectors`` (I, N) amplitudes, ``mass`` (N,) what moves with each coordinate.
    """
    parts = vectors**2 * mass
    return np.asarray(parts / parts.sum(axis=1, keepdims=True))


def name_modes(parts: Floats) -> list[int]:
    """The coordinate that each mode is named after, each at most once.

    ``parts`` (I, N) as from `energy_parts`; the assignment with the largest sum.
    """
    rows, columns = linear_sum_assignment(-parts)
    names = [-1] * len(parts)
    for row, column in zip(rows, columns, strict=True):
        names[row] = int(column)
    return names


def motions_of(batter: Floats, second: Floats, norm: Floats) -> list[Motion]:
    """Whether two heads, up positive on both, go together over most of their area.

    Amplitudes (I, n) of each head's functions and the functions' squared norms (n,).
    """
    overlap = ((batter * second) @ norm).tolist()
    return ["together" if part >= 0.0 else "opposed" for part in overlap]
