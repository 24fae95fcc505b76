"""First passes from finger-tight: order, steps, and what the film bears at most."""

from itertools import pairwise

import numpy as np
import pytest

from hoopwise.acoustics.stretch import rim_map
from hoopwise.drum import load_drum
from hoopwise.drum.catalogue import TEMPLATES
from hoopwise.infer.head.even_head import SLIDE
from hoopwise.plan.first_pass import first_passes
from hoopwise.plan.order import across


def drum_of(rods: int, inches: float = 14.0, mil: float = 10.0) -> dict[str, dict[str, float]]:
    return {
        "drum": {"diameter_in": inches, "depth_in": 6.5, "rods": rods},
        "batter": {"film_mil": mil},
    }


@pytest.mark.parametrize("rods", range(5, 13))
def test_star_order_for_any_number_of_rods(rods: int) -> None:
    # Common practice, no source: the rod across right after; never a neighbour.
    order = first_passes(load_drum(drum_of(rods)), "batter").order
    assert sorted(order) == list(range(1, rods + 1))
    for i, (one, other) in enumerate(pairwise(order)):
        gap = min(abs(one - other), rods - abs(one - other))
        assert gap > 1
        if rods % 2 == 0 and i % 2 == 0:
            assert other == across(one, rods)


@pytest.mark.parametrize("name", sorted(TEMPLATES))
def test_quarter_to_half_turns_and_half_of_that_on_a_thin_film(name: str) -> None:
    # Common practice, no source.
    drum = load_drum(name)
    batter = [one.turns for one in first_passes(drum, "batter").passes]
    assert batter[0] == 0.5 and set(batter[1:]) <= {0.25}
    if drum.kind == "snare":
        under = [one.turns for one in first_passes(drum, "snare_side").passes]
        assert under[0] == 0.25 and set(under[1:]) == {0.125}
        assert any("thin" in line for line in first_passes(drum, "snare_side").sentences)


@pytest.mark.parametrize("name", sorted(TEMPLATES))
def test_the_film_bears_every_pass_even_if_all_of_it_arrives(name: str) -> None:
    # Half of 97 MPa, the stress at 5 % strain (film maker's bulletin H-37232-3).
    drum = load_drum(name)
    for side in ("batter", drum.second_side):
        plan = first_passes(drum, side)
        limit = 97e6 * drum.head(side).film.thickness_m
        turns = np.cumsum([one.turns for one in plan.passes])
        pulls = np.outer(turns, np.full(drum.rods, drum.thread_pitch_m))
        most = (pulls @ rim_map(drum, side, slide=SLIDE).lug_tension.T).max(axis=1)
        assert np.allclose(most, [one.most_tension_n_m for one in plan.passes])
        assert most[-1] <= 0.5 * limit + 1e-6 and plan.seat_tension_n_m <= 0.5 * limit + 1e-6
        assert plan.fine_turns <= plan.passes[-1].turns


def test_a_film_that_half_a_turn_would_strain_gets_less() -> None:
    table = drum_of(6, inches=6.0, mil=10.0)
    table["drum"]["thread_pitch_mm"] = 1.5  # a coarse thread brings more with each turn
    small = load_drum(table)
    plan = first_passes(small, "batter")
    assert plan.passes[0].turns < 0.5
    assert any("smaller than usual" in line for line in plan.sentences)


def test_notes_rise_and_the_other_head_s_air_raises_them() -> None:
    drum = load_drum("snare-14x5.5")
    alone, closed = first_passes(drum, "batter"), first_passes(drum, "batter", "muted")
    notes = [one.most_note_hz for one in alone.passes]
    assert notes == sorted(notes)
    assert closed.seat_note_hz > 1.2 * alone.seat_note_hz
    assert closed.seat_tension_n_m == alone.seat_tension_n_m
