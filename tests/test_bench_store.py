"""What is on disk after every step, and what happens when it is damaged."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from hoopwise.bench.protocol import State
from hoopwise.bench.rounds import KeptTap, tap_order
from hoopwise.bench.session import EarMark, Session
from hoopwise.bench.store import Store
from hoopwise.errors import RecordingError
from tests.test_bench_protocol import session_in


@pytest.mark.parametrize("state", [s for s in State if s is not State.READING])
def test_a_session_comes_back_as_it_was(tmp_path: Path, state: State) -> None:
    session = replace(session_in(state), ear=EarMark(7, 48000, 123), marks=("pass-1",), seed=5)
    Store(tmp_path).save(session)
    assert Store(tmp_path).load() == session


def test_a_session_cut_off_while_reading_goes_back_to_its_taps(tmp_path: Path) -> None:
    Store(tmp_path).save(session_in(State.READING))
    assert Store(tmp_path).load().state is State.LISTENING


def test_a_round_halfway_too_comes_back_and_its_rounds_at_rods_as_before(tmp_path: Path) -> None:
    halfway = tap_order(10, "halfway")
    taps = tuple(KeptTap("0" * 16, place, 0.3, -9.0, 40.0) for place in halfway[:5])
    session = session_in(State.LISTENING)
    [plain] = session.rounds
    more = replace(plain, order=halfway, wanted=(1,) * 20, taps=taps, chosen=7.5, doubted=(2.5,))
    Store(tmp_path).save(replace(session, rounds=(plain, more)))
    [first, second] = Store(tmp_path).load().rounds
    assert (first.places, first.next_rod) == (tuple(range(1, 11)), 1)
    assert (second, second.counts) == (more, (1,) * 5 + (0,) * 15)


def test_a_session_of_an_earlier_version_goes_on(tmp_path: Path) -> None:
    kept_tap = (
        '{"take": "0123456789abcdef", "rod": 6, "onset_s": 0.3, "strength_db": -9, "snr_db": 40}'
    )
    (tmp_path / "session.json").write_text(
        '{"format": 1, "session": {"state": "listening", "side": "batter", "rounds": [{'
        '"number": 1, "purpose": "even", "source": "microphone", "order": [1, 4, 2, 5, 3, 6], '
        f'"wanted": [1, 1, 1, 1, 1, 1], "taps": [{kept_tap}], "chosen": 5, "doubted": [6]'
        "}]}}"
    )
    [current] = Store(tmp_path).load().rounds
    assert (current.next_rod, current.counts) == (5, (0, 0, 0, 0, 0, 1))


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"format": 99}', '{"format": 1, "session": {"state": "dancing"}}']
)
def test_a_damaged_session_is_put_aside_and_told(tmp_path: Path, text: str) -> None:
    store = Store(tmp_path)
    (tmp_path / "session.json").write_text(text)
    session = store.load()
    assert session.state is State.BARE
    assert session.notice is not None and "put aside" in session.notice.sentence
    kept = list(tmp_path.glob("unreadable-*.json"))
    assert [f.read_text() for f in kept] == [text]


def test_work_that_is_over_is_kept(tmp_path: Path) -> None:
    store = Store(tmp_path)
    store.save(session_in(State.READ))
    store.put_away()
    assert store.load() == Session()
    [past] = tmp_path.glob("past-*.json")
    assert json.loads(past.read_text())["session"]["state"] == "read"


def test_a_take_is_kept_without_loss(tmp_path: Path) -> None:
    store = Store(tmp_path)
    rng = np.random.default_rng(0)
    sound = (rng.integers(-(2**23), 2**23, 4000) / 2**23).astype(np.float64)
    name = store.keep_take(sound, 48000)
    again, rate = store.load_take(name)
    assert rate == 48000
    assert np.array_equal(again, sound)
    assert store.keep_take(sound, 48000) == name


@pytest.mark.parametrize("name", ["", "x", "../session", "0" * 16, "0" * 17, "0" * 15 + "/"])
def test_there_is_no_other_take(tmp_path: Path, name: str) -> None:
    with pytest.raises(RecordingError):
        Store(tmp_path).take_path(name)
