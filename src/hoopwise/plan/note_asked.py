"""The note asked for of a head: what it is compared with, and the tension that it takes.

With the other head off the note is the head's own (0,1), and goes with the root of its tension.
Over a muted head that mode is not heard; the tension tells where it lies with the other head
held still, which is what `hoopwise.plan.aim` gives for each head. With the other head ringing
the note is the drum's, the lowest (0,1) of both, and follows one head alone by half or less:
the other head's tension is the one that explains the note heard.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.heads import heads_of
from hoopwise.acoustics.low_note import low_notes, own_heads, tension_range
from hoopwise.drum import Drum, Side
from hoopwise.errors import RoundError
from hoopwise.infer.types import OtherHead, Reading

FloatArray = NDArray[np.float64]

_STEPS = 60


@dataclass(frozen=True)
class NoteAsked:
    """A head as a round found it, and how its note follows its mean lug tension (N/m)."""

    drum: Drum
    side: Side
    other_head: OtherHead
    reading: Reading

    @property
    def is_heard(self) -> bool:
        """Whether the note is the one that the round heard."""
        return self.other_head != "muted"

    @cached_property
    def now_hz(self) -> float:
        """The note at the tension that was read."""
        if self.is_heard:
            return self.reading.note.frequency_hz
        at = np.array([[self.reading.mean_tension_n_m]])
        return float(low_notes(own_heads(self.drum, self.side), at).frequency_hz[0])

    def at_hz(self, tension_n_m: float) -> float:
        """The note at another tension."""
        if self._rings_along:
            return float(self._beside(np.array([tension_n_m]))[0])
        return self.now_hz * float(np.sqrt(tension_n_m / self.reading.mean_tension_n_m))

    def tension_n_m(self, note_hz: float) -> float:
        """The tension at a note.

        Raises
        ------
        RoundError
            With the other head ringing as it is, this head cannot bring the drum there.
        """
        if not self._rings_along:
            return self.reading.mean_tension_n_m * (note_hz / self.now_hz) ** 2
        mine = np.geomspace(*tension_range(self.drum.head(self.side).film), _STEPS)
        notes = self._beside(mine)
        if not notes[0] <= note_hz <= notes[-1]:
            raise RoundError(
                f"With the other head as it is, this head alone brings the drum from "
                f"{notes[0]:.0f} to {notes[-1]:.0f} Hz, not to {note_hz:.1f} Hz: tune the other "
                "head as well."
            )
        return float(np.exp(np.interp(np.log(note_hz), np.log(notes), np.log(mine))))

    @property
    def _rings_along(self) -> bool:
        return self.other_head == "ringing" and self.drum.second is not None

    def _beside(self, tensions: FloatArray) -> FloatArray:
        """(P,) the drum's note at P tensions of this head, the other one left as it is."""
        other, off = self._other
        return off * self._both(tensions, np.full(len(tensions), other))

    @cached_property
    def _other(self) -> tuple[float, float]:
        """Tension of the other head that explains the note heard, and heard over foretold.

        That is 1, unless no tension of the other head gives the very note.
        """
        side: Side = self.drum.second_side if self.side == "batter" else "batter"
        theirs = np.geomspace(*tension_range(self.drum.head(side).film), _STEPS)
        mine = self.reading.mean_tension_n_m
        notes = self._both(np.full(_STEPS, mine), theirs)
        other = float(np.exp(np.interp(np.log(self.now_hz), np.log(notes), np.log(theirs))))
        foretold = self._both(np.array([mine]), np.array([other]))[0]
        return other, self.now_hz / float(foretold)

    def _both(self, mine: FloatArray, theirs: FloatArray) -> FloatArray:
        """(P,) low note (Hz) of both heads together."""
        pair = (mine, theirs) if self.side == "batter" else (theirs, mine)
        return low_notes(heads_of(self.drum, True, True), np.stack(pair, axis=1)).frequency_hz
