"""The ends of a drum as the coupled model takes them: films, wires and what encloses air.

A film under N and mass sigma has modal stiffness (N (j/a)^2 + D (j/a)^4) and mass sigma,
both times eps_m (a^2/2) J_m'(j)^2. Wires that lie on the second head follow it, below the
strike level at which they leave: a string across the middle whose mass and tension add to
the head's, averaged over the two directions that a mode with m > 0 can take.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import jv, jvp

from hoopwise.acoustics.air import KA_MAX, Air, Floats, angular_factor
from hoopwise.acoustics.air_table import AirTable, Enclosure, Surroundings, air_table
from hoopwise.acoustics.hankel import head_slopes, head_zeros
from hoopwise.acoustics.head_model import bending_rigidity_n_m
from hoopwise.acoustics.limits import check_drum, check_tension
from hoopwise.acoustics.wires import WireBed, wire_bed
from hoopwise.drum import Drum, Film, Side, Wires
from hoopwise.errors import RangeError

BASIS: Final = 6
"""Radial functions per head; frequencies up to (m, 3) are then within 0.1 % of their limit."""
_TOPS: Final = (0.25, 0.32, 0.4, 0.5, 0.63, 0.8, 1.0)
"""Steps of film speed over sound speed, so that few tables serve all tensions."""


@dataclass(frozen=True)
class Heads:
    """Enclosure, and films from the top down.

    ``flipped`` when the only head is the second one: it is then the solver's top.
    """

    enclosure: Enclosure
    films: tuple[Film, ...]
    flipped: bool = False
    wires: WireBed | None = None
    """On the last film."""

    def masses(self, table: AirTable) -> Floats:
        """Film masses on the table's coordinates, (N,) in kg."""
        out = np.zeros(len(table.stiffness))
        for i, film in enumerate(self.films):
            out[self.place(table, i)] = film.mass_kg_m2 * self._norms(table)
        return out

    def stiffnesses(self, table: AirTable, tensions: Floats) -> Floats:
        """Film stiffnesses for tensions (B, films) in N/m, (B, N) in N/m."""
        out = np.zeros((len(tensions), len(table.stiffness)))
        wave = (head_zeros(table.m, table.tops) / self.enclosure.radius_m) ** 2
        for i, film in enumerate(self.films):
            bending = bending_rigidity_n_m(film) * wave
            stiffness = (tensions[:, i, None] + bending) * wave * self._norms(table)
            out[:, self.place(table, i)] = stiffness
        return out

    def wire_load(self, table: AirTable) -> tuple[Floats, Floats]:
        """Mass (kg) and stiffness (N/m) of the wires, (N, N); zeros without wires."""
        size = len(table.stiffness)
        mass, stiffness = np.zeros((size, size)), np.zeros((size, size))
        if self.wires is None:
            return mass, stiffness
        a, zeros = self.enclosure.radius_m, head_zeros(table.m, table.tops)
        node, weight = np.polynomial.legendre.leggauss(40)
        half = min(0.5 * self.wires.length_m, a)
        s = 0.5 * (node + 1.0) * half / a
        share = 0.5 * weight * half * (2.0 if table.m == 0 else 1.0)  # both halves; mean cos^2
        shape = np.asarray(jv(table.m, np.outer(zeros, s)))
        slope = np.asarray(jvp(table.m, np.outer(zeros, s))) * zeros[:, None] / a
        here = self.place(table, len(self.films) - 1)
        mass[here, here] = self.wires.mass_kg_m * (shape * share) @ shape.T
        stiffness[here, here] = self.wires.tension_n * (slope * share) @ slope.T
        return mass, stiffness

    def place(self, table: AirTable, film: int) -> slice:
        """Coordinates of a film."""
        return slice(film * table.tops, (film + 1) * table.tops)

    def _norms(self, table: AirTable) -> Floats:
        area = 0.5 * angular_factor(table.m) * self.enclosure.radius_m**2
        return np.asarray(area * head_slopes(table.m, table.tops) ** 2)


def heads_of(
    drum: Drum,
    batter: bool,
    second: bool,
    *,
    wires: Wires | None = None,
    surroundings: Surroundings = "free",
    held: bool = False,
) -> Heads:
    """Enclosure, films and wires of a drum with the heads that are on.

    With one head on, the shell is open at the other end; ``held`` closes it instead by a
    head that is held still.

    Raises
    ------
    RangeError
        The drum's size or rod count lies outside the model, or no head is on.
    DrumError
        A head is asked for that the drum does not have.
    """
    check_drum(drum)
    if not (batter or second):
        raise RangeError(f"{drum.name}: both heads are off; give at least one tension.")
    films = [drum.batter.film] if batter else []
    if second:
        films.append(drum.head(drum.second_side).film)
    enclosure = Enclosure(
        radius_m=drum.radius_m,
        depth_m=drum.depth_m,
        bottom="head" if len(films) == 2 else "rigid" if held else "open",
        vent_radius_m=0.5 * drum.vent_diameter_m,
        surroundings=surroundings,
        air=Air(),
    )
    bed = wire_bed(wires) if wires is not None and second else None
    return Heads(enclosure, tuple(films), flipped=not batter, wires=bed)


def checked_tensions(
    drum: Drum, batter_tension: float | None, second_tension: float | None
) -> tuple[float, ...]:
    """The tensions (N/m) of the heads that are on, batter first.

    Raises
    ------
    RangeError
        A tension lies outside its film's elastic range.
    """
    sides: tuple[tuple[Side, float | None], ...] = (
        ("batter", batter_tension),
        (drum.second_side, second_tension),
    )
    for side, tension in sides:
        if tension is not None:
            where = f"{drum.name}, {side.replace('_', ' ')}"
            check_tension(tension, drum.head(side).film, where)
    return tuple(tension for _, tension in sides if tension is not None)


def table_steps(heads: Heads, tensions: Floats) -> Floats:
    """Film over sound speed, rounded up, (B,) of tensions (B, films): one step, one table."""
    masses = np.array([film.mass_kg_m2 for film in heads.films])
    mach = np.sqrt((tensions / masses).max(axis=1)) / heads.enclosure.air.speed_m_s
    place = np.minimum(np.searchsorted(_TOPS, mach), len(_TOPS) - 1)
    return np.asarray(np.asarray(_TOPS)[place])


def table_for(heads: Heads, m: int, n_max: int, tensions: Floats) -> AirTable:
    """The air table that covers modes (m, 1..n_max) at tensions (B, films) in N/m."""
    masses = np.array([film.mass_kg_m2 for film in heads.films])
    step = float(table_steps(heads, tensions).max())
    e = heads.enclosure
    # Films that squeeze a shallow shell's air are lifted far above their own pitch.
    lift = float((1.0 / masses).sum()) * e.air.density_kg_m3 / e.depth_m * e.radius_m**2
    film = 1.02 * step * head_zeros(m, max(n_max, 2))[-1]
    ka = min(math.sqrt(film**2 + lift) + 0.5, KA_MAX)
    return air_table(e, m, max(BASIS, n_max + 2), ka * e.air.speed_m_s / e.radius_m)
