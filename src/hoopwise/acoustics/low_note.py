"""The drum's low note, its ring, and each head's own note, for many tensions at once.

A head's note, here and in all advice on head pitches, is its (0,1) with the other head
held still. The drum's low note is the lowest (0,1) of the two heads as they ring together.
Only m = 0 is solved, so whole maps of tension pairs cost little.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_stack import air_stack
from hoopwise.acoustics.coupled import solve
from hoopwise.acoustics.heads import Heads, heads_of, table_for, table_steps
from hoopwise.acoustics.limits import check_drum, check_tension, film_limit_n_m
from hoopwise.acoustics.two_heads import state_of
from hoopwise.drum import Drum, Film, Side
from hoopwise.errors import RangeError
from hoopwise.units import DECAY_60_DB

SLACK: Final = 0.005
"""Part of the film's elastic limit below which a head wrinkles (an estimate, no source)."""
_BATCH: Final = 300
_FILM_PART: Final = 0.2
"""A mode is the drum's if its heads, with the air that clings to them, hold this much."""


@dataclass(frozen=True)
class LowNote:
    """The low note at each of B tension pairs."""

    frequency_hz: Floats
    t60_s: Floats
    first_share: Floats
    """Part of the films' kinetic energy in the first head; 1 for a head alone."""


def low_notes(heads: Heads, tensions: Floats) -> LowNote:
    """Low note at tensions (B, films) in N/m; one's does not hang on the others'."""
    out = LowNote(*np.zeros((3, len(tensions))))
    steps = table_steps(heads, tensions)
    for step in np.unique(steps):
        rows = np.flatnonzero(steps == step)
        for some in np.split(rows, range(_BATCH, len(rows), _BATCH)):
            found = _low_notes(heads, tensions[some])
            out.frequency_hz[some] = found.frequency_hz
            out.t60_s[some], out.first_share[some] = found.t60_s, found.first_share
    return out


def _low_notes(heads: Heads, tensions: Floats) -> LowNote:
    table = table_for(heads, 0, 1, tensions)
    state = state_of(heads, table, tensions)
    # An open end adds slugs of air without a spring, so all modes are needed there.
    count = None if heads.enclosure.bottom == "open" else 2
    modes = solve(air_stack((table,)), state.mass[None], state.stiffness, count=count)
    moving = np.diagonal(table.mass(modes.omega), axis1=-2, axis2=-1) + np.diag(state.mass)
    parts = moving * modes.vectors**2
    last = table.tops * len(heads.films)
    carried = parts[..., :last].sum(axis=-1) / parts.sum(axis=-1)
    # Below the low note may lie slugs of air (the vent's, an open end's).
    row, pick = np.arange(len(tensions)), (carried > _FILM_PART).argmax(axis=1)
    films = (state.films * modes.vectors**2)[row, pick]
    first = films[:, heads.place(table, 0)].sum(axis=-1)
    return LowNote(
        modes.omega[row, pick] / (2.0 * math.pi),
        DECAY_60_DB / state.decay(modes)[row, pick],
        first / films.sum(axis=-1),
    )


def own_heads(drum: Drum, side: Side) -> Heads:
    """A head by itself: the other one held still; the shell open if there is no other."""
    drum.head(side)
    return heads_of(drum, side == "batter", side != "batter", held=drum.second is not None)


def head_notes(drum: Drum, side: Side, tensions_n_m: Floats) -> Floats:
    """Note (Hz) of a head at each tension (N/m): its (0,1), the other head held still.

    Raises
    ------
    RangeError
        A tension lies outside the film's elastic range, or the drum outside the model.
    DrumError
        The drum has no head on that side.
    """
    film, tensions = drum.head(side).film, np.atleast_1d(tensions_n_m)
    for tension in tensions:
        check_tension(float(tension), film, f"{drum.name}, {side.replace('_', ' ')}")
    return _notes(drum, side, tensions)


def _notes(drum: Drum, side: Side, tensions_n_m: Floats) -> Floats:
    return low_notes(own_heads(drum, side), tensions_n_m[:, None]).frequency_hz


def tension_range(film: Film, top: float = 1.0) -> tuple[float, float]:
    """Tensions (N/m) from slack to a part ``top`` of the film's elastic limit."""
    limit = film_limit_n_m(film)
    return SLACK * limit, top * limit


def tension_for_note(drum: Drum, side: Side, note_hz: float) -> float:
    """Tension (N/m) that gives a head a note (Hz).

    Raises
    ------
    RangeError
        The head cannot have that note; the message gives what it can have.
    DrumError
        The drum has no head on that side.
    """
    check_drum(drum)
    low, high = tension_range(drum.head(side).film)
    grid = np.geomspace(low, high, 24)
    notes = _notes(drum, side, grid)
    if not notes[0] <= note_hz <= notes[-1]:
        raise RangeError(
            f"{drum.name}: the {side.replace('_', ' ')} cannot have its note at {note_hz:.1f} Hz; "
            f"its film holds from {notes[0]:.1f} to {notes[-1]:.1f} Hz."
        )
    tension = float(np.exp(np.interp(math.log(note_hz), np.log(notes), np.log(grid))))
    near = np.clip(np.searchsorted(notes, note_hz), 1, len(grid) - 1)
    slope = math.log(notes[near] / notes[near - 1]) / math.log(grid[near] / grid[near - 1])
    for _ in range(4):
        note = float(_notes(drum, side, np.array([tension]))[0])
        tension *= (note_hz / note) ** (1.0 / slope)
    return tension
