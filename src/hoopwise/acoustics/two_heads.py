"""Two heads on one shell: coupled modes, their ring times and which head carries them.

`couple` is the public door. Displacements count as positive upwards (from the second head
towards the batter) on both heads, so heads that move together have the same sign. Decay is
radiation (in open air) and the vent, plus a loss in the films in proportion to the
potential energy that they hold, plus the wires' own where they lie on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_table import AirTable
from hoopwise.acoustics.coupled import Modes, solve
from hoopwise.acoustics.heads import BASIS as BASIS
from hoopwise.acoustics.heads import Heads, checked_tensions, heads_of, table_for
from hoopwise.acoustics.mode_names import Motion, energy_parts, motion_of, name_modes
from hoopwise.drum import Drum, Wires
from hoopwise.units import DECAY_60_DB

FILM_LOSS: Final = 0.008
"""Loss per stored energy and radian: median over 23 steady partials, 150 to 900 Hz, of
38 recorded tom hits (two acoustic kits, Debian package avldrums.lv2-soundfont);
quartiles 0.006 and 0.016. ``python -m benchmarks.film_loss`` measures it again."""
WIRE_DECAY: Final = DECAY_60_DB / 0.25
"""Decay rate of the wires by themselves (1/s), an estimate, no source."""


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
        Wires that lie on the snare side and follow it, as they do under soft strokes.
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
    heads = heads_of(
        drum,
        batter_tension is not None,
        snare_side_tension is not None,
        wires=wires,
        held=held,
    )
    tensions = checked_tensions(drum, batter_tension, snare_side_tension)
    return modes_of(heads, tensions, m_max, n_max)


def modes_of(
    heads: Heads, tensions: Sequence[float], m_max: int = 8, n_max: int = 4
) -> list[CoupledMode]:
    """Modes of any enclosure and films, by growing frequency; `couple` without a drum file.

    ``tensions`` (films,) in N/m, from the top down.
    """
    modes: list[CoupledMode] = []
    for m in range(m_max + 1):
        modes += _modes_of(heads, np.array([tensions], dtype=np.float64), m, n_max)
    return sorted(modes, key=lambda mode: mode.frequency_hz)


def _modes_of(heads: Heads, tensions: Floats, m: int, n_max: int) -> list[CoupledMode]:
    """Named modes of one m at one pair of tensions, (1, films)."""
    table = table_for(heads, m, n_max, tensions)
    state = state_of(heads, table, tensions)
    modes = solve(table, state.mass, state.stiffness)
    moving = np.diagonal(table.mass(modes.omega[0]), axis1=1, axis2=2) + np.diag(state.mass)
    names = name_modes(energy_parts(modes.vectors[0], moving))
    films = table.tops * len(heads.films)
    decay = state.decay(modes)[0]
    return [
        _named(heads, state, modes, float(decay[i]), i, name)
        for i, name in enumerate(names)
        if 0 <= name < films and name % table.tops < n_max
    ]


@dataclass(frozen=True)
class State:
    """What the solver needs of films and wires, B pairs of tensions, N coordinates."""

    table: AirTable
    films: Floats
    """(N,) modal masses of the films (kg)."""
    pull: Floats
    """(B, N) modal stiffnesses of the films (N/m)."""
    wires: Floats
    """(N, N) mass of the wires (kg)."""
    mass: Floats
    """(N, N) films and wires (kg)."""
    stiffness: Floats
    """(B, N, N) films and wires (N/m)."""

    def decay(self, modes: Modes) -> Floats:
        """Decay rate (B, I) by radiation, vent, film and wires (1/s)."""
        v = modes.vectors
        film = 0.5 * FILM_LOSS * np.einsum("bn,bin->bi", self.pull, v**2) / modes.omega
        wires = WIRE_DECAY * np.einsum("bin,nk,bik->bi", v, self.wires, v)
        return np.asarray(modes.radiation + film + wires)


def state_of(heads: Heads, table: AirTable, tensions: Floats) -> State:
    """Films and wires at tensions (B, films) in N/m."""
    films, pull = heads.masses(table), heads.stiffnesses(table, tensions)
    wire_mass, wire_pull = heads.wire_load(table)
    diagonal = np.eye(len(films))
    stiffness = pull[:, :, None] * diagonal + wire_pull
    return State(table, films, pull, wire_mass, np.diag(films) + wire_mass, stiffness)


def _named(
    heads: Heads, state: State, modes: Modes, decay: float, i: int, name: int
) -> CoupledMode:
    """The public record of mode i, named after coordinate ``name``."""
    table, v = state.table, modes.vectors[0, i]
    parts = [v[heads.place(table, k)] for k in range(len(heads.films))]
    masses = [state.films[heads.place(table, k)] for k in range(len(heads.films))]
    kinetic = [float(mass @ part**2) for mass, part in zip(masses, parts, strict=True)]
    motion: Motion = "alone"
    if len(parts) == 2:
        motion = motion_of(parts[0], parts[1], masses[0])
    else:
        parts, kinetic = [*parts, np.empty(0)], [*kinetic, 0.0]
    if heads.flipped:
        parts, kinetic = parts[::-1], kinetic[::-1]
    whole = sum(kinetic)
    return CoupledMode(
        frequency_hz=float(modes.omega[0, i]) / (2.0 * np.pi),
        t60_s=DECAY_60_DB / decay,
        radiation_t60_s=DECAY_60_DB / max(float(modes.radiation[0, i]), 1e-9),
        shape=(table.m, name % table.tops + 1),
        share=(kinetic[0] / whole, kinetic[1] / whole),
        motion=motion,
        batter=tuple(float(x) for x in parts[0]),
        second=tuple(float(x) for x in parts[1]),
    )
