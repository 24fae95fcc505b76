"""The one next step after a round: a turn list, a trial turn, or why there is neither.

A turn list and a trial turn are never given together. Where two answers are nearly as
likely, and the list for the one would not even the head if the other is true, the trial
turn comes first; else the list is given, and the next round tells.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from hoopwise.errors import RoundError
from hoopwise.infer.types import Reading, SecondAnswer
from hoopwise.plan.headwork import HeadWork, without_trial
from hoopwise.plan.types import TurnPlan

EVEN_ODDS: Final = 0.3
"""A second answer this likely makes a turn list for the first one a gamble."""
_HELPS: Final = 0.6
"""A list serves an answer if it leaves no more than this share of its unevenness."""


@dataclass(frozen=True)
class Advice:
    """What to do now."""

    reading: Reading
    """The reading, its sentences brought in line with this step."""
    plan: TurnPlan | None
    trial: bool = False
    """The plan is a trial turn of one rod; the turn list waits for the next round."""
    why_none: str = ""
    """Why there is no plan; empty where the reading's own sentences say it."""


def next_step(work: HeadWork, note_hz: float | None = None) -> Advice:
    """What to do after the last round that ``work`` has read.

    Parameters
    ----------
    work
        A head with at least one reading.
    note_hz
        Low note to bring the head to (Hz); None leaves its mean tension.

    Raises
    ------
    RoundError
        Nothing was read yet.
    """
    if not work.readings:
        raise RoundError("There is no reading to advise from; tap a round at the rods first.")
    reading = work.readings[-1]
    if reading.trust.level == "none":
        return Advice(reading, None)
    try:
        plan = work.advise(note_hz=note_hz)
        ask = reading.ask
        if ask is None or ask.kind != "trial turn":
            return Advice(reading, plan)
        second = reading.second_answer
        both = second is not None and _serves(plan, reading, second)
        odds = second.odds if second is not None else 0.0
        if plan.done or (odds >= EVEN_ODDS and not both):
            return Advice(reading, work.trial(ask.rod, ask.turns), trial=True)
        follows = (
            "The turns are right for both answers; tap again after them, which tells more."
            if both
            else f"The turns follow the likelier answer ({100 * (1 - odds):.0f} % likely); tap "
            "again after them, which tells whether it was right."
        )
        return Advice(without_trial(reading, follows), plan)
    except RoundError as error:
        return Advice(without_trial(reading), None, why_none=str(error))


def _serves(plan: TurnPlan, reading: Reading, second: SecondAnswer) -> bool:
    """Whether a list made for the first answer also evens the head if the second is true."""
    first = np.array([rod.deviation for rod in reading.rods])
    other = np.array(second.deviations)
    left = other + (np.array(plan.expected) - first)
    return bool(np.std(left) <= _HELPS * np.std(other))
