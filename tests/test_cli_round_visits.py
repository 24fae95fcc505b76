"""Taps dealt to rods: counts that are plain, uneven, twice round, unclear, too few."""

from dataclasses import replace

import pytest

from hoopwise.errors import RoundError
from hoopwise.infer.taps.visits import deal
from hoopwise.plan.order import star_order
from tests.rounds import cut

AROUND = tuple(range(1, 9))
STAR = star_order(8)


def each(
    order: tuple[int, ...], counts: dict[int, int] | None = None, usual: int = 2
) -> list[tuple[int, int]]:
    """(rod, which) with a number of taps in a row at each rod."""
    return [(rod, k) for rod in order for k in range((counts or {}).get(rod, usual))]


@pytest.mark.parametrize("order", [AROUND, STAR])
@pytest.mark.parametrize("times", [1, 2, 3])
def test_as_many_taps_in_a_row_at_each_rod(order: tuple[int, ...], times: int) -> None:
    taps = each(order, usual=times)
    dealt = deal(cut(taps), order)
    assert dealt.rods == tuple(rod for rod, _ in taps)
    assert dealt.sentence == ""


@pytest.mark.parametrize("order", [AROUND, STAR])
@pytest.mark.parametrize("odd", [{3: 3}, {6: 1}, {2: 3, 7: 3}])
def test_uneven_counts_are_told_by_sound_and_said(
    order: tuple[int, ...], odd: dict[int, int]
) -> None:
    taps = each(order, odd)
    dealt = deal(cut(taps), order)
    assert dealt.rods == tuple(rod for rod, _ in taps)
    for rod, count in odd.items():
        assert f"{count} at rod {rod}" in dealt.sentence
    assert "and 2 at each other" in dealt.sentence


def test_twice_round_the_hoop_is_told_from_two_in_a_row() -> None:
    taps = [(rod, k) for k in range(2) for rod in AROUND]
    dealt = deal(cut(taps), AROUND)
    assert dealt.rods == AROUND * 2
    assert "2 rounds over all rods" in dealt.sentence


def test_a_rod_that_was_left_out_is_not_guessed_away() -> None:
    taps = each(tuple(rod for rod in AROUND if rod != 4))
    with pytest.raises(RoundError, match=r"14 taps were found for 8 rods named.*at 7 rods"):
        deal(cut(taps), AROUND)


def test_more_rods_heard_than_named_is_refused_with_the_way_out() -> None:
    with pytest.raises(RoundError, match=r"8 taps were found for 3 rods.*one file a rod"):
        deal(cut(each(AROUND, usual=1)), (1, 2, 3))


def test_fewer_taps_than_rods() -> None:
    with pytest.raises(RoundError, match=r"2 taps were found for 8 rods named; name only"):
        deal(cut([(1, 0), (2, 0)]), AROUND)


def test_a_rod_for_every_tap_and_one_rod_for_all() -> None:
    named = (1, 1, 2, 2)
    assert deal(cut([(1, 0), (1, 1), (2, 0), (2, 1)]), named).rods == named
    assert deal(cut([(5, 0), (5, 1), (5, 2)]), (5,)).rods == (5, 5, 5)


def test_one_tap_each_that_sounds_like_one_rod_is_said() -> None:
    taps = [(1, 0), (2, 0), (2, 0), *((rod, 0) for rod in range(4, 9))]  # rod 2 once more
    dealt = deal(cut(taps), AROUND)
    assert dealt.rods == AROUND
    assert "Taps 2 and 3 sound like one rod" in dealt.sentence


def test_pauses_do_not_outweigh_taps_that_are_one_wave() -> None:
    taps = cut([(1, 0)] * 7)
    at, spaced = 0.0, []
    for tap, pause in zip(taps, (0.0, 1.0, 1.0, 4.0, 1.0, 4.0, 1.0), strict=True):
        at += pause
        spaced.append(replace(tap, at_s=at))
    for evenly_or_not in (taps, spaced):
        with pytest.raises(RoundError, match="not clear"):
            deal(evenly_or_not, (1, 2, 3))
