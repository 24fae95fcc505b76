"""Taps halfway between the rods: what they tell, that they are asked for, and their mistakes."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from benchmarks.loop.lines import LINES
from benchmarks.truth import TrueDrum
from benchmarks.truth.rounds import round_of_taps
from hoopwise.drum import load_drum
from hoopwise.errors import RoundError
from hoopwise.infer.head.prior import wave_matrix
from hoopwise.infer.taps.places import angle_of, on_hoop, place_at, said, spots, where
from hoopwise.infer.taps.takes import TapAtRod, take_in
from hoopwise.infer.types import Reading
from hoopwise.plan.headwork import HeadWork
from hoopwise.render.practice import practice_drum

LINE = LINES["ten"]


@lru_cache(maxsize=1)
def nearly_even() -> tuple[TrueDrum, np.random.Generator]:
    """A head of ten rods that has been evened but for a seventh of what it was."""
    rng = np.random.default_rng(71003)
    drum = LINE.draw(rng)
    mean = drum.pulls_m.mean()
    return replace(drum, pulls_m=mean + 0.15 * (drum.pulls_m - mean)), rng


@lru_cache(maxsize=2)
def taps(halfway: bool) -> list[TapAtRod]:
    drum, _ = nearly_even()
    return list(round_of_taps(drum, np.random.default_rng(1), 2, halfway, contact_s=3e-3))


@lru_cache(maxsize=2)
def read(halfway: bool) -> Reading:
    return HeadWork(nearly_even()[0].nominal).read(taps(halfway))


def alternating(reading: Reading) -> tuple[float, float]:
    """What alternates from rod to rod, and its bar, as fractions of the mean tension."""
    row = wave_matrix(10)[-1] / np.sqrt(10)
    told = np.array([rod.deviation for rod in reading.rods])
    return float(row @ told), float(np.sqrt(row @ np.array(reading.deviation_cov) @ row))


def test_as_many_taps_tell_what_alternates_from_rod_to_rod_much_better() -> None:
    true = wave_matrix(10)[-1] @ nearly_even()[0].deviations() / np.sqrt(10)
    value, bar = alternating(read(halfway=True))
    assert bar < 0.65 * alternating(read(halfway=False))[1]
    assert abs(value - true) < 2 * bar


def test_a_round_at_the_rods_asks_for_them_and_one_with_them_does_not() -> None:
    ask = read(halfway=False).ask
    assert ask is not None and ask.kind == "harder tip" and ask.or_halfway
    assert "once at each rod and once halfway to the next" in ask.sentence
    again = read(halfway=True).ask
    assert again is None or (again.kind != "halfway" and not again.or_halfway)


def test_they_are_asked_for_alone_where_the_tip_is_hard_and_the_bars_are_wide() -> None:
    """Beside a muted head a hard stick is as good as tips get, yet the bars stay wide."""
    line, rng = LINES["muted"], np.random.default_rng(71002)
    drum = line.draw(rng)
    made = round_of_taps(drum, rng, 2, contact_s=2e-3)
    ask = HeadWork(drum.nominal, other_head="muted").read(made).ask
    assert ask is not None and ask.kind == "halfway" and ask.rod == 0


def test_one_with_a_wrong_label_is_found_and_named() -> None:
    made = taps(halfway=True)
    place, samples, rate = made[13]
    assert place == 7.5
    wrong = [*made[:13], (3.5, samples, rate), *made[14:]]
    reading = HeadWork(nearly_even()[0].nominal).read(wrong)
    assert reading.left_out == (13,)
    assert any(
        "Tap 14 halfway between rods 3 and 4 sounds like halfway between rods 7 and 8" in line
        for line in reading.advice
    )


def test_modes_of_more_waves_than_the_rods_tell_apart_are_named_by_them() -> None:
    """Four waves look like two at six rods, but not at twelve places."""
    drum = load_drum("tom-12x8")
    state, rng = practice_drum(drum, "batter", 2), np.random.default_rng(2)
    places = [rod + half for rod in range(1, 7) for half in (0.0, 0.5)]
    made = [(p, state.tap(p, rng=rng), float(state.rate)) for p in places]
    reading = HeadWork(drum).read(made)
    told = np.array([rod.deviation for rod in reading.rods])
    assert {(m.diameters, m.circles) for m in reading.modes} >= {(2, 1), (4, 1)}
    assert np.sqrt(np.mean((told - state.deviations()) ** 2)) < 0.02
    assert [rod.taps for rod in reading.rods] == [1] * 6


@pytest.mark.parametrize(
    ("place", "words", "after"),
    [
        (3, "rod 3", "at rod 3"),
        (3.5, "halfway between rods 3 and 4", "halfway between rods 3 and 4"),
        (10.5, "halfway between rods 10 and 1", "halfway between rods 10 and 1"),
    ],
)
def test_a_place_in_words_and_back_from_its_angle(place: float, words: str, after: str) -> None:
    assert said(place, 10) == words and where(place, 10) == after
    assert on_hoop(place, 10)
    turns = 2 * np.pi * np.array([-1, 0, 1])
    assert [place_at(float(angle_of(place, 10)) + turn, 10) for turn in turns] == [place] * 3


@pytest.mark.parametrize("place", [0.5, 3.25, 11, 11.5])
def test_places_that_the_hoop_lacks_are_refused(place: float) -> None:
    assert not on_hoop(place, 10)
    with pytest.raises(RoundError, match=r"this drum has rods 1 to 10 \(and halfway"):
        take_in([(place, np.zeros(9), 48000.0)], 10)


def test_a_few_taps_halfway_do_not_tell_more_waves_apart() -> None:
    around = np.arange(1.0, 11.0)
    assert spots(angle_of(around, 10), 10) == 10
    assert spots(angle_of([*around, 1.5, 2.5], 10), 10) == 10
    assert spots(angle_of([*around, *(around + 0.5)], 10), 10) == 20
