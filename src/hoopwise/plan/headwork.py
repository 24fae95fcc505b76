"""One head being worked on, round after round: read, advise, turn, read again."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.stretch import rim_map
from hoopwise.drum import Drum, Side
from hoopwise.errors import RoundError
from hoopwise.infer.head.even_head import SLIDE
from hoopwise.infer.head.prior import Belief
from hoopwise.infer.rods import read_round
from hoopwise.infer.taps.takes import TapAtRod
from hoopwise.infer.types import OtherHead, Reading
from hoopwise.plan.memory import Memory
from hoopwise.plan.note_asked import NoteAsked
from hoopwise.plan.stranger import doubt, with_doubt, with_low_trust
from hoopwise.plan.turns import Gain, Response, after_turns, learned_gain, plan_turns, trial_plan
from hoopwise.plan.types import TurnPlan

FloatArray = NDArray[np.float64]

_BROUGHT_ELSE = (
    "The last turns did not bring what they should: they were others than the list says, or one of "
    "the two rounds was misread."
)
_AT_ODDS = (
    "No turns are advised on a round that is at odds with the rounds and turns before it. Check "
    "the labels and tap it again; if the next round agrees, the list follows. If the head was "
    "worked on in between, begin with it anew."
)
_SAME_DRUM = 0.15
"""Turns of one pass move the note by less than this (log); another drum's may lie anywhere."""


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
        self.rounds = 0
        self._belief: Belief | None = None
        self._turned: tuple[Belief, Response, FloatArray] | None = None
        self.at_odds = False
        """Whether the last round is at odds with the rounds and turns before it."""

    def read(self, taps: Sequence[TapAtRod]) -> Reading:
        """Read one round: (rod, samples, rate in Hz) for each tap.

        Raises
        ------
        RoundError
            A rod is named that the drum lacks, or nothing in the round can be used.
        """
        result = read_round(self.drum, self.side, taps, self.other_head, self._belief)
        reading, belief = result.reading, result.belief
        stranger = doubt(self.drum, self.side, self.other_head, reading)
        if stranger is not None and (stranger.certain or not self._met_before(reading)):
            reading = with_doubt(reading, stranger)
            belief = None if stranger.certain else belief
        self.at_odds = result.at_odds
        if belief is not None:
            if self._turned is not None and not result.at_odds:
                before, response, turns = self._turned
                learned = learned_gain(response, before, turns, belief)
                self.at_odds = learned is None
                self.gain = learned or self.gain
                reading = reading if learned else with_low_trust(reading, _BROUGHT_ELSE)
            self._turned = None
            self._belief = belief
        if self.at_odds:
            reading = without_trial(reading)
        self.readings.append(reading)
        self.rounds += 1
        return reading

    def _met_before(self, reading: Reading) -> bool:
        """Whether an earlier round was surely of this drum, and near this round's note."""
        sure = [r.note.frequency_hz for r in self.readings if r.trust.level == "high"]
        return any(abs(math.log(reading.note.frequency_hz / hz)) < _SAME_DRUM for hz in sure)

    def advise(self, tension_n_m: float | None = None, note_hz: float | None = None) -> TurnPlan:
        """What to turn now: even the head, and raise or lower it if a note is asked for.

        The note is the head's own, with the other head off or, over a muted one, held still; with
        the other head ringing it is the drum's.

        Raises
        ------
        RoundError
            Nothing was read yet, the last round says nothing about the rods or is at odds with the
            rounds before it, or the note cannot be had with this head alone.
        SafetyError
            The film would be stressed beyond what advice is given for.
        """
        reading, belief = self._to_turn()
        response = self._response(reading.mean_tension_n_m)
        if note_hz is not None:
            tension_n_m = self.note_asked().tension_n_m(note_hz)
        film = self.drum.head(self.side).film
        plan = plan_turns(response, belief, reading.note.frequency_hz, film, tension_n_m)
        return self._with_note(plan)

    def trial(self, rod: int, turns: float) -> TurnPlan:
        """One rod turned a known bit, to tell two answers apart; errors as `advise`."""
        reading, belief = self._to_turn()
        response = self._response(reading.mean_tension_n_m)
        film = self.drum.head(self.side).film
        plan = trial_plan(response, belief, reading.note.frequency_hz, film, rod, turns)
        return self._with_note(plan)

    def note_asked(self) -> NoteAsked:
        """What a note asked for is compared with, after the last round; errors as `advise`."""
        return NoteAsked(self.drum, self.side, self.other_head, self._last()[0])

    def _with_note(self, plan: TurnPlan) -> TurnPlan:
        """A plan with the note that is heard after it, beside a ringing head too."""
        note = self.note_asked()
        if not note.is_heard:
            return plan
        return replace(plan, expected_note_hz=note.at_hz(plan.expected_mean_tension_n_m))

    def _last(self) -> tuple[Reading, Belief]:
        if not self.readings:
            raise RoundError("There is no reading to advise from; tap a round at the rods first.")
        if self.readings[-1].trust.level == "none" or self._belief is None:
            raise RoundError(
                "The last round says nothing about the rods, so no turns are advised; "
                "tap the round again."
            )
        return self.readings[-1], self._belief

    def _to_turn(self) -> tuple[Reading, Belief]:
        if self.at_odds:
            raise RoundError(_AT_ODDS)
        return self._last()

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
        tension = self._tension_n_m
        if self._belief is None or tension is None:
            raise RoundError("There is no reading yet that the turns could follow.")
        self._follow(self._belief, self._response(tension), made)

    def memory(self, advised: TurnPlan | None = None) -> Memory:
        """What to keep for the next round; the advised turns count as made.

        Raises
        ------
        RoundError
            As `advise`.
        """
        reading, belief = self._last()
        turns = advised.rods if advised is not None else (0.0,) * self.drum.rods
        return Memory(
            drum=self.drum.name,
            side=self.side,
            other_head=self.other_head,
            rounds=self.rounds,
            note_hz=reading.note.frequency_hz,
            mean_tension_n_m=reading.mean_tension_n_m,
            deviation=tuple(float(d) for d in belief.mean),
            covariance=tuple(tuple(float(c) for c in row) for row in belief.cov),
            gain=self.gain.value,
            gain_sd=self.gain.sd,
            advised=turns,
            made=turns,
        )

    def resume(self, memory: Memory) -> None:
        """Go on after a kept round and the turns that were made since.

        Raises
        ------
        RoundError
            It was kept of another drum, head or number of rods.
        """
        kept, here = (memory.drum, memory.side), (self.drum.name, self.side)
        if kept != here or len(memory.deviation) != self.drum.rods:
            raise RoundError(
                f"These turns belong to {kept[0]} ({kept[1]}, {len(memory.deviation)} rods), not "
                f"to {here[0]} ({here[1]}, {self.drum.rods} rods)."
            )
        self.gain = Gain(memory.gain, memory.gain_sd)
        self.rounds = memory.rounds
        before = Belief(np.array(memory.deviation), np.array(memory.covariance))
        self._follow(before, self._response(memory.mean_tension_n_m), np.array(memory.made))

    def _follow(self, before: Belief, response: Response, made: FloatArray) -> None:
        """Believe what the turns should have brought; none made, nothing to learn from."""
        if not np.any(made):
            self._belief, self._turned = before, None
            return
        self._belief = after_turns(response, before, made)
        self._turned = (before, response, made)

    @property
    def _tension_n_m(self) -> float | None:
        """Mean tension of the last round that told one."""
        told = [r.mean_tension_n_m for r in self.readings if r.trust.level != "none"]
        return told[-1] if told else None

    def _response(self, tension_n_m: float) -> Response:
        rim = rim_map(self.drum, self.side, slide=SLIDE)
        return Response(rim, self.drum.thread_pitch_m, tension_n_m, self.gain)


def without_trial(reading: Reading, instead: str = "") -> Reading:
    """The reading without a trial turn that it asks for."""
    ask = reading.ask
    if ask is None or ask.kind != "trial turn":
        return reading
    kept = [s for s in reading.advice if s != ask.sentence]
    return replace(reading, ask=None, advice=(*kept, *filter(None, [instead])))
