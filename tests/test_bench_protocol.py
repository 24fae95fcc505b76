"""The live protocol is a state machine: every message in every state, legal or refused."""

import itertools
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from hoopwise.bench import steps
from hoopwise.bench.protocol import LEGAL, MESSAGE, State, schema
from hoopwise.bench.rounds import KeptTap, Round, tap_order
from hoopwise.bench.session import Session, Step
from hoopwise.bench.steps import RefusedError
from tests.bench_server import SNARE

TAP = KeptTap("0123456789abcdef", 1, 0.3, -10.0, 50.0)
READING: dict[str, Any] = {
    "ask": {"kind": "trial turn", "rod": 3, "turns": 0.0625, "sentence": ""},
    "tensions_refused": None,
    "rms": 0.03,
    "note_hz": 160.0,
    "rods": [],
}
PLAN: dict[str, Any] = {"order": [3, 8], "rods": [0, 0, -0.06, 0, 0, 0, 0, 0.03, 0, 0]}

MESSAGES: dict[str, dict[str, Any]] = {
    "hello": {},
    "set_drum": {"drum": SNARE, "side": "batter", "other_head": "off"},
    "set_stage": {"stage": "mount"},
    "mark": {"item": "pass-1", "done": True},
    "begin_round": {"source": "microphone"},
    "open_ear": {"stream": 7, "rate": 48000, "settings": {}},
    "close_ear": {"stream": 7},
    "deafen": {"stream": 7, "begin": 0, "end": 100},
    "practice_tap": {"rod": 1},
    "take_back": {},
    "go_to": {"rod": 4},
    "assign": {"take": TAP.take, "rod": 2},
    "declare": {"processing": "raw"},
    "finish_round": {},
    "drop_round": {},
    "retap": {"rods": [2]},
    "begin_turning": {},
    "turn_done": {},
    "finish_turning": {},
    "start_over": {},
}


def message(kind: str, **more: Any) -> Any:
    return MESSAGE.validate_json(json.dumps({"v": 1, "kind": kind, **MESSAGES[kind], **more}))


def session_in(state: State) -> Session:
    """A session that is plausible in that state."""
    if state is State.BARE:
        return Session()
    running = Round(
        number=1,
        purpose="even",
        source="files" if state is State.SORTING else "microphone",
        order=tap_order(10, "around"),
        wanted=(2,) * 10,
        taps=(TAP,),
    )
    done = replace(running, reading=READING, plan=PLAN)
    rounds = {State.READY: (), State.READ: (done,), State.TURNING: (done,)}.get(state, (running,))
    due = (Step(3, -0.06, made=True), Step(8, 0.03)) if state is State.TURNING else ()
    return Session(state=state, drum=SNARE, rounds=rounds, steps=due)


def test_every_kind_of_message_is_in_the_table() -> None:
    kinds = {d["properties"]["kind"]["const"] for d in schema()["$defs"].values()}
    assert kinds == set(LEGAL) == set(MESSAGES)


@pytest.mark.parametrize(
    ("state", "kind"),
    [(s, k) for s, k in itertools.product(State, LEGAL) if s not in LEGAL[k]],
    ids=lambda v: str(v),
)
def test_an_illegal_step_is_refused_in_words(state: State, kind: str) -> None:
    session = session_in(state)
    with pytest.raises(RefusedError, match="not possible while") as told:
        steps.step(session, message(kind))
    assert told.value.code == "illegal_step"
    assert session == session_in(state)


@pytest.mark.parametrize(
    ("state", "kind"),
    [(s, k) for s, k in itertools.product(State, LEGAL) if s in LEGAL[k]],
    ids=lambda v: str(v),
)
def test_a_legal_step_ends_in_the_state_that_is_documented(state: State, kind: str) -> None:
    leads = {
        "set_drum": State.READY,
        "begin_round": State.LISTENING,
        "finish_round": State.READING,
        "drop_round": State.READY,
        "retap": State.LISTENING,
        "begin_turning": State.TURNING,
        "finish_turning": State.READY,
        "start_over": State.READY,
    }
    after = steps.step(session_in(state), message(kind))
    assert after.state is leads.get(kind, state)


def test_a_round_from_files_is_sorted() -> None:
    after = steps.step(session_in(State.READY), message("begin_round", source="files"))
    assert after.state is State.SORTING


@pytest.mark.parametrize(
    ("state", "kind", "more", "code"),
    [
        (State.LISTENING, "go_to", {"rod": 11}, "no_such_rod"),
        (State.LISTENING, "go_to", {"rod": 11.5}, "no_such_rod"),
        (State.LISTENING, "go_to", {"rod": 10.5}, "no_such_place"),
        (State.SORTING, "assign", {"rod": 3.5}, "no_such_place"),
        (State.READ, "retap", {"rods": [11]}, "no_such_rod"),
        (State.SORTING, "assign", {"rod": 11}, "no_such_rod"),
        (State.SORTING, "assign", {"take": "f" * 16}, "no_such_take"),
        (State.READY, "set_drum", {"drum": {"drum": {"rods": 99}}}, "bad_drum"),
        (State.READY, "set_drum", {"side": "resonant"}, "bad_drum"),
    ],
)
def test_what_is_not_there_is_refused(
    state: State, kind: str, more: dict[str, Any], code: str
) -> None:
    with pytest.raises(RefusedError) as told:
        steps.step(session_in(state), message(kind, **more))
    assert told.value.code == code


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{}",
        "[]",
        "null",
        '{"v":1}',
        '{"v":2,"kind":"hello"}',
        '{"v":1,"kind":"dance"}',
        '{"v":1,"kind":"go_to"}',
        '{"v":1,"kind":"go_to","rod":"1"}',
        '{"v":1,"kind":"go_to","rod":1.25}',
        '{"v":1,"kind":"go_to","rod":0.5}',
        '{"v":1,"kind":"go_to","rod":17}',
        '{"v":1,"kind":"go_to","rod":NaN}',
        '{"v":1,"kind":"practice_tap","rod":3.4999999}',
        '{"v":1,"kind":"assign","take":"0123456789abcdef","rod":1e999}',
        '{"v":1,"kind":"retap","rods":[1.5]}',
        '{"v":1,"kind":"begin_round","source":"microphone","order":"between"}',
        '{"v":1,"kind":"go_to","rod":0}',
        '{"v":1,"kind":"take_back","extra":1}',
        '{"v":1,"kind":"assign","take":"../../etc/passwd","rod":1}',
        '{"v":1,"kind":"retap","rods":[]}',
    ],
)
def test_a_message_in_bad_form_is_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        MESSAGE.validate_json(text)


def test_the_documented_schema_is_the_one_in_use() -> None:
    kept = Path(__file__).parent.parent / "docs" / "bench-protocol.json"
    assert json.loads(kept.read_text(encoding="utf-8")) == schema()


def test_every_message_is_described_in_the_documentation() -> None:
    page = (Path(__file__).parent.parent / "docs" / "bench.md").read_text(encoding="utf-8")
    assert [kind for kind in LEGAL if f"`{kind}`" not in page] == []
    assert [state.value for state in State if f"`{state.value}`" not in page] == []
