"""Follows modes by their shape, not by their order, while the tensions move.

At every step each mode goes on as the one whose shape overlaps it most, weighted by the
mass that moves. Modes that merely pass each other keep their shapes and so swap order;
modes that turn away from each other (the two heads' (1,1), say) exchange their shapes
little by little, and are followed through that if the steps are fine enough.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import linear_sum_assignment

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_stack import air_stack
from hoopwise.acoustics.coupled import solve
from hoopwise.acoustics.heads import Heads, checked_tensions, heads_of, table_for
from hoopwise.acoustics.limits import check_mode
from hoopwise.acoustics.mode_names import energy_parts, name_modes
from hoopwise.acoustics.two_heads import State, state_of
from hoopwise.drum import Drum
from hoopwise.errors import RangeError
from hoopwise.units import DECAY_60_DB


@dataclass(frozen=True)
class Track:
    """Modes along a path of S tension pairs; K modes, lowest first at the start."""

    frequency_hz: Floats
    """(S, K)."""
    t60_s: Floats
    """(S, K)."""
    batter_share: Floats
    """(S, K) part of the films' kinetic energy in the batter."""


def follow_modes(drum: Drum, tensions_n_m: ArrayLike, m: int, n_max: int = 1) -> Track:
    """Both heads' modes (m, 1..n_max) along a path of tensions.

    Parameters
    ----------
    drum : Drum
    tensions_n_m : (S, 2)
        Batter and second head at each step (N/m).
    m, n_max : int
        Nodal diameters; circles up to which modes are followed, as named at the start.

    Raises
    ------
    RangeError
        A tension, the drum, m or n lies outside the model, or there is no path.
    DrumError
        The drum has no second head.
    """
    check_mode(m, n_max)
    path = np.asarray(tensions_n_m, dtype=np.float64)
    if path.ndim != 2 or path.shape[1] != 2 or not len(path):
        raise RangeError("a path of tensions needs a batter's and a second head's at each step.")
    for batter, second in path:
        checked_tensions(drum, float(batter), float(second))
    heads = heads_of(drum, True, True)
    table = table_for(heads, m, n_max + 1, path)
    state = state_of(heads, table, path)
    modes = solve(air_stack((table,)), state.mass[None], state.stiffness)
    moving = np.diag(state.mass) + np.diagonal(table.mass(np.array(0.3 * table.top_omega)))
    parts = energy_parts(modes.vectors[0], moving)
    films = 2 * table.tops
    kept = [
        i
        for i, name in enumerate(name_modes(parts))
        if 0 <= name < films and name % table.tops < n_max
    ]
    rows = [kept]
    for before, after in zip(modes.vectors[:-1], modes.vectors[1:], strict=True):
        rows.append(match_modes(before[rows[-1]], after, moving))
    step, mode = np.arange(len(path))[:, None], np.array(rows)
    return Track(
        frequency_hz=modes.omega[step, mode] / (2.0 * np.pi),
        t60_s=DECAY_60_DB / state.decay(modes)[step, mode],
        batter_share=_batter_share(heads, state, modes.vectors)[step, mode],
    )


def match_modes(before: Floats, after: Floats, mass: Floats) -> list[int]:
    """For each mode before, (I, N), the row after, (J >= I, N), that it became.

    Shapes are compared by their overlap, weighted by ``mass`` (N,), sign apart.
    """
    scaled = [v * np.sqrt(mass) for v in (before, after)]
    unit = [v / np.linalg.norm(v, axis=1, keepdims=True) for v in scaled]
    _, columns = linear_sum_assignment(-np.abs(unit[0] @ unit[1].T))
    return [int(c) for c in columns]


def _batter_share(heads: Heads, state: State, vectors: Floats) -> Floats:
    kinetic = state.films * vectors**2
    batter = kinetic[..., heads.place(state.table, 0)].sum(axis=-1)
    return np.asarray(batter / kinetic.sum(axis=-1))
