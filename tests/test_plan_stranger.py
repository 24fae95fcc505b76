"""A round that cannot be of the drum in the drum file is said to be so, with the reason."""

import math
from dataclasses import replace

import numpy as np
import pytest

from hoopwise.drum import Side, load_drum
from hoopwise.infer.head.prior import Belief
from hoopwise.infer.rods import RoundResult
from hoopwise.infer.types import HeadMode, OtherHead, TrustLevel
from hoopwise.plan.headwork import HeadWork
from hoopwise.plan.stranger import doubt, note_reach_hz, with_doubt
from tests.rounds import TOM, told


def test_a_fitting_round_raises_no_doubt() -> None:
    assert doubt(TOM, "batter", "off", told()) is None
    assert doubt(TOM, "batter", "off", told("low", misfit=1.4)) is None


@pytest.mark.parametrize("level", ["low", "none"])
def test_a_note_that_no_such_head_has(level: TrustLevel) -> None:
    low, high = note_reach_hz(TOM, "batter", "off")
    for note in (0.8 * low, 1.3 * high):
        found = doubt(TOM, "batter", "off", told(level, note_hz=note, misfit=4.0))
        assert found is not None and found.certain
        assert "do not sound like tom 14 x 14 (batter)" in found.sentence
        assert f"{note:.0f} Hz" in found.sentence and f"{low:.0f} Hz" in found.sentence


def test_a_good_fit_at_a_strange_tension_is_doubted_and_still_told() -> None:
    limit = 97e6 * TOM.batter.film.thickness_m
    found = doubt(TOM, "batter", "off", told(note_hz=600.0, tension=1.2 * limit))
    assert found is not None and not found.certain
    reading = with_doubt(told(note_hz=600.0), found)
    assert reading.trust.level == "low" and math.isfinite(reading.mean_tension_n_m)
    assert reading.trust.sentences[0] == found.sentence


def test_taps_that_no_tensions_explain() -> None:
    kinds = ((0, 1), (1, 1), (2, 1), (1, 1))
    modes = tuple(HeadMode(m, n, 100.0, 0.1, 0.5, 0.0) for m, n in kinds)
    bad = replace(told("low", misfit=4.0), modes=modes)
    found = doubt(TOM, "batter", "off", bad)
    assert found is not None and not found.certain
    assert "only 3 of its kinds of ring" in found.sentence
    poor = doubt(TOM, "batter", "off", replace(told("low", misfit=2.5), modes=modes))
    assert poor is not None and not poor.certain
    assert poor.sentence.startswith("Is it tom 14 x 14 (batter) that was tapped?")


def test_a_tension_that_no_such_head_is_played_at() -> None:
    found = doubt(TOM, "batter", "off", told("low", tension=14000.0, misfit=2.6))
    assert found is not None and found.certain
    assert "mean tension of 14000 N/m" in found.sentence


def test_a_certain_doubt_tells_no_tensions() -> None:
    found = doubt(TOM, "batter", "off", told("none", note_hz=700.0))
    assert found is not None
    reading = with_doubt(told("low", note_hz=700.0), found)
    assert reading.trust.level == "none" and reading.trust.sentences == (found.sentence,)
    assert math.isnan(reading.mean_tension_n_m) and reading.advice == ()
    assert all(math.isinf(rod.deviation_sd) for rod in reading.rods)


@pytest.mark.parametrize(
    ("drum", "side", "other", "usual_hz"),
    [
        # Usual notes of the drum, common practice, no source: they must lie well inside.
        ("tom-12x8", "batter", "ringing", (100.0, 160.0)),
        ("tom-16x16", "batter", "ringing", (65.0, 110.0)),
        ("snare-14x5.5", "batter", "ringing", (160.0, 260.0)),
        ("snare-14x5.5", "snare_side", "off", (120.0, 220.0)),
        ("kick-22x16", "batter", "muted", (40.0, 80.0)),
    ],
)
def test_usual_notes_are_within_reach(
    drum: str, side: Side, other: OtherHead, usual_hz: tuple[float, float]
) -> None:
    low, high = note_reach_hz(load_drum(drum), side, other)
    assert low < usual_hz[0] and usual_hz[1] < high
    assert np.isfinite(high) and high < 12 * low


def test_a_drum_met_before_is_not_doubted_for_a_poor_round(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kinds = ((0, 1), (1, 1), (2, 1), (1, 1))
    modes = tuple(HeadMode(m, n, 100.0, 0.1, 0.5, 0.0) for m, n in kinds)
    first, poor = told(), replace(told("low", misfit=4.0), modes=modes)
    note = first.note.frequency_hz
    other = replace(poor, note=replace(poor.note, frequency_hz=1.3 * note))
    belief = Belief(np.zeros(8), 1e-4 * np.eye(8))
    rounds = iter([poor, first, poor, other])
    monkeypatch.setattr(
        "hoopwise.plan.headwork.read_round", lambda *_: RoundResult(next(rounds), belief)
    )
    work = HeadWork(TOM)
    doubted = [
        "do not sound like" in work.read([]).trust.sentences[0]
        for _ in range(4)  # never met, sure, poor, and poor at another note
    ]
    assert doubted == [True, False, False, True]
