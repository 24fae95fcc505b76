"""The one next step after a round: a turn list, a trial turn, or why there is neither.

A turn list and a trial turn are never given together: where two answers are nearly as
likely the trial turn comes first, else the list follows the likelier answer and the next
round tells.
"""

from dataclasses import dataclass, replace
from typing import Final

from hoopwise.errors import RoundError
from hoopwise.infer.types import Reading
from hoopwise.plan.headwork import HeadWork
from hoopwise.plan.types import TurnPlan

EVEN_ODDS: Final = 0.3
"""A second answer this likely makes a turn list a gamble; the trial turn comes first."""


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
        odds = second.odds if second is not None else 0.0
        if plan.done or odds >= EVEN_ODDS:
            trial = work.trial(ask.rod, ask.turns)
            return Advice(reading, trial, trial=True)
        follows = (
            f"The turns follow the likelier answer ({100 * (1 - odds):.0f} % likely); tap again "
            "after them, which tells whether it was right."
        )
        return Advice(_without_ask(reading, follows), plan)
    except RoundError as error:
        return Advice(_without_ask(reading), None, why_none=str(error))


def _without_ask(reading: Reading, instead: str = "") -> Reading:
    """The reading without a trial turn that it asks for."""
    ask = reading.ask
    if ask is None or ask.kind != "trial turn":
        return reading
    kept = [s for s in reading.advice if s != ask.sentence]
    return replace(reading, ask=None, advice=(*kept, *filter(None, [instead])))
