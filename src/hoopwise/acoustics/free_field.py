"""A drum in open air, without a baffle: what its two ends radiate and carry along.

Breathing ends radiate nearly as in a baffle. Ends that move along together push air from
one face to the other: at ka = 0.3 such a (0,1) loses some 3 per cent of the baffled power,
and carries a fifth less air. So at a given low note two heads of like pitch ring longest,
and a much tighter second head shortens the low note far more than a baffle would show.

The field is solved (`cylinder`) on a grid of ka up to ``KA_FREE`` and for m < ``FREE_M``;
beyond, each face is taken as baffled, which changes ring times of modes that film losses
rule anyway. Against the grid's own baffled solution the masses are differences, so that
the grid's coarseness cancels.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline

from hoopwise.acoustics.air import KA_MAX, Family, Floats, face_table
from hoopwise.acoustics.cylinder import FREE_M, end_fields

KA_FREE: Final = 5.0
"""Up to here the cylinder is solved; a baffle takes over from 0.8 of it on."""
LONGEST: Final = 3.0
"""Depth over radius beyond which the ends are taken to be no further apart."""
_SOLVED: Final = np.concatenate([[0.05], np.linspace(0.25, KA_FREE, 20)])
_BAFFLED: Final = np.linspace(KA_FREE, KA_MAX, 23)[1:]

Ends = tuple[tuple[Family, int], tuple[Family, int]]


@dataclass(frozen=True, eq=False)
class Outside:
    """Outside air on top and bottom of a drum, for one m; up is positive on both."""

    m: int
    ends: Ends
    faces: int = 1
    """2 for a bare head without a shell."""
    mass_change: CubicSpline | None = None
    """ka to what the free field adds to the baffled mass, over rho eps a^3."""
    shape: CubicSpline | None = None
    """ka to damping over `_trend`, which takes its steep rise at low ka away."""

    def mass(self, ka: Floats) -> Floats:
        """Mass over rho eps a^3, (..., n, n)."""
        mass = baffled(self.ends, self.m, ka)[0]
        if self.mass_change is not None:
            mass = mass + self.mass_change(ka)
        return self.faces * mass

    def damping(self, ka: Floats) -> Floats:
        """Damping over rho omega eps a^3, (..., n, n)."""
        if self.shape is None:
            return self.faces * baffled(self.ends, self.m, ka)[1]
        return np.asarray(self.faces * self.shape(ka) * _trend(self.m, ka)[..., None, None])


def baffled(ends: Ends, m: int, ka: Floats) -> tuple[Floats, Floats]:
    """Mass and damping with each face in its own baffle, (..., n, n), no tie between them."""
    ka = np.asarray(ka, dtype=np.float64)
    size = sum(count for _, count in ends)
    mass, damping = np.zeros((*ka.shape, size, size)), np.zeros((*ka.shape, size, size))
    start = 0
    for family, count in ends:
        if count:
            here = (..., slice(start, start + count), slice(start, start + count))
            mass[here], damping[here] = face_table(family, m, count, ka)
        start += count
    return mass, damping


def _trend(m: int, ka: Floats) -> Floats:
    """How damping over omega grows with ka: (ka)^(2m+1) at first, then levelling off."""
    ka = np.asarray(ka, dtype=np.float64)
    return np.asarray((ka / np.sqrt(1.0 + ka * ka)) ** (2 * m + 1))


@lru_cache(maxsize=128)
def free_ends(depth: float, m: int, ends: Ends) -> Outside:
    """Outside air of a drum ``depth`` radii deep that hangs in open air."""
    if m >= FREE_M:
        return Outside(m, ends)
    depth = min(depth, LONGEST)
    change, damping = [], []
    for ka in _SOLVED:
        mass, resistance = _solve(depth, m, ends, float(ka))
        change.append(mass)
        damping.append(resistance)
    nothing = np.zeros_like(change[0])
    beyond = baffled(ends, m, _BAFFLED)[1]
    tail = list(beyond / _trend(m, _BAFFLED)[:, None, None])
    grid = np.concatenate([[0.0], _SOLVED, _BAFFLED])
    return Outside(
        m,
        ends,
        mass_change=CubicSpline(grid, np.array([change[0], *change, *[nothing] * len(tail)])),
        shape=CubicSpline(grid, np.array([damping[0], *damping, *tail])),
    )


def _solve(depth: float, m: int, ends: Ends, ka: float) -> tuple[Floats, Floats]:
    """Change of mass, and damping over its trend, at one ka; fades into the baffle's."""
    fields = end_fields(depth, m, ends, ka)
    change = _tied(fields.mass_change, ends[0][1])
    damping = _tied(fields.resistance, ends[0][1]) / ka
    fade = float(np.clip((KA_FREE - ka) / (0.2 * KA_FREE), 0.0, 1.0))
    if fade < 1.0:
        damping = fade * damping + (1.0 - fade) * baffled(ends, m, np.asarray(ka))[1]
    return fade * change, damping / float(_trend(m, np.asarray(ka)))


def _tied(pair: tuple[Floats, Floats], tops: int) -> Floats:
    """Matrix over top and bottom, up positive, from that of breathing and of along."""
    breathing, along = pair
    full = 0.5 * (breathing + along)
    cross = 0.5 * (along - breathing)
    full[:tops, tops:], full[tops:, :tops] = cross[:tops, tops:], cross[tops:, :tops]
    return np.asarray(full)
