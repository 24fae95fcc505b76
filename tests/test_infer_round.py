"""A round of taps to tensions, on a simulated drum whose tensions are known."""

from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from hoopwise.drum import load_drum
from hoopwise.errors import RoundError
from hoopwise.infer import round_fit
from hoopwise.infer.fit.answers import unexplained
from hoopwise.infer.head.even_head import even_head
from hoopwise.infer.head.head_stack import stack_heads
from hoopwise.infer.head.prior import Belief
from hoopwise.infer.head.rod_model import solve_groups
from hoopwise.infer.rods import _heard_less, _reported, read_round
from hoopwise.infer.taps.identify import _loudness
from hoopwise.infer.types import Reading
from hoopwise.listen.types import JointModes
from hoopwise.plan.headwork import HeadWork
from hoopwise.render.practice import PracticeDrum, practice_drum
from tests.rounds import fitted

DRUM = load_drum("tom-14x14")
NAMES = ((0, 1), (1, 1), (2, 1), (0, 2), (3, 1), (1, 2))


@lru_cache(maxsize=1)
def taps() -> tuple[PracticeDrum, list[tuple[int, np.ndarray, float]]]:
    state = practice_drum(DRUM, "batter", 1)
    rng = np.random.default_rng(1)
    made = [(r, state.tap(r, rng=rng), float(state.rate)) for r in range(1, 9) for _ in range(2)]
    return state, made


@lru_cache(maxsize=1)
def read() -> tuple[PracticeDrum, Reading, HeadWork]:
    state, made = taps()
    silent = (4, np.zeros(48000), 48000.0)
    work = HeadWork(DRUM)
    return state, work.read([*made, silent]), work


def test_a_reading_holds_the_truth() -> None:
    state, reading, _ = read()
    told = np.array([r.deviation for r in reading.rods])
    sd = np.array([r.deviation_sd for r in reading.rods])
    error = told - state.deviations()
    assert np.sqrt(np.mean(error**2)) < 0.25 * np.sqrt(np.mean(state.deviations() ** 2))
    assert np.all(np.abs(error) < 3 * sd)
    assert abs(reading.mean_tension_n_m / state.mean_tension - 1) < 0.08
    assert reading.trust.level == "high"


def test_high_trust_names_the_rods_that_surely_differ_and_by_how_much() -> None:
    _, reading, _ = read()
    off = [r for r in reading.rods if abs(r.deviation) > 2 * r.deviation_sd]
    sentence = reading.trust.sentences[-1]
    assert len(off) > 1
    assert f"and {off[-1].rod} surely differ" in sentence
    assert f"up to {100 * max(abs(r.deviation) for r in off):.1f} %" in sentence


@pytest.mark.parametrize("seed", [11, 14])
def test_a_head_that_is_nearly_even_is_read_with_high_trust(seed: int) -> None:
    """Its pairs lie closer together than their lines are wide."""
    state = practice_drum(DRUM, "batter", seed, uneven=0.015)
    rng = np.random.default_rng(seed)
    reading = HeadWork(DRUM).read(
        [(r, state.tap(r, rng=rng), float(state.rate)) for r in range(1, 9) for _ in range(2)]
    )
    error = np.array([r.deviation for r in reading.rods]) - state.deviations()
    assert np.sqrt(np.mean(error**2)) < 0.012
    assert reading.trust.level == "high", reading.trust.sentences


def test_a_search_that_breaks_down_is_told_and_keeps_what_is_heard(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(*_: object) -> None:
        raise np.linalg.LinAlgError("Singular matrix")

    monkeypatch.setattr(round_fit, "settle_round", broken)
    reading = read_round(DRUM, "batter", taps()[1]).reading
    assert reading.trust.level == "none"
    assert "no tensions were found" in reading.trust.sentences[0]
    assert reading.modes and reading.note.frequency_hz > 50.0


def test_bars_are_wider_where_few_strengths_are_modelled() -> None:
    _, made = taps()
    answers = fitted(DRUM, made)
    assert answers.setting.known.sum() > 2
    few = replace(answers, setting=replace(answers.setting, known_to=0.1))
    mean, cov = _reported(answers, "off", "batter")
    drawn, wider = _reported(few, "off", "batter")
    assert np.all(np.diag(wider) > 1.3 * np.diag(cov))
    assert np.linalg.norm(drawn) < np.linalg.norm(mean)


def test_bars_are_wider_in_a_room_and_beside_a_ringing_head_and_narrower_over_a_muted_one() -> None:
    _, made = taps()
    answers = fitted(DRUM, made)
    bars = np.diag(_reported(answers, "off", "batter")[1])
    muted = np.diag(_reported(answers, "muted", "batter")[1])
    ringing = np.diag(_reported(answers, "ringing", "batter")[1])
    assert np.all(muted < 0.95 * bars) and np.all(ringing > 1.2 * bars)
    groups = tuple(replace(group, room=0.08) for group in answers.setting.groups)
    roomy = replace(answers, setting=replace(answers.setting, groups=groups))
    assert np.all(np.diag(_reported(roomy, "off", "batter")[1]) > 1.5 * bars)


def test_a_round_with_a_ringing_head_that_nothing_explains_tells_nothing() -> None:
    _, made = taps()
    answers = fitted(DRUM, made)
    best = replace(answers.best, cost=answers.best.cost + 2.0 * answers.best.freedom.sum())
    odd = replace(answers, fits=(best,), odds=np.ones(1))
    mean, cov = _reported(odd, "ringing", "batter")
    assert np.array_equal(mean, odd.setting.prior.mean)
    assert np.array_equal(cov, odd.setting.prior.cov)
    assert np.linalg.norm(_reported(odd, "off", "batter")[0]) > 0.0


def test_what_the_taps_told_can_count_less_and_what_was_believed_does_not() -> None:
    rng = np.random.default_rng(2)
    root = rng.normal(size=(6, 6))
    before = Belief(rng.normal(size=6), root @ root.T + np.eye(6))
    told, seen = np.diag(rng.uniform(0.1, 9.0, 6)), rng.normal(size=6)

    def answer(weight: float) -> tuple[np.ndarray, np.ndarray]:
        cov = np.linalg.inv(before.precision + weight * told)
        return cov @ (before.precision @ before.mean + weight * told @ seen), cov

    for wider in (1.0, 1.3, 5.0):
        mean, cov = _heard_less(*answer(1.0), before, wider)
        expected, spread = answer(wider**-2)
        assert np.allclose(mean, expected)
        assert np.allclose(cov, spread)


def test_a_fit_that_leaves_too_much_explains_nothing() -> None:
    """Frequencies that no tensions make cost a fit much, and no group's misfit shows it."""
    _, made = taps()
    answers = fitted(DRUM, made)
    assert not unexplained(answers)
    best = replace(answers.best, cost=answers.best.cost + 2.0 * answers.best.freedom.sum())
    assert unexplained(replace(answers, fits=(best,)))


def test_a_silent_tap_is_left_out_and_said() -> None:
    _, reading, _ = read()
    assert reading.left_out[-1] == 16
    assert any("Tap 17 at rod 4 was left out" in line for line in reading.advice)


def test_turns_follow_the_reading() -> None:
    state, _, work = read()
    plan = work.advise()
    assert plan.order and np.std(plan.expected) < 0.04
    worst = int(np.argmax(np.abs(state.deviations())))
    assert np.sign(plan.rods[worst]) == -np.sign(state.deviations()[worst])


def test_rods_across_sound_alike_whatever_their_tension() -> None:
    # Why the ear alone fails: the low pitch near a rod is that of a pair all over the head.
    state, reading, _ = read()
    heard = np.array([r.heard_low_cents for r in reading.rods], dtype=float)
    apart = heard[:4] - heard[4:]
    true = state.deviations()[:4] - state.deviations()[4:]
    assert np.abs(apart).max() < 12 and np.abs(true).max() > 0.08


def test_rods_that_the_drum_lacks_are_refused() -> None:
    _, made = taps()
    with pytest.raises(RoundError, match="has rods 1 to 8"):
        HeadWork(DRUM).read([(9, made[0][1], made[0][2])])


def test_one_rod_only_tells_the_note_and_no_turns() -> None:
    _, made = taps()
    work = HeadWork(DRUM)
    reading = work.read(made[:2])
    assert reading.trust.level == "none" and reading.note.frequency_hz > 50
    with pytest.raises(RoundError, match=r"says nothing about the rods|no reading"):
        work.advise()


@pytest.mark.parametrize("g", range(len(NAMES)))
def test_slopes_against_differences(g: int) -> None:
    head = even_head(DRUM, "batter", 2000.0)
    stack = stack_heads([head] * len(NAMES), NAMES)
    rng = np.random.default_rng(5)
    uneven = 0.08 * rng.normal(size=8)
    uneven = np.concatenate([uneven, 0.01 * rng.normal(size=len(head.coupling) - 8)])
    shift = np.zeros(len(head.frequency_hz))
    whole = np.zeros((len(NAMES), 2))
    at = solve_groups(stack, uneven, shift, whole)
    r = stack.real * np.array([1.0 + 0.3j, -0.4 + 0.2j])
    step, sizes = 1e-6, []
    for rod in (0, 3, 8):  # the last is a wave of the seat
        moved = uneven.copy()
        moved[rod] += step
        there = solve_groups(stack, moved, shift, whole)
        by_hz = (there.frequency_hz[g] - at.frequency_hz[g]) / step
        assert np.allclose(by_hz, at.frequency_slope[g, rod], rtol=1e-3, atol=1e-3)
        by_heard = ((there.moments()[g] - at.moments()[g]) @ r[g]) / step
        told = at.heard_slope(r)[g, :, :, rod].T
        # First-order losses leave a small part of the slope out.
        sizes.append(np.linalg.norm(by_heard[0]))
        usual = sizes[-1] if rod < 8 else max(sizes)  # a round mode hardly feels such a wave
        assert np.linalg.norm(by_heard[0] - told[0]) < 0.1 * usual


def test_a_round_that_speaks_against_a_wrong_belief_is_read_by_itself() -> None:
    state, made = taps()
    true = state.deviations()
    wrong = Belief(-true, 0.004**2 * np.eye(8))
    result = read_round(DRUM, "batter", made, belief=wrong)
    assert result.by_itself
    told = np.array([r.deviation for r in result.reading.rods])
    assert np.sqrt(np.mean((told - true) ** 2)) < 0.03
    assert result.reading.trust.level == "low"
    assert any("read by itself" in line for line in result.reading.trust.sentences)


def test_a_right_belief_is_kept() -> None:
    state, made = taps()
    result = read_round(DRUM, "batter", made, belief=Belief(state.deviations(), 1e-4 * np.eye(8)))
    assert not result.by_itself and result.reading.trust.level == "high"


def test_strengths_are_told_without_a_round_mode() -> None:
    # A muted head may sound pairs only, each silent at its own nodes.
    angle = np.repeat(2 * np.pi * np.arange(8) / 8, 2)
    strength = np.exp(0.4 * np.random.default_rng(2).normal(size=16))
    shapes = [f(m * angle + 0.3) for m in (1, 2, 3) for f in (np.cos, np.sin)]
    amplitude = strength[:, None] * np.stack(shapes, axis=1) * [3, 3, 1, 1, 0.5, 0.5]
    level = np.sqrt(np.mean(amplitude**2, axis=0))
    loud = np.arange(6)
    heard = cast(JointModes, SimpleNamespace(amplitude=amplitude))
    told = np.abs(_loudness(heard, loud, level))
    assert np.std(np.log(told / strength)) < 0.1
