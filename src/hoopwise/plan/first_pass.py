"""From finger-tight to a head that is seated and can be read: passes in star order.

How much slack a fresh head has to take up is not known, so no note is promised: each pass
comes with the most that it can bring, all of every turn arriving as tension, and the film
guard goes by that. The note to stop at is what tells that the head is there. Quarter to
half turns, less on a thin film, and a seat by pressing are common practice, no source.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.heads import heads_of
from hoopwise.acoustics.limits import film_limit_n_m
from hoopwise.acoustics.low_note import low_notes
from hoopwise.acoustics.stretch import rim_map
from hoopwise.drum import Drum, Side, safe_tension_n_m
from hoopwise.infer.head.even_head import SLIDE
from hoopwise.infer.types import OtherHead
from hoopwise.plan.order import star_order
from hoopwise.plan.turns import THIN_FILM_M
from hoopwise.render.build import usual_tension

FloatArray = NDArray[np.float64]

_FIRST: Final = 0.5
_NEXT: Final = 0.25
_THIN_SHARE: Final = 0.5
"""A thin film gets half of each step."""
_SMALLEST: Final = 1.0 / 64.0
_MOST_PASSES: Final = 6


@dataclass(frozen=True)
class Pass:
    """One pass over all rods, and the most that it can have brought by its end."""

    turns: float
    most_tension_n_m: float
    most_load: float
    """The same over the film's stress at 5 % strain."""
    most_note_hz: float
    """Low note of the head at that tension."""


@dataclass(frozen=True)
class FirstPasses:
    """Passes over the N rods of a fresh head."""

    order: tuple[int, ...]
    """Star order, the same for every pass."""
    passes: tuple[Pass, ...]
    """As many as the film bears even if all of every turn arrives."""
    seat_tension_n_m: float
    seat_note_hz: float
    """Stop here, press the centre, and read the rods."""
    fine_turns: float
    """Step of each further pass, if the note is not there yet."""
    sentences: tuple[str, ...]


def first_passes(drum: Drum, side: Side, other_head: OtherHead = "off") -> FirstPasses:
    """Passes that bring a head from finger-tight to its seating tension.

    Parameters
    ----------
    drum, side
        The drum and the head that is mounted; any number of rods that the model covers.
    other_head
        Off, muted (taken as held still), or ringing at a usual tension.

    Raises
    ------
    DrumError
        The drum has no head on that side.
    RangeError
        The drum lies outside the model.
    """
    film = drum.head(side).film
    thin = film.thickness_m < THIN_FILM_M
    share = _THIN_SHARE if thin else 1.0
    warn, _ = safe_tension_n_m(film)
    per_turn = rim_map(drum, side, slide=SLIDE).mean_per_metre * drum.thread_pitch_m
    seat = min(usual_tension(drum, side), warn)
    steps = _steps(per_turn, warn, share)
    most = per_turn * np.cumsum(steps)
    notes = _notes(drum, side, other_head, np.array([*most, seat]))
    limit = film_limit_n_m(film)
    return FirstPasses(
        order=star_order(drum.rods),
        passes=tuple(
            Pass(turns, float(n), float(n) / limit, float(hz))
            for turns, n, hz in zip(steps, most, notes[:-1], strict=True)
        ),
        seat_tension_n_m=seat,
        seat_note_hz=float(notes[-1]),
        fine_turns=min(_NEXT * share / 2.0, steps[-1]),
        sentences=_sentences(thin, steps),
    )


def _notes(drum: Drum, side: Side, other_head: OtherHead, tensions: FloatArray) -> FloatArray:
    """Low note (Hz) at each tension of the head, the other off, still, or at a usual tension."""
    batter = side == "batter"
    if drum.second is None or other_head != "ringing":
        held = other_head == "muted" and drum.second is not None
        alone = heads_of(drum, batter, not batter, held=held)
        return low_notes(alone, tensions[:, None]).frequency_hz
    other = np.full(len(tensions), usual_tension(drum, drum.second_side if batter else "batter"))
    pair = (tensions, other) if batter else (other, tensions)
    return low_notes(heads_of(drum, True, True), np.stack(pair, axis=1)).frequency_hz


def _steps(per_turn: float, warn: float, share: float) -> list[float]:
    """A first pass and smaller ones while the film bears all of them, all turns arriving."""
    first = _FIRST * share
    while first * per_turn > warn and first > _SMALLEST:
        first /= 2.0
    steps, following = [first], min(first, _NEXT * share)
    while len(steps) < _MOST_PASSES and (sum(steps) + following) * per_turn <= warn:
        steps.append(following)
    return steps


def _sentences(thin: bool, steps: list[float]) -> tuple[str, ...]:
    said = [
        "Before the key: bearing edge clean, head flat and not rocking, hoop centred, every rod "
        "finger-tight.",
        "Tap near a rod after each pass and listen for the low note; stop where it is reached, "
        "whichever pass that is: a fresh head takes up slack first, which no one can foretell. If "
        "it is passed, go back in the same order.",
    ]
    if thin:
        said.append("The film is thin, so every step is halved; do not press it.")
    else:
        said.append("Then press the centre once with a flat hand, and bring the note back.")
    if steps[0] < _FIRST * (_THIN_SHARE if thin else 1.0):
        said.append("The first pass is smaller than usual, for the film's sake.")
    return tuple(said)
