"""One head being worked on, round after round: read, advise, turn, read again."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.stretch import rim_map
from hoopwise.drum import Drum, Side
from hoopwise.errors import RoundError
from hoopwise.infer.even_head import SLIDE
from hoopwise.infer.prior import Belief
from hoopwise.infer.rods import read_round
from hoopwise.infer.takes import TapAtRod
from hoopwise.infer.types import OtherHead, Reading
from hoopwise.plan.turns import Gain, Response, after_turns, learned_gain, plan_turns
from hoopwise.plan.types import TurnPlan

FloatArray = NDArray[np.float64]


class HeadWork:
    """Remembers what was read and turned on one head, and advises what to turn next.

    Parameters
    ----------
    drum, side
        The drum and which of its heads is worked on.
    other_head
        ``"off"``, ``"muted"`` or ``"ringing"``.

    Raises
    ------
    DrumError
        The drum has no head on that side.
    """

    def __init__(self, drum: Drum, side: Side = "batter", other_head: OtherHead = "off") -> None:
        drum.head(side)
        if other_head not in ("off", "muted", "ringing"):
            raise RoundError(f"The other head is 'off', 'muted' or 'ringing', not {other_head!r}.")
        self.drum = drum
        self.side = side
        self.other_head = other_head
        self.readings: list[Reading] = []
        self.gain = Gain()
        self._belief: Belief | None = None
        self._turned: tuple[Belief, Response, FloatArray] | None = None

    def read(self, taps: Sequence[TapAtRod]) -> Reading:
        """Read one round: (rod, samples, rate in Hz) for each tap.

        Raises
        ------
        RoundError
            A rod is named that the drum lacks, or nothing in the round can be used.
        """
        result = read_round(self.drum, self.side, taps, self.other_head, self._belief)
        if result.belief is not None:
            if self._turned is not None:
                before, response, turns = self._turned
                self.gain = learned_gain(response, before, turns, result.belief)
                self._turned = None
            self._belief = result.belief
        self.readings.append(result.reading)
        return result.reading

    def advise(self, tension_n_m: float | None = None, note_hz: float | None = None) -> TurnPlan:
        """What to turn now: even the head, and raise or lower it if a note is asked for.

        Raises
        ------
        RoundError
            Nothing was read yet, or the last round says nothing about the rods.
        SafetyError
            The film would be stressed beyond what advice is given for.
        """
        if not self.readings or self._belief is None:
            raise RoundError("There is no reading to advise from; tap a round at the rods first.")
        if self.readings[-1].trust.level == "none":
            raise RoundError(
                "The last round says nothing about the rods, so no turns are advised; "
                "tap the round again."
            )
        reading = self.readings[-1]
        response = self._response()
        if note_hz is not None:
            tension_n_m = response.tension_n_m * (note_hz / reading.note.frequency_hz) ** 2
        film = self.drum.head(self.side).film
        return plan_turns(response, self._belief, reading.note.frequency_hz, film, tension_n_m)

    def turned(self, turns: TurnPlan | Sequence[float]) -> None:
        """Say what was really turned: a plan, or the turns of all rods, + tightens.

        Raises
        ------
        RoundError
            The turns do not name every rod, or nothing was read yet.
        """
        made = np.asarray(turns.rods if isinstance(turns, TurnPlan) else turns, dtype=np.float64)
        if made.shape != (self.drum.rods,) or not np.all(np.isfinite(made)):
            raise RoundError(f"Give the turns of all {self.drum.rods} rods, 0 for one left alone.")
        if self._belief is None:
            raise RoundError("There is no reading yet that the turns could follow.")
        response = self._response()
        before = self._belief
        self._belief = after_turns(response, before, made)
        self._turned = (before, response, made)

    def _response(self) -> Response:
        rim = rim_map(self.drum, self.side, slide=SLIDE)
        tension = self.readings[-1].mean_tension_n_m
        return Response(rim, self.drum.thread_pitch_m, tension, self.gain)
