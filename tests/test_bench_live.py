"""The socket end to end: a round by sound, a crash in its middle, frames in bad form."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from hoopwise.bench.page_socket import MAX_REFUSED, MAX_TEXT
from hoopwise.bench.wire import Block, pack
from hoopwise.errors import RoundError, SafetyError
from tests.bench_scripted import RATE, ScriptedEngine, ScriptedWork
from tests.bench_server import TOM, BenchServer, running
from tests.test_bench_ear import stream

OFF = {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False}


class Page:
    """A page as the protocol sees it."""

    def __init__(self, socket: ClientConnection) -> None:
        self.socket = socket
        self.session: dict[str, Any] = {}
        self.taps: list[dict[str, Any]] = []
        self.acked = 0

    def send(self, kind: str, **more: Any) -> None:
        self.socket.send(json.dumps({"v": 1, "kind": kind, **more}))

    def sound(self, samples: np.ndarray, first: int = 0, stream_no: int = 7) -> None:
        for at in range(0, len(samples), 4096):
            block = Block(stream_no, first + at, samples[at : at + 4096].astype(np.float32))
            self.socket.send(pack(block))

    def event(self) -> dict[str, Any]:
        event: dict[str, Any] = json.loads(self.socket.recv(timeout=20))
        if event["kind"] == "state":
            self.session = event["session"]
        elif event["kind"] == "tap":
            self.taps.append(event)
        elif event["kind"] == "ack":
            self.acked = event["frame"]
        return event

    def until(self, state: str) -> dict[str, Any]:
        while self.session.get("state") != state:
            self.event()
        return self.session

    def refusal(self) -> dict[str, Any]:
        while (event := self.event())["kind"] != "refused":
            pass
        return event

    def round(self, source: str = "microphone", taps: int = 1) -> None:
        self.send("set_drum", drum=TOM, side="batter", other_head="off")
        self.until("ready")
        self.send("begin_round", source=source, taps_per_rod=taps)
        self.until("listening" if source == "microphone" else "sorting")

    def ear(self, settings: dict[str, Any] | None = None, stream_no: int = 7) -> None:
        chosen = OFF if settings is None else settings
        self.send("open_ear", stream=stream_no, rate=RATE, settings=chosen)


@contextmanager
def page_of(server: BenchServer) -> Iterator[Page]:
    with connect(f"ws://127.0.0.1:{server.port}/live", origin=Origin(server.address)) as socket:
        page = Page(socket)
        page.send("hello")
        assert page.event()["kind"] == "welcome"
        page.event()
        yield page


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    with running(ScriptedEngine(), tmp_path) as server, page_of(server) as page:
        yield page


def six_taps() -> np.ndarray:
    return stream([0.6 + 1.0 * i for i in range(6)], 7.0)


def test_a_round_by_sound_ends_with_a_turn_list(page: Page) -> None:
    page.round()
    page.ear()
    page.sound(six_taps())
    session = page.until("read")
    assert [t["rod"] for t in page.taps] == [1, 2, 3, 4, 5, 6]
    assert all(t["good"] for t in page.taps)
    assert session["round"]["processing"] == "raw"
    assert session["round"]["plan"]["order"]
    assert session["round"]["reading"]["field"]


def test_processed_sound_gives_pitches_alone(page: Page) -> None:
    page.round()
    page.ear({**OFF, "noiseSuppression": True})
    page.sound(six_taps())
    reading = page.until("read")["round"]["reading"]
    assert "processing" in reading["tensions_refused"]
    assert reading["note_hz"] > 0
    hidden = [reading["mean_tension_n_m"], reading["note_ring_s"], reading["rms"], reading["trust"]]
    hidden += [m["t60_s"] for m in reading["modes"]] + [r["deviation"] for r in reading["rods"]]
    assert set(hidden) == {None}
    assert page.session["round"]["plan"] is None


def test_a_crash_in_mid_round_loses_no_tap(tmp_path: Path) -> None:
    sound = six_taps()
    first = BenchServer(ScriptedEngine(), tmp_path)
    with page_of(first) as page:
        page.round()
        page.ear()
        cut = int(3.0 * RATE)  # the third tap (2.6 s) is heard but not judged yet
        page.sound(sound[:cut])
        while len(page.session["round"]["taps"]) < 2:
            page.event()
        acked = page.acked
    first.stop()
    assert acked < int(2.6 * RATE)
    with running(ScriptedEngine(), tmp_path) as server, page_of(server) as page:
        assert page.session["state"] == "listening"
        assert len(page.session["round"]["taps"]) == 2
        page.ear()
        page.sound(sound[acked:], first=acked)
        session = page.until("read")
        assert [t["rod"] for t in session["round"]["taps"]] == [1, 2, 3, 4, 5, 6]
        assert [t["rod"] for t in page.taps] == [3, 4, 5, 6]


def test_a_reloaded_page_goes_on_with_a_new_stream(tmp_path: Path) -> None:
    sound = six_taps()
    with running(ScriptedEngine(), tmp_path) as server:
        with page_of(server) as page:
            page.round()
            page.ear()
            page.sound(sound[: int(2.5 * RATE)])
            while len(page.session["round"]["taps"]) < 2:
                page.event()
        with page_of(server) as page:
            assert page.session["round"]["next_rod"] == 3
            page.ear(stream_no=8)
            page.sound(sound[int(2.3 * RATE) :], stream_no=8)
            assert len(page.until("read")["round"]["taps"]) == 6


def test_a_restart_reads_the_earlier_rounds_again(tmp_path: Path) -> None:
    engine = ScriptedEngine()
    with running(engine, tmp_path) as server, page_of(server) as page:
        page.round()
        page.ear()
        page.sound(six_taps())
        page.until("read")
        before = [r["deviation"] for r in page.session["round"]["reading"]["rods"]]
        page.send("begin_turning")
        page.until("turning")
        for _ in page.session["steps"]:
            page.send("turn_done")
        page.send("finish_turning")
        page.until("ready")
    fresh = ScriptedEngine()
    with running(fresh, tmp_path) as server, page_of(server) as page:
        page.send("begin_round", source="microphone", taps_per_rod=1)
        page.until("listening")
        page.ear(stream_no=9)
        page.sound(six_taps(), stream_no=9)
        after = [r["deviation"] for r in page.until("read")["round"]["reading"]["rods"]]
        assert len(fresh.turned) == 1
        assert np.std(after) < 0.3 * np.std(before)


def test_the_practice_drum_answers_and_turns(page: Page) -> None:
    page.send("set_drum", drum=TOM, side="batter", other_head="off", practice=True)
    page.until("ready")
    page.send("begin_round", source="microphone", taps_per_rod=1)
    page.until("listening")
    for rod in range(1, 7):
        page.send("practice_tap", rod=rod)
    assert page.until("read")["round"]["source"] == "practice"
    take = page.session["round"]["taps"][0]["take"]
    assert len(take) == 16


def test_the_practice_drum_is_tapped_halfway_between_its_rods(page: Page) -> None:
    page.send("set_drum", drum=TOM, side="batter", other_head="off", practice=True)
    page.until("ready")
    page.send("begin_round", source="microphone", order="halfway")
    page.until("listening")
    for place in (7.5, 7):
        page.send("practice_tap", rod=place)
        assert page.refusal()["code"] == "no_such_rod"
    page.send("practice_tap", rod=3.25)
    assert "multiple of 0.5" in page.refusal()["sentence"]
    places = page.session["round"]["places"]
    for place in places:
        page.send("practice_tap", rod=place)
    page.until("read")
    assert [t["rod"] for t in page.taps] == places == [1 + i / 2 for i in range(12)]


def test_a_practice_tap_needs_a_practice_drum(page: Page) -> None:
    page.round()
    page.send("practice_tap", rod=1)
    assert page.refusal()["code"] == "no_practice"


@pytest.mark.parametrize(
    ("failure", "words"),
    [
        (RoundError("Silence at rod 3."), "Silence"),
        (ZeroDivisionError("oops"), "the taps are kept"),
    ],
)
def test_a_round_that_cannot_be_read_keeps_its_taps(
    tmp_path: Path, failure: Exception, words: str
) -> None:
    with running(ScriptedEngine(failure=failure), tmp_path) as server, page_of(server) as page:
        page.round()
        page.ear()
        page.sound(six_taps())
        while page.session.get("notice") is None:
            page.event()
        assert words in page.session["notice"]["sentence"]
        assert page.session["state"] == "listening"
        assert len(page.session["round"]["taps"]) == 6


def test_refused_advice_is_told_with_the_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Any) -> None:
        raise SafetyError("The film would be stressed too far.")

    monkeypatch.setattr("tests.bench_scripted.ScriptedWork.advise", refuse)
    with running(ScriptedEngine(), tmp_path) as server, page_of(server) as page:
        page.round()
        page.ear()
        page.sound(six_taps())
        reading = page.until("read")["round"]["reading"]
        assert reading["plan_refused"] == "The film would be stressed too far."
        page.send("begin_turning")
        assert page.refusal()["code"] == "nothing_to_turn"


@pytest.mark.parametrize("turn", [float("nan"), 40.0])
def test_turns_that_no_hand_should_make_are_not_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, turn: float
) -> None:
    real = ScriptedWork.advise

    def wild(self: ScriptedWork) -> Any:
        return replace(real(self), rods=(turn,) * 6)

    monkeypatch.setattr(ScriptedWork, "advise", wild)
    with running(ScriptedEngine(), tmp_path) as server, page_of(server) as page:
        page.round()
        page.ear()
        page.sound(six_taps())
        current = page.until("read")["round"]
        assert current["plan"] is None
        assert "no hand" in current["reading"]["plan_refused"]


def test_no_answer_gives_no_turns(tmp_path: Path) -> None:
    with running(ScriptedEngine(trust="none"), tmp_path) as server, page_of(server) as page:
        page.round()
        page.ear()
        page.sound(six_taps())
        current = page.until("read")["round"]
        assert current["plan"] is None
        assert "no answer" in current["reading"]["plan_refused"]


def test_flaws_found_by_listening_refuse_a_tap(tmp_path: Path) -> None:
    with (
        running(ScriptedEngine(flaws=("too reverberant",)), tmp_path) as server,
        page_of(server) as page,
    ):
        page.round()
        page.ear()
        page.sound(stream([0.6], 2.0))
        while not page.taps:
            page.event()
        assert (page.taps[0]["good"], page.taps[0]["reason"]) == (False, "too reverberant")
        assert "hand's width" in page.taps[0]["sentence"]


def test_sound_without_an_open_ear_changes_nothing(page: Page) -> None:
    page.round()
    page.sound(six_taps())
    page.send("take_back")
    assert page.refusal()["code"] == "nothing_to_undo"
    page.ear()
    page.sound(stream([0.6], 2.0), stream_no=99)
    assert page.refusal()["code"] == "unknown_stream"


@pytest.mark.parametrize("frame", ["{", "[]", "x" * (MAX_TEXT + 1), b"", b"HWA1", b"\x00" * 40])
def test_a_frame_in_bad_form_is_refused_and_the_talk_goes_on(
    page: Page, frame: str | bytes
) -> None:
    page.socket.send(frame)
    assert page.refusal()["code"] == "malformed"
    page.send("take_back")
    assert page.refusal()["code"] == "illegal_step"


def test_a_page_that_sends_only_rubbish_is_cut_off(page: Page) -> None:
    with pytest.raises(ConnectionClosed):
        for _ in range(MAX_REFUSED + 5):
            page.socket.send("rubbish")
        while True:
            page.event()


def test_a_frame_that_is_far_too_large_closes_the_socket(page: Page) -> None:
    page.socket.send(b"\x00" * 300_000)
    with pytest.raises(ConnectionClosed):
        page.event()


@pytest.mark.parametrize("first", ['{"v":1,"kind":"take_back"}', "nonsense", b"HWA1"])
def test_a_page_must_greet_first(tmp_path: Path, first: str | bytes) -> None:
    with running(ScriptedEngine(), tmp_path) as server:
        address = f"ws://127.0.0.1:{server.port}/live"
        with connect(address, origin=Origin(server.address)) as socket:
            socket.send(first)
            assert json.loads(socket.recv(timeout=5))["code"] == "no_hello"
            with pytest.raises(ConnectionClosed):
                socket.recv(timeout=5)


def test_two_pages_see_the_same_bench(tmp_path: Path) -> None:
    with (
        running(ScriptedEngine(), tmp_path) as server,
        page_of(server) as one,
        page_of(server) as two,
    ):
        one.round()
        assert two.until("listening")["round"]["number"] == 1
