"""Rounds at odds with the rounds and turns before them: no turns are advised on one alone."""

from dataclasses import replace

import numpy as np
import pytest

from hoopwise.errors import RoundError
from hoopwise.infer.head.prior import Belief
from hoopwise.infer.rods import read_round
from hoopwise.infer.types import Ask
from hoopwise.plan.advice import next_step
from hoopwise.plan.headwork import HeadWork
from hoopwise.plan.turns import Gain, after_turns, learned_gain, plan_turns
from tests.test_infer_round import DRUM, taps
from tests.test_plan_turns import DRUM as SNARE
from tests.test_plan_turns import belief, response


def brought(share: float, noise: float = 0.004) -> Gain | None:
    """The gain learned where a share of the turns' effect was heard."""
    before, expected = belief(3, noise), response()
    turns = np.array(plan_turns(expected, before, 150.0, SNARE.batter.film).rods)
    unit = after_turns(expected, before, turns).mean - before.mean
    prior = after_turns(expected, before, turns)
    told = np.eye(10) / noise**2
    cov = np.asarray(np.linalg.inv(prior.precision + told), dtype=np.float64)
    really = before.mean + share * unit
    return learned_gain(
        expected, before, turns, Belief(cov @ (prior.precision @ prior.mean + told @ really), cov)
    )


@pytest.mark.parametrize("share", [0.5, 1.0, 1.5])
def test_turns_that_bring_less_or_more_are_learned_from(share: float) -> None:
    gain = brought(share)
    assert gain is not None and gain.value == pytest.approx(share, abs=0.25)


@pytest.mark.parametrize("share", [-0.5, 0.0, 2.5])
def test_turns_that_brought_nothing_or_the_contrary_teach_no_gain(share: float) -> None:
    """Learned as a fifth of the model's gain they made the next turns five times as large."""
    assert brought(share) is None


def evened(work: HeadWork) -> None:
    """The list is said to have been turned; the head stays as it was."""
    work.read(taps()[1])
    work.turned(work.advise())


def test_no_turns_on_a_round_at_odds_with_the_turns_and_the_list_once_another_agrees() -> None:
    work = HeadWork(DRUM)
    evened(work)
    reading = work.read(taps()[1])
    assert reading.trust.level == "low"
    with pytest.raises(RoundError, match="at odds with the rounds and turns before it"):
        work.advise()
    assert work.gain == Gain()
    step = next_step(work)
    assert step.plan is None and "if the next round agrees" in step.why_none
    again = work.read(taps()[1])
    told = np.array([rod.deviation for rod in again.rods])
    assert np.sqrt(np.mean((told - taps()[0].deviations()) ** 2)) < 0.02
    assert np.any(work.advise().rods)


def test_no_trial_turn_on_a_round_at_odds_either(monkeypatch: pytest.MonkeyPatch) -> None:
    ask = Ask("trial turn", 2, 1 / 32, "Tighten rod 2 by 1/32 turn and tap the round again.")
    result = read_round(DRUM, "batter", taps()[1])
    asking = replace(result.reading, ask=ask, advice=(ask.sentence,))
    odd = replace(result, reading=asking, at_odds=True)
    monkeypatch.setattr("hoopwise.plan.headwork.read_round", lambda *_: odd)
    work = HeadWork(DRUM)
    reading = work.read(taps()[1])
    assert reading.ask is None and ask.sentence not in reading.advice
    with pytest.raises(RoundError, match="at odds with the rounds and turns before it"):
        work.trial(2, 1 / 32)


def test_a_round_that_agrees_is_followed_by_its_list() -> None:
    work, state = HeadWork(DRUM), taps()[0]
    work.read(taps()[1])
    plan = work.advise()
    rng = np.random.default_rng(5)
    after = state.turned(plan.rods, rng=rng)
    work.turned(plan)
    work.read(
        [(r, after.tap(r, rng=rng), float(after.rate)) for r in range(1, 9) for _ in range(2)]
    )
    assert work.gain != Gain()
    work.advise()
