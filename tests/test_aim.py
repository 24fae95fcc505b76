"""Aiming: a note and a ring to head pitches and back, what is infeasible, and the chart."""

from dataclasses import replace

import numpy as np
import pytest

import hoopwise as hw
from hoopwise.acoustics.heads import heads_of
from hoopwise.acoustics.low_note import head_notes, low_notes, tension_for_note, tension_range
from hoopwise.drum import Drum, Side, load_drum
from hoopwise.errors import DrumError, RangeError
from hoopwise.plan.aim import Aim
from hoopwise.plan.note_line import note_line, pitch_steps
from hoopwise.plan.two_head_chart import two_head_chart
from hoopwise.units import note_frequency

TOM, SNARE = load_drum("tom-12x8"), load_drum("snare-14x5.5")
ALONE = replace(TOM, second=None)


@pytest.fixture(scope="module")
def to_c3() -> Aim:
    return hw.aim(TOM, note="C3")


def lowest(drum: Drum, batter: float, second: float | None = None) -> hw.CoupledMode:
    modes = hw.couple(drum, batter, second, m_max=0, n_max=1)
    return next(mode for mode in modes if mode.shape == (0, 1))


def test_pairs_give_the_wanted_note_in_the_full_model(to_c3: Aim) -> None:
    assert to_c3.feasible and len(to_c3.pairs) >= 3
    for pair in to_c3.pairs:
        mode = lowest(TOM, *(head.tension_n_m for head in pair.heads))
        assert mode.frequency_hz == pytest.approx(130.813, rel=5e-4)  # C3, A4 = 440 Hz
        assert pair.note_hz == pytest.approx(note_frequency("C3"), rel=1e-6)
        assert mode.t60_s == pytest.approx(pair.ring_s, rel=5e-3)


def test_pairs_are_the_intervals_that_they_say(to_c3: Aim) -> None:
    for pair in to_c3.pairs:
        batter, second = (head.pitch_hz for head in pair.heads)
        steps = 12.0 * np.log2(second / batter)
        for words, want in (("alike", 0.0), ("fourth higher", 5.0), ("fourth lower", -5.0)):
            if words in pair.why:
                assert steps == pytest.approx(want, abs=0.05)


def test_a_toms_heads_alike_ring_longest(to_c3: Aim) -> None:
    """Common practice, no source: heads of one pitch let a tom sing."""
    best = max(to_c3.pairs, key=lambda pair: pair.ring_s)
    assert "alike" in best.why and "longest" in best.why


def test_note_and_ring_together(to_c3: Aim) -> None:
    assert to_c3.ring_range_s is not None
    ring = sum(to_c3.ring_range_s) / 2.0
    found = hw.aim(TOM, note="C3", ring=ring)
    assert found.feasible and len(found.pairs) == 2  # either head may be the higher one
    for pair in found.pairs:
        assert pair.ring_s == pytest.approx(ring, rel=0.01)
        assert pair.note_hz == pytest.approx(note_frequency("C3"), rel=1e-6)
    highs = {pair.heads[0].pitch_hz > pair.heads[1].pitch_hz for pair in found.pairs}
    assert highs == {True, False}


def test_a_ring_that_cannot_be_had_is_said_and_the_nearest_given() -> None:
    found = hw.aim(TOM, note="C3", ring=9.0)
    assert not found.feasible and found.ring_range_s is not None
    assert found.pairs[0].ring_s == pytest.approx(found.ring_range_s[1])
    assert "not 9.00 s; the nearest is given" in found.sentences[0]


@pytest.mark.parametrize(("note", "end"), [("E7", 1), (12.0, 0)])
def test_a_note_that_cannot_be_had(note: str | float, end: int) -> None:
    found = hw.aim(TOM, note=note) if note != "E7" else hw.aim(TOM, note=1900.0)
    assert not found.feasible and found.ring_range_s is None
    assert found.pairs[0].note_hz == pytest.approx(found.note_range_hz[end], rel=1e-3)
    assert "cannot have" in found.sentences[0]
    for head in found.pairs[0].heads:
        assert head.load <= 0.7 * (1 + 1e-9)


def test_tight_films_are_cautioned() -> None:
    found = hw.aim(SNARE, note=300.0)
    heads = [head for pair in found.pairs for head in pair.heads]
    assert any(head.safety == "warn" and head.load > 0.5 for head in heads)
    assert all((head.safety == "warn") == (head.load > 0.5) for head in heads)
    assert any("not a maker's rating" in sentence for sentence in found.sentences)


def test_one_head_has_one_answer() -> None:
    found = hw.aim(ALONE, note=110.0)
    (pair,) = found.pairs
    assert found.feasible and len(pair.heads) == 1
    mode = lowest(ALONE, pair.heads[0].tension_n_m)
    assert mode.frequency_hz == pytest.approx(110.0, rel=1e-3)
    assert hw.aim(ALONE, note=110.0, ring=pair.ring_s).feasible
    assert not hw.aim(ALONE, note=110.0, ring=2.0 * pair.ring_s).feasible


@pytest.mark.parametrize("bad", ["H3", "", float("nan"), -3.0, 1e9])
def test_what_is_no_note_is_refused(bad: str | float) -> None:
    with pytest.raises(RangeError):
        hw.aim(TOM, note=bad)


@pytest.mark.parametrize("ring", [0.0, -1.0, float("nan"), float("inf")])
def test_what_is_no_ring_is_refused(ring: float) -> None:
    with pytest.raises(RangeError, match="above 0 s"):
        hw.aim(TOM, note="C3", ring=ring)


@pytest.mark.parametrize("side", ["batter", "snare_side"])
def test_head_note_and_tension_are_inverse(side: Side) -> None:
    for note in (200.0, 310.0):
        pull = tension_for_note(SNARE, side, note)
        assert head_notes(SNARE, side, np.array([pull]))[0] == pytest.approx(note, rel=1e-6)


def test_head_note_out_of_reach_names_the_range() -> None:
    with pytest.raises(RangeError, match=r"snare side cannot have its note at 900\.0 Hz"):
        tension_for_note(SNARE, "snare_side", 900.0)
    with pytest.raises(DrumError, match="no head on its resonant"):
        tension_for_note(ALONE, "resonant", 200.0)


def test_a_held_head_is_stiffer_than_a_free_shell() -> None:
    pull = np.array([1500.0])
    closed = head_notes(TOM, "batter", pull)[0]
    opened = head_notes(ALONE, "batter", pull)[0]
    assert closed > 1.3 * opened


def test_line_keeps_the_note_and_the_limits() -> None:
    line = note_line(SNARE, 180.0, 0.7)
    np.testing.assert_allclose(line.found.frequency_hz, 180.0, rtol=1e-6)
    assert (np.diff(line.log_ratio) > 0.0).all()
    assert SNARE.second is not None
    for column, film in enumerate((SNARE.batter.film, SNARE.second.film)):
        low, high = tension_range(film, 0.7)
        assert (line.tensions[:, column] > 0.999 * low).all()
        assert (line.tensions[:, column] < 1.001 * high).all()
    assert (np.abs(pitch_steps(SNARE, line.tensions)) <= 12.0).all()


def test_low_note_is_the_lowest_coupled_01() -> None:
    for drum in (TOM, SNARE):
        pulls = np.array([[900.0, 2500.0], [4000.0, 1200.0]])
        found = low_notes(heads_of(drum, True, True), pulls)
        for i, pair in enumerate(pulls):
            mode = lowest(drum, *map(float, pair))
            assert found.frequency_hz[i] == pytest.approx(mode.frequency_hz, rel=3e-4)
            assert found.t60_s[i] == pytest.approx(mode.t60_s, rel=3e-3)
            assert found.first_share[i] == pytest.approx(mode.share[0], abs=3e-3)


def test_chart_rises_with_either_head_and_ring_falls_with_pitch() -> None:
    chart = two_head_chart(TOM, size=14)
    assert (np.diff(chart.note_hz, axis=0) > 0.0).all()
    assert (np.diff(chart.note_hz, axis=1) > 0.0).all()
    np.testing.assert_allclose(chart.note_hz, chart.note_hz.T, rtol=1e-6)  # like films
    assert chart.ring_s[0, 0] > chart.ring_s[-1, -1]
    np.testing.assert_allclose(chart.batter_share + chart.batter_share.T, 1.0, atol=1e-6)


def test_chart_needs_two_heads() -> None:
    with pytest.raises(RangeError, match="has one head"):
        two_head_chart(ALONE)
