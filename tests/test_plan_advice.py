"""The next step: never a turn list and a trial turn that contradict each other."""

from dataclasses import replace

import numpy as np
import pytest

from hoopwise.errors import RoundError
from hoopwise.infer.head.prior import Belief
from hoopwise.infer.types import Reading
from hoopwise.plan.advice import EVEN_ODDS, next_step
from hoopwise.plan.headwork import HeadWork
from tests.rounds import TOM, asking, told

SHAPE = np.array([1.0, -1.0, 0.5, -0.5, -1.0, 1.0, -0.5, 0.5])


def work_with(reading: Reading, size: float = 0.08) -> HeadWork:
    work = HeadWork(TOM)
    mean = size * SHAPE
    rods = zip(reading.rods, mean, strict=True)
    told_so = tuple(replace(rod, deviation=float(d)) for rod, d in rods)
    work.readings.append(replace(reading, rods=told_so))
    work._belief = Belief(mean, 0.01**2 * np.eye(8))
    return work


def test_a_plain_reading_leads_to_a_list() -> None:
    step = next_step(work_with(told()))
    assert step.plan is not None and step.plan.order and not step.trial


def test_two_answers_nearly_alike_ask_for_the_trial_turn_alone() -> None:
    step = next_step(work_with(asking(told(), EVEN_ODDS + 0.1)))
    assert step.trial and step.plan is not None
    assert step.plan.order == (3,) and step.plan.rods[2] == 1 / 16
    expected = np.array(step.plan.expected)
    assert expected[2] == expected.max() or expected[2] > 0.04  # rod 3 was at +4 %


def test_a_list_that_is_right_for_both_answers_needs_no_trial_turn() -> None:
    near = tuple(float(d) for d in 0.08 * SHAPE + 0.01 * np.roll(SHAPE, 2))
    step = next_step(work_with(asking(told(), 0.45, near)))
    assert not step.trial and step.plan is not None and len(step.plan.order) > 1
    assert "right for both answers" in " ".join(step.reading.advice)
    mirrored = tuple(float(d) for d in -0.08 * SHAPE)
    assert next_step(work_with(asking(told(), 0.45, mirrored))).trial


def test_an_unlikely_second_answer_leaves_the_list_and_no_trial_turn() -> None:
    step = next_step(work_with(asking(told(), 0.15)))
    assert step.plan is not None and len(step.plan.order) > 1 and not step.trial
    words = " ".join(step.reading.advice)
    assert "Tighten rod 3 by 1/16" not in words
    assert "likelier answer (85 % likely)" in words
    assert "double hit" in words  # what else was said stays
    assert step.reading.ask is None


def test_an_even_head_with_two_answers_still_asks() -> None:
    step = next_step(work_with(asking(told(), 0.15), size=0.001))
    assert step.trial


def test_no_knowledge_no_second_sentence() -> None:
    step = next_step(work_with(told("none")))
    assert step.plan is None and step.why_none == ""


def test_a_refused_plan_gives_its_reason_and_no_trial_turn() -> None:
    limit = 97e6 * TOM.batter.film.thickness_m
    step = next_step(work_with(asking(told(tension=0.9 * limit), 0.15)))
    assert step.plan is None and "No turns are advised" in step.why_none
    assert "Tighten rod 3" not in " ".join(step.reading.advice)


def test_a_wanted_note_raises_every_rod() -> None:
    step = next_step(work_with(told(note_hz=90.0), size=0.0), note_hz=100.0)
    assert step.plan is not None and min(step.plan.rods) > 0.0
    assert step.plan.expected_note_hz == pytest.approx(100.0, rel=0.02)  # whole 1/64 turns


def test_nothing_was_read() -> None:
    with pytest.raises(RoundError, match="no reading"):
        next_step(HeadWork(TOM))
