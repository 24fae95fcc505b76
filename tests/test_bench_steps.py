"""What the legal steps do to a session."""

from dataclasses import replace
from typing import Any

import pytest

from hoopwise.bench import steps
from hoopwise.bench.protocol import State
from hoopwise.bench.rounds import KeptTap, tap_order
from hoopwise.bench.session import Session
from hoopwise.bench.steps import RefusedError, processing_of, step
from tests.bench_server import TOM
from tests.test_bench_protocol import message, session_in

OFF = {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False}


def tap(rod: float | None, name: str = "0" * 16) -> KeptTap:
    return KeptTap(name, rod, 0.3, -10.0, 50.0)


def listening(taps_per_rod: int = 2, order: str = "around") -> Session:
    ready = step(Session(), message("set_drum", drum=TOM))
    return step(ready, message("begin_round", taps_per_rod=taps_per_rod, order=order))


def rods_asked(session: Session) -> list[float]:
    asked = []
    while session.state is State.LISTENING:
        assert session.round is not None and session.round.next_rod is not None
        asked.append(session.round.next_rod)
        session = steps.keep_tap(session, tap(session.round.next_rod))
    return asked


def test_a_round_goes_around_and_ends_by_itself() -> None:
    assert rods_asked(listening()) == [1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 6, 6]


@pytest.mark.parametrize("rods", range(4, 17))
def test_star_order_visits_each_rod_once(rods: int) -> None:
    assert sorted(tap_order(rods, "star")) == list(range(1, rods + 1))


def test_a_round_in_star_order_crosses_the_drum() -> None:
    asked = rods_asked(listening(taps_per_rod=1, order="star"))
    assert sorted(asked) == [1, 2, 3, 4, 5, 6]
    assert all((b - a) % 6 == 3 for a, b in zip(asked[::2], asked[1::2], strict=True))


def test_a_round_halfway_too_goes_on_from_each_rod_to_the_next_place() -> None:
    asked = rods_asked(listening(order="halfway"))
    assert asked == [1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 6.5]


@pytest.mark.parametrize(("taps_per_rod", "each"), [(1, 1), (2, 1), (3, 1), (4, 2)])
def test_halfway_too_asks_for_about_as_many_taps_in_all(taps_per_rod: int, each: int) -> None:
    session = listening(taps_per_rod, order="halfway")
    assert session.round is not None and session.round.wanted == (each,) * 12
    assert len(rods_asked(session)) == 12 * each


def test_a_place_halfway_is_chosen_counted_and_doubted_like_a_rod() -> None:
    session = step(listening(4, order="halfway"), message("go_to", rod=6.5))
    session = steps.keep_tap(session, tap(6.5))
    assert session.round is not None
    assert (session.round.next_rod, session.round.counts) == (6.5, (0,) * 11 + (1,))
    session = steps.keep_tap(steps.keep_tap(session, tap(6.5)), tap(1))
    assert session.round is not None
    assert (session.round.next_rod, session.round.counts) == (1, (1,) + (0,) * 10 + (2,))
    doubted = steps.doubt_place(session, 6.5).round
    assert doubted is not None and (doubted.count(6.5), doubted.doubted) == (0, (6.5,))


def test_a_round_at_the_rods_has_no_place_between_them() -> None:
    with pytest.raises(RefusedError, match="at the rods alone, not halfway between rods 6 and 1"):
        step(listening(), message("go_to", rod=6.5))
    with pytest.raises(RefusedError, match=r"no rod 7\.5"):
        step(listening(order="halfway"), message("go_to", rod=7.5))


def test_retapping_a_rod_leaves_the_places_halfway_as_they_are() -> None:
    session = listening(order="halfway")
    for place in rods_asked(session)[:11]:
        session = steps.keep_tap(session, tap(place))
    read = replace(session, state=State.READ)
    assert rods_asked(step(read, message("retap", rods=[4, 2]))) == [2, 4]


def test_taking_back_asks_for_the_same_rod_again() -> None:
    session = steps.keep_tap(listening(), tap(1))
    session = steps.keep_tap(session, tap(1))
    session = step(session, message("take_back"))
    assert session.round is not None
    assert (session.round.next_rod, session.round.count(1)) == (1, 1)
    with pytest.raises(RefusedError, match="no tap"):
        step(listening(), message("take_back"))


def test_a_chosen_rod_comes_next_and_then_the_order_goes_on() -> None:
    session = step(listening(taps_per_rod=1), message("go_to", rod=5))
    assert rods_asked(session) == [5, 1, 2, 3, 4, 6]


def test_taps_that_do_not_sound_alike_are_dropped_together() -> None:
    session = steps.doubt_place(steps.keep_tap(listening(), tap(1)), 1)
    assert session.round is not None
    assert (session.round.taps, session.round.doubted) == ((), (1,))


def test_retapping_asks_for_those_rods_alone() -> None:
    assert rods_asked(step(session_in(State.READ), message("retap", rods=[4, 2]))) == [2, 4]


def test_turns_are_counted_only_when_they_were_made() -> None:
    session = step(session_in(State.READ), message("begin_turning"))
    session = step(session, message("turn_done"))
    session = step(session, message("turn_done", made=False))
    with pytest.raises(RefusedError, match="Every turn"):
        step(session, message("turn_done"))
    done = step(session, message("finish_turning"))
    assert done.round is not None
    assert done.round.turned == (0, 0, -0.06, 0, 0, 0, 0, 0, 0, 0)


def test_a_turn_is_taken_back() -> None:
    session = step(session_in(State.TURNING), message("take_back"))
    assert session.step is not None and session.step.rod == 3
    with pytest.raises(RefusedError, match="No turn"):
        step(session, message("take_back"))


def test_a_trial_turn_is_one_rod() -> None:
    session = step(session_in(State.READ), message("begin_turning", trial=True))
    assert [(s.rod, s.turns) for s in session.steps] == [(3, 0.0625)]


def test_no_trial_without_a_question() -> None:
    session = session_in(State.READ)
    assert session.round is not None and session.round.reading is not None
    quiet = replace(session.round, reading={**session.round.reading, "ask": None})
    with pytest.raises(RefusedError, match="trial"):
        step(replace(session, rounds=(quiet,)), message("begin_turning", trial=True))


def test_a_reading_that_fails_gives_the_taps_back() -> None:
    session = steps.reading_failed(session_in(State.READING), "Silence at rod 3.")
    assert session.state is State.LISTENING
    assert session.notice is not None and "rod 3" in session.notice.sentence
    assert session.round is not None and len(session.round.taps) == 1


def test_taps_of_files_go_to_the_rods_in_order() -> None:
    ready = step(Session(), message("set_drum", drum=TOM))
    session = step(ready, message("begin_round", source="files", taps_per_rod=1))
    session = steps.add_unsorted(session, [tap(None, f"{i:016x}") for i in range(7)])
    assert session.round is not None
    assert [t.rod for t in session.round.taps] == [1, 2, 3, 4, 5, 6, None]


def test_taps_of_files_go_halfway_too() -> None:
    ready = step(Session(), message("set_drum", drum=TOM))
    session = step(ready, message("begin_round", source="files", order="halfway"))
    session = steps.add_unsorted(session, [tap(None, f"{i:016x}") for i in range(3)])
    session = step(session, message("assign", take=f"{2:016x}", rod=5.5))
    assert session.round is not None
    assert [t.rod for t in session.round.taps] == [1, 1.5, 5.5]


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        (OFF, "raw"),
        ({**OFF, "voiceIsolation": False}, "raw"),
        ({**OFF, "voiceIsolation": True}, "on"),
        ({**OFF, "echoCancellation": True}, "on"),
        ({**OFF, "echoCancellation": "remote-only"}, "on"),
        ({**OFF, "autoGainControl": None}, "unknown"),
        ({"echoCancellation": False}, "unknown"),
        ({}, "unknown"),
    ],
)
def test_processing_is_off_only_when_the_browser_says_so(
    settings: dict[str, Any], told: str
) -> None:
    assert processing_of(settings) == told


def test_one_processed_stream_spoils_the_round() -> None:
    session = step(listening(), message("open_ear", settings={**OFF, "autoGainControl": True}))
    session = steps.keep_tap(session, tap(1))
    session = step(session, message("open_ear", stream=8, settings=OFF))
    assert session.round is not None and session.round.processing == "on"


def test_an_even_plan_marks_the_stage_as_done() -> None:
    plan = {"order": [], "rods": [0.0] * 6}
    session = replace(steps.keep_tap(listening(), tap(1)), state=State.READING)
    assert steps.reading_done(session, {"trust": {"level": "low"}, "rms": 0.01}, plan).marks == ()
    done = steps.reading_done(session, {"trust": {"level": "high"}}, plan)
    assert done.marks == ("stage-even",)
