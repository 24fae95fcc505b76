"""Anything may come in by socket or HTTP: no server fault, no hang, no illegal state."""

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from hoopwise.bench.app import build_app
from hoopwise.bench.desk import Desk
from hoopwise.bench.protocol import LEGAL, MESSAGE, State
from hoopwise.bench.steps import RefusedError
from hoopwise.bench.store import Store
from hoopwise.bench.views import show_session
from hoopwise.bench.wire import unpack
from hoopwise.errors import HoopwiseError, RecordingError
from tests.bench_asgi import Client
from tests.bench_scripted import ScriptedEngine
from tests.bench_server import SNARE, TOM

HERE = "http://127.0.0.1:9000"
QUICK = settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4)
    | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)  # fmt: skip

_RODS = st.integers(1, 16)
_FIELDS: dict[str, st.SearchStrategy[Any]] = {
    "drum": st.sampled_from([SNARE, TOM, {}, {"drum": {"rods": 3}}]),
    "side": st.sampled_from(["batter", "snare_side", "resonant"]),
    "other_head": st.sampled_from(["off", "muted", "ringing"]),
    "practice": st.booleans(),
    "stage": st.sampled_from(["mount", "even", "seat"]),
    "item": st.sampled_from(["pass-1", "edge-clean"]),
    "done": st.booleans(),
    "source": st.sampled_from(["microphone", "files"]),
    "order": st.sampled_from(["around", "star", "halfway"]),
    "taps_per_rod": st.integers(1, 4),
    "stream": st.integers(1, 3),
    "rate": st.sampled_from([44100, 48000]),
    "settings": st.just({"echoCancellation": False}),
    "begin": st.integers(0, 1000),
    "end": st.integers(0, 1000),
    "rod": _RODS | _RODS.map(lambda rod: rod + 0.5),
    "rods": st.lists(_RODS, min_size=1, max_size=4),
    "take": st.sampled_from(["0" * 16, "f" * 16]),
    "processing": st.sampled_from(["raw", "unknown"]),
    "trial": st.booleans(),
    "made": st.booleans(),
}
_NEEDS: dict[str, list[str]] = {
    "set_drum": ["drum", "side", "other_head", "practice"],
    "set_stage": ["stage"],
    "mark": ["item", "done"],
    "begin_round": ["source", "order", "taps_per_rod"],
    "open_ear": ["stream", "rate", "settings"],
    "close_ear": ["stream"],
    "deafen": ["stream", "begin", "end"],
    "practice_tap": ["rod"],
    "go_to": ["rod"],
    "assign": ["take", "rod"],
    "declare": ["processing"],
    "retap": ["rods"],
    "begin_turning": ["trial"],
    "turn_done": ["made"],
}


@st.composite
def messages(draw: st.DrawFn) -> dict[str, Any]:
    """A message in good form, legal or not."""
    kind = draw(st.sampled_from(sorted(LEGAL)))
    more = {name: draw(_FIELDS[name]) for name in _NEEDS.get(kind, [])}
    return {"v": 1, "kind": kind, **more}


@settings(QUICK, max_examples=40)
@given(JSON)
def test_any_json_is_a_message_or_refused(value: Any) -> None:
    with pytest.raises(ValidationError):
        MESSAGE.validate_json(json.dumps(value))


@QUICK
@given(st.binary(max_size=200))
def test_any_bytes_are_a_block_or_refused(data: bytes) -> None:
    try:
        block = unpack(data)
    except RecordingError:
        return
    assert data.startswith(b"HWA1") and len(block.samples) == (len(data) - 16) // 4


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(sent=st.lists(messages(), max_size=14))
def test_any_talk_leaves_a_session_that_can_be_kept(
    tmp_path: Path, sent: list[dict[str, Any]]
) -> None:
    asyncio.run(_talk(tmp_path, sent))


async def _talk(folder: Path, sent: list[dict[str, Any]]) -> None:
    store = Store(folder)
    desk = Desk(ScriptedEngine(), store)
    for raw in sent:
        before = desk.session
        try:
            await desk.take(MESSAGE.validate_json(json.dumps(raw)))
        except RefusedError as error:
            # A reading may come in while the message waits; nothing else may have moved.
            finished = before.state is State.READING and desk.session.state is State.READ
            assert str(error) and (finished or desk.session == before)
        except HoopwiseError as error:  # pragma: no cover
            pytest.fail(f"{raw} was neither done nor refused: {error}")
    await desk.close()
    assert desk.session.state in State
    json.dumps(show_session(desk.session))
    if sent:
        assert store.load().drum == desk.session.drum


@QUICK
@given(
    method=st.sampled_from(["GET", "POST", "PUT", "DELETE", "HEAD", "OPTIONS"]),
    path=st.sampled_from(
        ["/", "/static/", "/static/x/y", "/takes/", "/takes/a.flac", "/recordings", "/drum-file",
         "/phone.json", "/phone.svg", "/pair/", "/pair/x", "/live", "/health", "/nothing"]
    ) | st.text(max_size=30).map(lambda s: "/" + s.replace("?", "")),
    query=st.text(alphabet=st.characters(codec="ascii"), max_size=20),
    body=st.binary(max_size=300),
    origin=st.sampled_from([HERE, "http://evil.example", "(none)"]),
)  # fmt: skip
def test_any_request_is_answered_without_a_fault(
    tmp_path: Path, method: str, path: str, query: str, body: bytes, origin: str
) -> None:
    app = build_app(Desk(ScriptedEngine(), Store(tmp_path)), [HERE])
    client = Client(app, HERE)
    told = client.request(method, f"{path}?{query}", {"origin": origin}, [body])
    assert told.status_code < 500
    if told.status_code >= 400 and told.headers.get("content-type") == "application/json":
        assert told.json()["error"]
