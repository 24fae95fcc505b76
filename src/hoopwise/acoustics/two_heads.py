"""Two heads on one shell: coupled modes, their ring times and which head carries them.

`couple` is the public door. Displacements count as positive upwards (from the second head
towards the batter) on both heads, so heads that move together have the same sign. Decay is
radiation (in open air) and the vent, plus a loss in the films in proportion to the
potential energy that they hold, plus the wires' own where they lie on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypedDict

import numpy as np

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_stack import air_stack, filled
from hoopwise.acoustics.air_table import AirTable
from hoopwise.acoustics.coupled import Modes, solve
from hoopwise.acoustics.heads import BASIS as BASIS
from hoopwise.acoustics.heads import Heads, checked_tensions, heads_of, table_for
from hoopwise.acoustics.limits import check_mode
from hoopwise.acoustics.mode_names import Motion, energy_parts, motions_of, name_modes
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
        The drum's size, wires, a tension or what is named lies outside the model's range.
    DrumError
        A tension is given for a head that the drum does not have.
    """
    check_mode(m_max, n_max)
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
    pair = np.array([tensions], dtype=np.float64)
    states = [state_of(heads, table_for(heads, m, n_max, pair), pair) for m in range(m_max + 1)]
    air = air_stack(tuple(state.table for state in states))
    size = air.stiffness.shape[1]
    mass = filled([state.mass for state in states], size)
    stiffness = filled([state.stiffness[0] for state in states], size)
    found = solve(air, mass, stiffness, wanted=_wanted(heads, states, size, n_max))
    moving = np.diagonal(air.mass(found.omega) + mass[:, None], axis1=2, axis2=3)
    modes: list[CoupledMode] = []
    for i, state in enumerate(states):
        own = slice(len(state.films))
        of_m = Modes(
            found.omega[i : i + 1], found.vectors[i : i + 1, :, own], found.radiation[i : i + 1]
        )
        modes += _named(heads, state, of_m, moving[i, :, own], n_max)
    return sorted(modes, key=lambda mode: mode.frequency_hz)


def _wanted(heads: Heads, states: Sequence["State"], size: int, n_max: int) -> Floats:
    """(M, size) 1 on each film's functions up to n_max."""
    out = np.zeros((len(states), size))
    for row, state in zip(out, states, strict=True):
        for film in range(len(heads.films)):
            row[heads.place(state.table, film)][:n_max] = 1.0
    return out


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
        film = 0.5 * FILM_LOSS * (v**2 @ self.pull[..., None])[..., 0] / modes.omega
        wires = WIRE_DECAY * ((v @ self.wires) * v).sum(axis=-1)
        return np.asarray(modes.radiation + film + wires)


def state_of(heads: Heads, table: AirTable, tensions: Floats) -> State:
    """Films and wires at tensions (B, films) in N/m."""
    films, pull = heads.masses(table), heads.stiffnesses(table, tensions)
    wire_mass, wire_pull = heads.wire_load(table)
    diagonal = np.eye(len(films))
    stiffness = pull[:, :, None] * diagonal + wire_pull
    return State(table, films, pull, wire_mass, np.diag(films) + wire_mass, stiffness)


def _named(
    heads: Heads, state: State, modes: Modes, moving: Floats, n_max: int
) -> list[CoupledMode]:
    """Public records of the modes of one m that are named (m, 1..n_max).

    ``moving`` (I, N) what mass each coordinate moves in each mode (kg).
    """
    table, films = state.table, state.table.tops * len(heads.films)
    held = modes.omega[0] <= table.top_omega
    omega, vectors = modes.omega[0, held], modes.vectors[0, held]
    names = name_modes(energy_parts(vectors, moving[held]))
    decay, radiation = state.decay(modes)[0, held], modes.radiation[0, held]
    ring, by_air = DECAY_60_DB / decay, DECAY_60_DB / np.maximum(radiation, 1e-9)
    on_heads = _on_heads(heads, state, vectors)
    pitches = (omega / (2.0 * np.pi)).tolist()
    return [
        CoupledMode(
            frequency_hz=pitches[i],
            t60_s=float(ring[i]),
            radiation_t60_s=float(by_air[i]),
            shape=(table.m, name % table.tops + 1),
            **on_heads[i],
        )
        for i, name in enumerate(names)
        if 0 <= name < films and name % table.tops < n_max
    ]


class _OnHeads(TypedDict):
    share: tuple[float, float]
    motion: Motion
    batter: tuple[float, ...]
    second: tuple[float, ...]


def _on_heads(heads: Heads, state: State, vectors: Floats) -> list[_OnHeads]:
    """How each mode (I, N) moves batter and second head, and which of them carries it."""
    tops = state.table.tops
    first, mass = vectors[:, :tops], state.films[:tops]
    if len(heads.films) == 1:
        alone = (0.0, 1.0) if heads.flipped else (1.0, 0.0)
        parts = [(tuple(row), ())[:: -1 if heads.flipped else 1] for row in first.tolist()]
        return [_OnHeads(share=alone, motion="alone", batter=b, second=s) for b, s in parts]
    last = vectors[:, tops : 2 * tops]
    upper, lower = first**2 @ mass, last**2 @ state.films[tops : 2 * tops]
    shares = np.stack([upper, lower], axis=-1) / (upper + lower)[:, None]
    return [
        _OnHeads(share=(share[0], share[1]), motion=motion, batter=tuple(b), second=tuple(s))
        for share, motion, b, s in zip(
            shares.tolist(),
            motions_of(first, last, mass),
            first.tolist(),
            last.tolist(),
            strict=True,
        )
    ]
