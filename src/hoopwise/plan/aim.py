"""From a wanted low note and ring to head pitches: the coupled model turned round.

Note and ring are those of the drum in open air, heads even, nothing that muffles; head
pitches are each head's (0,1) with the other head held still. Tensions stay within what
advice may ask of the films.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from hoopwise.acoustics.limits import film_limit_n_m
from hoopwise.acoustics.low_note import head_notes
from hoopwise.drum import Drum, Side, safe_tension_n_m
from hoopwise.errors import RangeError
from hoopwise.plan.note_line import NoteLine, note_line, note_range_hz, pitch_steps
from hoopwise.units import note_frequency, spoken_note

REFUSE: Final = 0.7
"""Part of the film's elastic limit beyond which no advice is given."""
_STEPS: Final = {
    0.0: "both heads alike",
    5.0: "second head a fourth higher",
    -5.0: "second head a fourth lower",
}
"""Semitones from the batter's own note up to the second head's, and their words."""
_NEAR: Final = 0.5
_USUAL: Final = 7.0
"""Semitones between the heads within which the longest ring is sought: a fifth."""


@dataclass(frozen=True)
class HeadAim:
    """Where one head should be."""

    side: Side
    pitch_hz: float
    """Its (0,1) with the other head held still."""
    tension_n_m: float
    load: float
    """Tension over the film's elastic limit (97 MPa)."""
    safety: Literal["ok", "warn"]


@dataclass(frozen=True)
class AimPair:
    """Head pitches, and what they give together."""

    why: str
    heads: tuple[HeadAim, ...]
    """Batter first."""
    note_hz: float
    ring_s: float
    batter_share: float
    """Part of the low note's motion that the batter carries."""


@dataclass(frozen=True)
class Aim:
    """Whether a note and a ring can be had, and how."""

    wanted_note_hz: float
    wanted_ring_s: float | None
    feasible: bool
    pairs: tuple[AimPair, ...]
    """Ways to have it; if it cannot be had, the nearest one."""
    note_range_hz: tuple[float, float]
    """Low notes that this drum can have within safe tensions."""
    ring_range_s: tuple[float, float] | None
    """Ring times that it can have at the wanted note; None if it cannot have the note."""
    sentences: tuple[str, ...]


def aim(drum: Drum, *, note: str | float, ring: float | None = None) -> Aim:
    """Head pitches for a wanted low note and, if given, a wanted ring.

    Parameters
    ----------
    drum : Drum
    note : str or float
        ``"F2"`` or Hz.
    ring : float or None
        60 dB ring time of the low note (s).

    Raises
    ------
    RangeError
        The note is no note, or the ring is not positive; the drum lies outside the model.
    """
    wanted = _hertz(note)
    if ring is not None and not 0.0 < ring < math.inf:
        raise RangeError(f"a ring of {ring:g} s cannot be aimed at; give a time above 0 s.")
    reach = note_range_hz(drum, REFUSE)
    line = note_line(drum, wanted, REFUSE)
    if not len(line.tensions):
        return _out_of_reach(drum, wanted, ring, reach)
    rings = (float(line.ring_s.min()), float(line.ring_s.max()))
    pairs = _choices(drum, line, wanted) if ring is None else _with_ring(drum, line, wanted, ring)
    if pairs:
        return Aim(wanted, ring, True, pairs, reach, rings, _cautions(pairs))
    assert ring is not None
    nearest = int(np.argmin(np.abs(np.log(line.ring_s / ring))))
    pairs = (_pair(drum, line, nearest, "nearest ring at this note"),)
    sentence = (
        f"At {spoken_note(wanted)} this drum rings for {rings[0]:.2f} to {rings[1]:.2f} s, "
        f"not {ring:.2f} s; the nearest is given."
    )
    return Aim(wanted, ring, False, pairs, reach, rings, (sentence, *_cautions(pairs)))


def _hertz(note: str | float) -> float:
    try:
        hertz = note_frequency(note) if isinstance(note, str) else float(note)
    except ValueError as error:
        raise RangeError(f"{error}.") from None
    if not 10.0 <= hertz <= 2000.0:
        raise RangeError(f"a low note of {hertz:g} Hz; give one from 10 to 2000 Hz.")
    return hertz


def _out_of_reach(drum: Drum, wanted: float, ring: float | None, reach: tuple[float, float]) -> Aim:
    """The end of the range that lies nearer."""
    low, high = reach
    end = high if wanted > high else low
    # A hair inside, so that the line exists.
    line = note_line(drum, end * (1.0 - 1e-6 if end == high else 1.0 + 1e-6), REFUSE)
    pairs = (_pair(drum, line, 0, "nearest note"),) if len(line.tensions) else ()
    limit = "its films allow no more" if end == high else "its heads would be slack below"
    sentence = (
        f"This drum cannot have {spoken_note(wanted)} ({wanted:.1f} Hz): its low note goes from "
        f"{spoken_note(low)} ({low:.1f} Hz) to {spoken_note(high)} ({high:.1f} Hz); {limit}."
    )
    return Aim(wanted, ring, False, pairs, reach, None, (sentence, *_cautions(pairs)))


def _choices(drum: Drum, line: NoteLine, wanted: float) -> tuple[AimPair, ...]:
    """Heads a plain interval apart, the usual one first, and the longest ring.

    A snare side above the batter, a tom's heads alike: common practice, no source.
    """
    if line.tensions.shape[1] == 1:
        return (_pair(drum, line, 0, "the only head"),)
    steps = pitch_steps(drum, line.tensions)
    usual = np.abs(steps) <= _USUAL
    best = int(np.argmax(np.where(usual, line.ring_s, 0.0)))
    pairs = []
    for step in sorted(_STEPS, key=lambda step: step != (5.0 if drum.kind == "snare" else 0.0)):
        if steps.min() <= step <= steps.max():
            ratio = np.interp(step, steps, line.log_ratio)
            longest = ", the longest ring" if abs(steps[best] - step) < _NEAR else ""
            pairs += _at_ratio(drum, wanted, float(ratio), _STEPS[step] + longest)
    if not any(abs(steps[best] - step) < _NEAR for step in _STEPS):
        pairs.append(_pair(drum, line, best, "longest ring"))
    return tuple(pairs)


def _with_ring(drum: Drum, line: NoteLine, wanted: float, ring: float) -> tuple[AimPair, ...]:
    """All points of the line that ring as long as wanted."""
    off = np.log(line.ring_s / ring)
    if len(off) == 1:
        return (_pair(drum, line, 0, "the only head"),) if abs(off[0]) < 0.02 else ()
    pairs: list[AimPair] = []
    for i in np.flatnonzero(off[:-1] * off[1:] <= 0.0):
        share = off[i] / (off[i] - off[i + 1]) if off[i] != off[i + 1] else 0.0
        ratio = line.log_ratio[i] + share * (line.log_ratio[i + 1] - line.log_ratio[i])
        pairs += _at_ratio(drum, wanted, float(ratio), "")
    return tuple(pairs)


def _at_ratio(drum: Drum, wanted: float, log_ratio: float, why: str) -> list[AimPair]:
    line = note_line(drum, wanted, REFUSE, np.array([log_ratio]))
    return [_pair(drum, line, 0, why)] if len(line.tensions) else []


def _pair(drum: Drum, line: NoteLine, row: int, why: str) -> AimPair:
    sides: tuple[Side, ...] = ("batter", drum.second_side)
    tensions = line.tensions[row]
    heads = tuple(
        head_aim(drum, side, float(tension))
        for side, tension in zip(sides[: len(tensions)], tensions, strict=True)
    )
    if not why:
        higher = heads[-1].pitch_hz > heads[0].pitch_hz
        why = f"{_spoken(heads[-1].side)} {'higher' if higher else 'lower'} than the batter"
    return AimPair(
        why=why.replace("second head", _spoken(sides[1])),
        heads=heads,
        note_hz=float(line.found.frequency_hz[row]),
        ring_s=float(line.found.t60_s[row]),
        batter_share=float(line.found.first_share[row]),
    )


def head_aim(drum: Drum, side: Side, tension: float) -> HeadAim:
    """A head at a tension (N/m): its own note, and how near its film is to its limit."""
    film = drum.head(side).film
    warn, _ = safe_tension_n_m(film)
    return HeadAim(
        side=side,
        pitch_hz=float(head_notes(drum, side, np.array([tension]))[0]),
        tension_n_m=tension,
        load=tension / film_limit_n_m(film),
        safety="warn" if tension > warn else "ok",
    )


def _spoken(side: Side) -> str:
    return {"batter": "batter", "snare_side": "snare side", "resonant": "resonant head"}[side]


def _cautions(pairs: tuple[AimPair, ...]) -> tuple[str, ...]:
    """Warn of films under a high load, as film figures and not as a maker's rating."""
    tight = sorted({_spoken(h.side) for pair in pairs for h in pair.heads if h.safety == "warn"})
    if not tight:
        return ()
    return (
        f"The {' and the '.join(tight)} would pass half of the stress at 5 % strain of "
        "polyester film: tighten in small steps, eyes away from the rods, and stop where it "
        "creaks. These are film figures, not a maker's rating of a head.",
    )
