"""Two heads on one shell: coupled modes, their ring times and which head carries them.

`couple` is the public door. Displacements count as positive upwards (from the second head
towards the batter) on both heads, so heads that move together have the same sign. A film
under N and mass sigma has modal stiffness (N (j/a)^2 + D (j/a)^4) and mass sigma, both
times eps_m (a^2/2) J_m'(j)^2. Its loss factor adds decay in proportion to the potential
energy that the tension holds.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from hoopwise.acoustics.air import KA_MAX, Air, Floats, angular_factor
from hoopwise.acoustics.air_table import AirTable, Enclosure, Surroundings, air_table
from hoopwise.acoustics.coupled import Modes, solve
from hoopwise.acoustics.follow import Motion, energy_parts, motion_of, name_modes
from hoopwise.acoustics.hankel import head_slopes, head_zeros
from hoopwise.acoustics.head_model import bending_rigidity_n_m
from hoopwise.acoustics.limits import check_drum, check_tension
from hoopwise.drum import Drum, Film, Wires
from hoopwise.errors import RangeError
from hoopwise.units import DECAY_60_DB

BASIS: Final = 6
"""Radial functions per head."""
FILM_LOSS: Final = 0.008
_TOPS: Final = (0.25, 0.32, 0.4, 0.5, 0.63, 0.8, 1.0)
"""Steps of film speed over sound speed, so that few tables serve all tensions."""


@dataclass(frozen=True)
class CoupledMode:
    """One mode of a drum whose heads are tied by the air between them."""

    frequency_hz: float
    t60_s: float
    """Time to fall by 60 dB: radiation, vent and film together."""
    radiation_t60_s: float
    """The same by radiation and vent alone."""
    shape: tuple[int, int]
    """Nodal diameters and circles (m, n), the rim counted."""
    share: tuple[float, float]
    """Part of the films' kinetic energy in batter and second head; sums to 1."""
    motion: Motion
    batter: tuple[float, ...]
    """Amplitudes of J_m(j_mn r/a), n = 1, 2, ..., for 1 kg of moving mass; () if no head."""
    second: tuple[float, ...]


@dataclass(frozen=True)
class Heads:
    """The drum's ends as the solver takes them: enclosure, and films from the top down.

    ``flipped`` when the only head is the second one: it is then the solver's top.
    """

    enclosure: Enclosure
    films: tuple[Film, ...]
    flipped: bool = False

    def masses(self, table: AirTable) -> Floats:
        """Film masses on the table's coordinates, (N,) in kg."""
        out = np.zeros(len(table.stiffness))
        for here, film in self._places(table):
            out[here] = film.mass_kg_m2 * self._norms(table)
        return out

    def stiffnesses(self, table: AirTable, tensions: Floats) -> Floats:
        """Film stiffnesses for tensions (B, films) in N/m, (B, N) in N/m."""
        out = np.zeros((len(tensions), len(table.stiffness)))
        wave = (head_zeros(table.m, table.tops) / self.enclosure.radius_m) ** 2
        for i, (here, film) in enumerate(self._places(table)):
            bending = bending_rigidity_n_m(film) * wave
            out[:, here] = (tensions[:, i, None] + bending) * wave * self._norms(table)
        return out

    def _norms(self, table: AirTable) -> Floats:
        area = 0.5 * angular_factor(table.m) * self.enclosure.radius_m**2
        return np.asarray(area * head_slopes(table.m, table.tops) ** 2)

    def _places(self, table: AirTable) -> list[tuple[slice, Film]]:
        n = table.tops
        return [(slice(i * n, (i + 1) * n), film) for i, film in enumerate(self.films)]


def heads_of(
    drum: Drum,
    batter: bool,
    second: bool,
    *,
    surroundings: Surroundings = "free",
    held: bool = False,
) -> Heads:
    """Enclosure and films of a drum with the heads that are on.

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
    return Heads(enclosure, tuple(films), flipped=not batter)


def table_for(heads: Heads, m: int, n_max: int, tensions: Floats) -> AirTable:
    """The air table that covers modes (m, 1..n_max) at tensions (B, films) in N/m."""
    masses = np.array([film.mass_kg_m2 for film in heads.films])
    mach = float(np.sqrt((tensions / masses).max())) / heads.enclosure.air.speed_m_s
    step = min((s for s in _TOPS if s >= mach), default=_TOPS[-1])
    ka = min(1.02 * step * head_zeros(m, n_max)[-1] + 0.5, KA_MAX)
    e = heads.enclosure
    return air_table(e, m, max(BASIS, n_max + 2), ka * e.air.speed_m_s / e.radius_m)


def couple(
    drum: Drum,
    batter_tension: float | None,
    snare_side_tension: float | None = None,
    wires: Wires | None = None,
    *,
    m_max: int = 8,
    n_max: int = 4,
    held: bool = False,
) -> list[CoupledMode]:
    """Coupled modes of a drum with even heads, by growing frequency.

    Parameters
    ----------
    drum : Drum
    batter_tension, snare_side_tension : float or None
        Mean tension (N/m); None takes the head off, and the shell is open there.
    wires : Wires or None
        Wires that lie on the snare side; their mass moves with it.
    m_max, n_max : int
        Nodal diameters 0..m_max and circles 1..n_max that are named.
    held : bool
        A head without a tension is on but held still, which closes the shell there.

    Raises
    ------
    RangeError
        The drum's size or a tension lies outside the model's range; message gives it.
    DrumError
        A tension is given for a head that the drum does not have.
    """
    heads = heads_of(drum, batter_tension is not None, snare_side_tension is not None, held=held)
    tensions = [t for t in (batter_tension, snare_side_tension) if t is not None]
    sides = [s for s, t in _sides(drum, batter_tension, snare_side_tension) if t is not None]
    for tension, film, side in zip(tensions, heads.films, sides, strict=True):
        check_tension(tension, film, f"{drum.name}, {side.replace('_', ' ')}")
    modes: list[CoupledMode] = []
    for m in range(m_max + 1):
        modes += _modes_of(heads, np.array([tensions]), m, n_max)
    return sorted(modes, key=lambda mode: mode.frequency_hz)


def _sides(
    drum: Drum, batter: float | None, second: float | None
) -> list[tuple[str, float | None]]:
    return [("batter", batter), (drum.second_side, second)]


def _modes_of(heads: Heads, tensions: Floats, m: int, n_max: int) -> list[CoupledMode]:
    """Named modes of one m at one pair of tensions, (1, films)."""
    table = table_for(heads, m, n_max, tensions)
    mass = heads.masses(table)
    stiffness = heads.stiffnesses(table, tensions)
    modes = solve(table, mass, stiffness)
    vectors = modes.vectors[0]
    loaded = np.diagonal(table.mass(modes.omega[0]), axis1=1, axis2=2) + mass
    names = name_modes(energy_parts(vectors, loaded))
    films = table.tops * len(heads.films)
    return [
        _named(heads, table, modes, i, name, mass, stiffness[0])
        for i, name in enumerate(names)
        if 0 <= name < films and name % table.tops < n_max
    ]


def _named(
    heads: Heads,
    table: AirTable,
    modes: Modes,
    i: int,
    name: int,
    mass: Floats,
    stiffness: Floats,
) -> CoupledMode:
    """The public record of mode i, named after coordinate ``name``."""
    omega, v, n = float(modes.omega[0, i]), modes.vectors[0, i], name % table.tops
    film = 0.5 * FILM_LOSS * float(stiffness @ v**2) / omega
    radiation = float(modes.radiation[0, i])
    count = table.tops
    parts = [v[k * count : (k + 1) * count] for k in range(len(heads.films))]
    kinetic = [float(mass[:count] @ p**2) for p in parts[:1]]
    kinetic += [float(mass[count : 2 * count] @ p**2) for p in parts[1:]]
    if len(parts) == 1:
        motion: Motion = "alone"
        parts, kinetic = [*parts, np.empty(0)], [*kinetic, 0.0]
    else:
        motion = motion_of(parts[0], parts[1], mass[:count])
    if heads.flipped:
        parts, kinetic = parts[::-1], kinetic[::-1]
    whole = sum(kinetic)
    return CoupledMode(
        frequency_hz=omega / (2.0 * np.pi),
        t60_s=DECAY_60_DB / (radiation + film),
        radiation_t60_s=DECAY_60_DB / max(radiation, 1e-9),
        shape=(table.m, n + 1),
        share=(kinetic[0] / whole, kinetic[1] / whole),
        motion=motion,
        batter=tuple(float(x) for x in parts[0]),
        second=tuple(float(x) for x in parts[1]),
    )
