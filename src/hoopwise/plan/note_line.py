"""All pairs of head tensions that give one low note: a line through the tension plane.

Along each fixed ratio of the two tensions the low note rises steadily with both, so the
wanted note is met once or not at all. SI units; ratios are second over batter.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.heads import heads_of
from hoopwise.acoustics.low_note import LowNote, head_notes, low_notes, tension_range
from hoopwise.drum import Drum

Floats = NDArray[np.float64]

RATIOS: Final = 97
WIDEST_STEPS: Final = 12.0
"""Semitones between the heads' own notes beyond which a pair is left out."""
_STEPS: Final = 5


@dataclass(frozen=True)
class NoteLine:
    """P points of a line, from a tight batter to a tight second head."""

    tensions: Floats
    """(P, 2) batter and second head (N/m); (P, 1) for a drum with one head."""
    found: LowNote
    """Note, ring and batter's share at each."""

    @property
    def ring_s(self) -> Floats:
        """(P,)."""
        return self.found.t60_s

    @property
    def log_ratio(self) -> Floats:
        """(P,) log of second over batter tension; 0 for a drum with one head."""
        logs = np.log(self.tensions)
        return np.asarray(logs[:, -1] - logs[:, 0])


def limits(drum: Drum, top: float) -> Floats:
    """(heads, 2) lowest and highest tension (N/m) to be used, as `tension_range`."""
    films = [drum.batter.film] + ([] if drum.second is None else [drum.second.film])
    return np.array([tension_range(film, top) for film in films])


def note_range_hz(drum: Drum, top: float) -> tuple[float, float]:
    """Low notes with both heads at their lowest, and at their highest tension."""
    ends = _low_notes(drum, limits(drum, top).T).frequency_hz
    return float(ends[0]), float(ends[1])


def note_line(drum: Drum, note_hz: float, top: float, log_ratio: Floats | None = None) -> NoteLine:
    """Tension pairs within the limits whose low note is the given one.

    ``log_ratio`` asks for given ratios; by default a fine row of all that the limits allow.
    """
    low, high = np.log(limits(drum, top)).T
    if log_ratio is None:
        wide = high[-1] - low[0] if len(low) == 2 else 0.0
        narrow = low[-1] - high[0] if len(low) == 2 else 0.0
        log_ratio = np.linspace(narrow, wide, RATIOS) if len(low) == 2 else np.zeros(1)
    split = np.stack([-0.5 * log_ratio, 0.5 * log_ratio], axis=1)[:, : len(low)]
    if len(low) == 1:
        split = np.zeros((1, 1))
    start, stop = (low - split).max(axis=1), (high - split).min(axis=1)
    start, stop, split = (x[start < stop] for x in (start, stop, split))
    wanted = np.log(note_hz)
    below = _log_notes(drum, start[:, None] + split) - wanted
    above = _log_notes(drum, stop[:, None] + split) - wanted
    meets = (below <= 0.0) & (above >= 0.0)
    if not meets.any():
        return _within_an_octave(drum, np.zeros((0, len(low))))
    start, stop, split, below, above = (x[meets] for x in (start, stop, split, below, above))
    at, off = start, below
    slope = (above - below) / (stop - start)
    for _ in range(_STEPS):
        step = np.clip(at - off / slope, start, stop) - at
        now = _log_notes(drum, (at + step)[:, None] + split) - wanted
        moved = np.abs(step) > 1e-9
        slope = np.where(moved, (now - off) / np.where(moved, step, 1.0), slope)
        at, off = at + step, now
    return _within_an_octave(drum, np.exp(at[:, None] + split))


def _within_an_octave(drum: Drum, tensions: Floats) -> NoteLine:
    """Leave out heads further apart than anyone tunes them (common practice, no source)."""
    if len(tensions) and tensions.shape[1] == 2:
        tensions = tensions[np.abs(pitch_steps(drum, tensions)) <= WIDEST_STEPS]
    if not len(tensions):
        nothing = np.zeros(0)
        return NoteLine(tensions, LowNote(nothing, nothing, nothing))
    return NoteLine(tensions, _low_notes(drum, tensions))


def pitch_steps(drum: Drum, tensions: Floats) -> Floats:
    """(P,) semitones from the batter's own note up to the second head's, at (P, 2) N/m."""
    batter = head_notes(drum, "batter", tensions[:, 0])
    second = head_notes(drum, drum.second_side, tensions[:, 1])
    return np.asarray(12.0 * np.log2(second / batter))


def _low_notes(drum: Drum, tensions: Floats) -> LowNote:
    return low_notes(heads_of(drum, True, drum.second is not None), tensions)


def _log_notes(drum: Drum, log_tensions: Floats) -> Floats:
    return np.asarray(np.log(_low_notes(drum, np.exp(log_tensions)).frequency_hz))
