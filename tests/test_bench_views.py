"""What the page is shown: the field over the head, what moved, what is refused."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hoopwise.bench.field import contours, field
from hoopwise.bench.rounds import KeptTap, Round, tap_order
from hoopwise.bench.views import compare, plain, plan_of, show_plan, show_reading, show_round
from hoopwise.drum import load_drum
from tests.bench_scripted import ScriptedEngine
from tests.bench_server import SNARE

DEVIATIONS = st.lists(st.floats(-0.2, 0.2), min_size=5, max_size=12)


@given(DEVIATIONS)
def test_the_field_meets_the_rods_and_its_mean_at_the_centre(deviations: list[float]) -> None:
    values = np.array(deviations)
    angles = 2 * np.pi * np.arange(len(values)) / len(values)
    assert np.allclose(field(values, np.ones(len(values)), angles), values)
    assert np.allclose(field(values, np.zeros(1), np.zeros(1)), values.mean())


@given(DEVIATIONS, st.floats(0.1, 0.6), st.floats(0, 6.28))
def test_the_field_is_harmonic(deviations: list[float], radius: float, angle: float) -> None:
    """The mean over a circle equals the value at its centre (mean value property)."""
    values = np.array(deviations)
    around = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    x = radius * np.cos(angle) + 0.3 * np.cos(around)
    y = radius * np.sin(angle) + 0.3 * np.sin(around)
    circle = field(values, np.hypot(x, y), np.arctan2(y, x))
    centre = field(values, np.array([radius]), np.array([angle]))
    assert circle.mean() == pytest.approx(centre[0], abs=1e-9)


def test_contours_cover_the_disc_once() -> None:
    bands = contours([0.05, -0.03, 0.02, 0.0, -0.06, 0.02])
    areas = [ring_area(ring) for band in bands for shape in band["shapes"] for ring in shape]
    assert abs(sum(areas)) == pytest.approx(np.pi, rel=0.01)
    assert {np.sign(band["level"]) for band in bands} == {-1, 0, 1}


def ring_area(ring: list[list[float]]) -> float:
    x, y = np.array(ring).T
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def reading_of(deviations: tuple[float, ...], **more: Any) -> dict[str, Any]:
    engine = ScriptedEngine(deviations=deviations)
    work = engine.work(load_drum(SNARE), "batter", "off")
    takes = [(i + 1, np.full(10, 0.1), 44100) for i in range(10) for _ in range(2)]
    return show_reading(work.read(takes), **{"processing": "raw", "before": None, **more})


def test_what_moved_is_told_only_beyond_the_errors() -> None:
    before = reading_of((0.0,) * 10)
    small = reading_of((0.005, -0.005) * 5, before=before)["moved"]
    assert small["settled"] and not any(r["moved"] for r in small["rods"])
    large = reading_of((0.06,) + (0.0,) * 9, before=before)["moved"]
    assert [r["rod"] for r in large["rods"] if r["moved"]] == [1]
    assert not large["settled"]


def test_processed_readings_are_not_compared() -> None:
    processed = reading_of((0.0,) * 10, processing="on")
    assert compare(processed, processed) is None


@pytest.mark.parametrize(("processing", "word"), [("on", "changing"), ("unknown", "Nobody")])
def test_processing_hides_tensions_and_says_why(processing: str, word: str) -> None:
    shown = reading_of((0.02,) * 10, processing=processing)
    assert word in shown["tensions_refused"]
    assert shown["rods"][0]["heard_low_hz"] is not None
    assert shown["rods"][0]["deviation"] is None and shown["field"] == []


def test_a_reading_without_an_answer_shows_no_numbers() -> None:
    engine = ScriptedEngine()
    reading = engine.work(load_drum(SNARE), "batter", "off").read([(1, np.full(9, 0.1), 44100)])
    lost = replace(reading, rods=tuple(replace(r, deviation_sd=math.inf) for r in reading.rods))
    shown = show_reading(lost, "raw", None)
    assert {r["deviation"] for r in shown["rods"]} == {None}
    assert shown["rms"] is None and shown["field"] == []


@pytest.mark.parametrize("order", ["star", "halfway"])
def test_counts_stand_beside_the_places_of_a_round(order: Any) -> None:
    places = tap_order(6, order)
    taps = tuple(KeptTap("0" * 16, places[i], 0.3, -9.0, 40.0) for i in (0, 1, 1))
    shown = show_round(Round(1, "even", "files", places, (2,) * len(places), taps))
    halves = [1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 6.5]
    assert shown["places"] == (halves if order == "halfway" else [1, 2, 3, 4, 5, 6])
    found = dict(zip(shown["places"], shown["counts"], strict=True))
    assert (found[places[0]], found[places[1]], sum(found.values())) == (1, 2, 3)


def test_a_plan_survives_being_shown() -> None:
    work = ScriptedEngine().work(load_drum(SNARE), "batter", "off")
    plan = work.advise()
    again = plan_of(show_plan(plan))
    assert again.order == plan.order
    assert again.rods == pytest.approx(plan.rods)


def test_numbers_that_are_none_are_shown_as_none() -> None:
    assert plain({"a": float("nan"), "b": [np.float64(1.5), float("inf")], "c": True}) == {
        "a": None,
        "b": [1.5, None],
        "c": True,
    }
