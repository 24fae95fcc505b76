"""A drum in open air, without a baffle: what its two ends radiate and carry along.

Breathing ends radiate nearly as in a baffle. Ends that move along together push air from
one face to the other: at ka = 0.3 such a (0,1) loses some 3 per cent of the baffled power,
and carries a fifth less air. So at a given low note two heads of like pitch ring longest,
and a much tighter second head shortens the low note far more than a baffle would show.

The field is solved (`cylinder`) on a grid of ka up to ``KA_FREE`` and for m < ``FREE_M``,
once for every size of drum (`air_store`); beyond, each face is taken as baffled, which
changes ring times of modes that film losses rule anyway. Against the grid's own baffled
solution the masses are differences, so that the grid's coarseness cancels.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from hoopwise.acoustics.air import KA_MAX, Floats, face_damping, face_mass
from hoopwise.acoustics.air_store import COUNT, FREE_M, KA, KA_FREE, place_of_pairs, stored_field
from hoopwise.acoustics.hankel import Family

_BAFFLED: Final = np.linspace(KA_FREE, KA_MAX, 23)[1:]
_GRID: Final = np.concatenate([[0.0], KA, _BAFFLED])
_FADE: Final = np.clip((KA_FREE - KA) / (0.2 * KA_FREE), 0.0, 1.0)[:, None, None]
"""A baffle takes over from 0.8 of ``KA_FREE`` on."""

Ends = tuple[tuple[Family, int], tuple[Family, int]]


@dataclass(frozen=True, eq=False)
class Outside:
    """Outside air on top and bottom of a drum, for one m; up is positive on both."""

    m: int
    ends: Ends
    faces: int = 1
    """2 for a bare head without a shell."""
    mass_change: Floats | None = None
    """(grid, n, n) what the free field adds to the baffled mass, over rho eps a^3."""
    shape: Floats | None = None
    """(grid, n, n) damping over `trend`, which takes its steep rise at low ka away."""

    def mass(self, ka: Floats) -> Floats:
        """Mass over rho eps a^3, (..., n, n)."""
        mass = _faces(face_mass, self.ends, self.m, ka)
        if self.mass_change is not None:
            mass = mass + _between(ka, self.mass_change)
        return self.faces * mass

    def damping(self, ka: Floats) -> Floats:
        """Damping over rho omega eps a^3, (..., n, n)."""
        if self.shape is None:
            return self.faces * _faces(face_damping, self.ends, self.m, ka)
        shape = _between(ka, self.shape)
        return np.asarray(self.faces * shape * trend(self.m, ka)[..., None, None])


@lru_cache(maxsize=1)
def _cardinal() -> CubicSpline:
    """Splines through 1 at one point of the grid and 0 at the others."""
    return CubicSpline(_GRID, np.eye(len(_GRID)))


def _between(ka: Floats, values: Floats) -> Floats:
    """Spline through values (grid, n, n) at ka (...)."""
    flat = np.asarray(_cardinal()(ka)) @ values.reshape(len(_GRID), -1)
    return np.asarray(flat.reshape(*np.shape(ka), *values.shape[1:]))


def baffled(ends: Ends, m: int, ka: Floats) -> tuple[Floats, Floats]:
    """Mass and damping with each face in its own baffle, (..., n, n), no tie between them."""
    ka = np.asarray(ka, dtype=np.float64)
    return _faces(face_mass, ends, m, ka), _faces(face_damping, ends, m, ka)


def _faces(
    face: Callable[[Family, int, int, Floats], Floats], ends: Ends, m: int, ka: Floats
) -> Floats:
    """Mass or damping of each end's face on its own part of the diagonal, (..., n, n)."""
    size = sum(count for _, count in ends)
    out = np.zeros((*ka.shape, size, size))
    start = 0
    tables = {end: face(end[0], m, end[1], ka) for end in dict.fromkeys(ends) if end[1]}
    for end in ends:
        here = slice(start, start + end[1])
        if end in tables:
            out[..., here, here] = tables[end]
        start += end[1]
    return out


def trend(m: int, ka: Floats) -> Floats:
    """How damping over omega grows with ka: (ka)^(2m+1) at first, then levelling off."""
    ka = np.asarray(ka, dtype=np.float64)
    return np.asarray((ka / np.sqrt(1.0 + ka * ka)) ** (2 * m + 1))


@lru_cache(maxsize=16)
def _baffled_shape(m: int, ends: Ends) -> Floats:
    """Damping in a baffle over its trend at `KA`, then beyond, (.., n, n)."""
    ka = _GRID[1:]
    return np.asarray(_faces(face_damping, ends, m, ka) / trend(m, ka)[:, None, None])


@lru_cache(maxsize=128)
def free_ends(depth: float, m: int, ends: Ends) -> Outside:
    """Outside air of a drum ``depth`` radii deep that hangs in open air.

    Functions beyond the stored ones move as in a baffle.
    """
    if m >= FREE_M:
        return Outside(m, ends)
    tops = ends[0][1]
    top, bottom = (_rows(end) for end in ends)
    mass, shape = _tied(stored_field(depth, m), top, bottom)
    held = np.concatenate([np.arange(len(top)), tops + np.arange(len(bottom))])
    wall, beyond = np.split(_baffled_shape(m, ends), [len(KA)])
    change, damping = np.zeros_like(wall), wall.copy()
    change[:, held[:, None], held] = mass
    damping[:, held[:, None], held] = shape
    change, damping = _FADE * change, _FADE * damping + (1.0 - _FADE) * wall
    return Outside(
        m,
        ends,
        mass_change=np.concatenate([change[:1], change, np.zeros_like(beyond)]),
        shape=np.concatenate([damping[:1], damping, beyond]),
    )


def _rows(end: tuple[Family, int]) -> NDArray[np.intp]:
    """Places of an end's functions among the stored ones."""
    family, count = end
    return np.arange(min(count, COUNT)) + (0 if family == "head" else COUNT)


def _tied(field: Floats, top: NDArray[np.intp], bottom: NDArray[np.intp]) -> Floats:
    """Mass and damping (2, KA, n, n) over top and bottom, up positive, of both kinds of motion.

    ``top`` and ``bottom`` are places of the ends' functions among those of the field.
    """
    breathing, along = field
    rows = np.concatenate([top, bottom])
    low = np.arange(len(rows)) >= len(top)
    pair = place_of_pairs(2 * COUNT)[rows[:, None], rows]
    kinds = np.stack([0.5 * (breathing + along), 0.5 * (along - breathing)])
    return np.asarray(kinds[(low[:, None] ^ low).astype(np.intp), :, :, pair].transpose(2, 3, 0, 1))
