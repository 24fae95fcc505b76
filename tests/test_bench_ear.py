"""The ear: onsets while the sound streams in, gaps, repeats, constant memory."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hoopwise.bench.ear import Ear, Gap, Window
from hoopwise.bench.judge import judge, unlike
from hoopwise.bench.wire import Block, pack, unpack
from hoopwise.errors import RecordingError
from tests.bench_scripted import RATE, scripted_tap


def stream(onsets_s: list[float], seconds: float, gain: float = 1.0) -> np.ndarray:
    """Taps at given times over a quiet room."""
    rng = np.random.default_rng(5)
    sound = 3e-5 * rng.standard_normal(int(seconds * RATE))
    for i, onset in enumerate(onsets_s):
        tap = gain * scripted_tap(i)[int(0.3 * RATE) :]
        at = int(onset * RATE)
        sound[at : at + len(tap)] += tap[: len(sound) - at]
    return sound.astype(np.float32)


def feed(ear: Ear, sound: np.ndarray, size: int = 1024, first: int = 0) -> list[Window | Gap]:
    out: list[Window | Gap] = []
    for at in range(0, len(sound), size):
        out += ear.feed(Block(ear.stream, first + at, sound[at : at + size]))
    return out


def windows(events: list[Window | Gap]) -> list[Window]:
    return [e for e in events if isinstance(e, Window)]


def no_flaws(samples: np.ndarray, rate: int) -> tuple[str, ...]:
    return ()


def test_every_tap_is_found_where_it_is() -> None:
    times = [0.7, 1.9, 3.1, 4.4]
    found = windows(feed(Ear(1, RATE), stream(times, 6.0)))
    assert [w.trouble for w in found] == [None] * 4
    errors = np.array([w.onset_frame / RATE for w in found]) - times
    assert np.max(np.abs(errors)) < 0.003


def test_a_window_is_told_with_the_block_that_ends_it() -> None:
    ear, sound = Ear(1, RATE), stream([0.7], 3.0)
    for at in range(0, len(sound), 1024):
        got = windows(ear.feed(Block(1, at, sound[at : at + 1024])))
        if got:
            assert 0 <= at + 1024 - got[0].end_frame < 1024
            return
    pytest.fail("no window")


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 9000), min_size=1, max_size=40))
def test_the_blocks_lengths_change_nothing(lengths: list[int]) -> None:
    sound = stream([0.5, 1.6], 3.0)
    whole = windows(feed(Ear(1, RATE), sound))
    ear, parts, at = Ear(1, RATE), [], 0
    for length in [*lengths, len(sound)]:
        parts += windows(ear.feed(Block(1, at, sound[at : at + length])))
        at = min(len(sound), at + length)
    assert [(w.onset_frame, w.end_frame) for w in parts] == [
        (w.onset_frame, w.end_frame) for w in whole
    ]
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(parts, whole, strict=True))


@pytest.mark.parametrize(
    ("times", "trouble"), [([0.7, 0.76], "double hit"), ([0.7, 0.98], "too close")]
)
def test_two_strikes_in_one_window_are_told(times: list[float], trouble: str) -> None:
    sound = stream(times[:1], 3.0)
    sound[int(times[1] * RATE) :][:66] += 1.2 * np.hanning(66).astype(np.float32)
    found = windows(feed(Ear(1, RATE), sound))
    assert [w.trouble for w in found] == [trouble]


def test_a_quick_next_tap_shortens_the_window_before_it() -> None:
    found = windows(feed(Ear(1, RATE), stream([0.7, 1.3], 3.0)))
    assert [w.trouble for w in found] == [None, None]
    assert found[0].end_frame <= found[1].onset_frame


def test_a_gap_is_told_and_spoils_only_its_window() -> None:
    sound, ear = stream([0.7, 2.0], 4.0), Ear(1, RATE)
    cut = int(0.9 * RATE)
    events = feed(ear, sound[:cut]) + feed(ear, sound[cut + 300 :], first=cut + 300)
    gaps = [e for e in events if isinstance(e, Gap)]
    assert [(g.frame, g.length) for g in gaps] == [(cut, 300)]
    assert [w.trouble for w in windows(events)] == ["sound lost", None]


def test_a_long_gap_starts_afresh() -> None:
    sound, ear = stream([0.7, 6.0], 8.0), Ear(1, RATE)
    late = 5 * RATE
    events = feed(ear, sound[: int(0.9 * RATE)]) + feed(ear, sound[late:], first=late)
    assert len([e for e in events if isinstance(e, Gap)]) == 1
    assert [w.trouble for w in windows(events)] == [None]


def test_frames_sent_twice_count_once() -> None:
    sound, ear = stream([0.7], 2.5), Ear(1, RATE)
    events = feed(ear, sound[:RATE]) + feed(ear, sound[RATE // 2 :], first=RATE // 2)
    assert len(windows(events)) == 1
    assert not any(isinstance(e, Gap) for e in events)


def test_a_restart_from_the_safe_frame_finds_the_same_tap() -> None:
    sound, first = stream([0.7, 2.0], 4.0), Ear(1, RATE)
    head = windows(feed(first, sound[: int(2.2 * RATE)]))
    safe = first.safe_frame
    assert safe < int(1.7 * RATE)
    again = Ear(1, RATE, ignore_before=head[-1].onset_frame + 1)
    tail = windows(feed(again, sound[safe:], first=safe))
    whole = windows(feed(Ear(1, RATE), sound))
    assert len(head) == len(tail) == 1
    assert abs(tail[0].onset_frame - whole[1].onset_frame) <= 128


def test_own_sounds_are_ignored() -> None:
    ear = Ear(1, RATE)
    ear.deafen(int(1.5 * RATE), int(2.1 * RATE))
    found = windows(feed(ear, stream([0.7, 2.0, 3.0], 5.0)))
    assert [round(w.onset_frame / RATE, 1) for w in found] == [0.7, 3.0]


def test_memory_is_constant_over_a_long_sitting() -> None:
    ear, sound = Ear(1, RATE), stream([0.5, 1.8], 3.0)
    sizes = []
    for turn in range(40):
        feed(ear, sound, size=4096, first=turn * len(sound))
        sizes.append(len(ear._kept))
    assert max(sizes) <= 6 * RATE


def test_a_room_without_taps_gives_none() -> None:
    rng = np.random.default_rng(1)
    hum = 0.003 * np.sin(2 * np.pi * 100 * np.arange(20 * RATE) / RATE)
    room = hum + 1e-3 * rng.standard_normal(20 * RATE)
    assert windows(feed(Ear(1, RATE), room.astype(np.float32))) == []


def verdict_of(sound: np.ndarray) -> str | None:
    [window] = windows(feed(Ear(1, RATE), sound))[:1]
    return judge(window, no_flaws).reason


def test_a_good_tap_is_good() -> None:
    assert verdict_of(stream([0.7], 2.5)) is None


def test_a_clipped_tap_says_so() -> None:
    assert verdict_of(np.clip(stream([0.7], 2.5, gain=8.0), -1, 1)) == "clipped"


def test_a_tap_that_is_too_soft_says_so() -> None:
    room = 1e-3 * np.random.default_rng(2).standard_normal(int(2.5 * RATE))
    sound = stream([0.7], 2.5, gain=0.02) + room
    assert verdict_of(sound.astype(np.float32)) == "too soft"


def test_a_hum_that_starts_is_no_tap() -> None:
    sound = stream([], 2.5)
    t = np.arange(len(sound) - int(0.7 * RATE)) / RATE
    sound[int(0.7 * RATE) :] += (0.2 * np.sign(np.sin(2 * np.pi * 300 * t))).astype(np.float32)
    assert verdict_of(sound) == "not a tap"


def test_listening_finds_what_is_left() -> None:
    [window] = windows(feed(Ear(1, RATE), stream([0.7], 2.5)))
    assert judge(window, lambda s, r: ("too reverberant",)).reason == "too reverberant"


def test_taps_at_one_place_sound_alike_and_others_do_not() -> None:
    found = windows(feed(Ear(1, RATE), stream([0.7, 2.0], 4.0)))
    first, second = (judge(w, no_flaws).colour_db for w in found)
    assert not unlike(first, second)
    assert unlike(first, tuple(reversed(first)))


@given(
    st.integers(1, 2**32 - 1),
    st.integers(0, 2**52 - 1),
    st.lists(st.floats(-1, 1, width=32), max_size=300),
)
def test_a_block_comes_back_as_it_was_packed(
    stream_no: int, frame: int, values: list[float]
) -> None:
    block = unpack(pack(Block(stream_no, frame, np.array(values, dtype=np.float32))))
    assert (block.stream, block.frame) == (stream_no, frame)
    assert block.samples.tolist() == values


@given(st.binary(max_size=400))
def test_bytes_that_are_no_block_are_refused(data: bytes) -> None:
    with pytest.raises(RecordingError):
        unpack(data if not data.startswith(b"HWA1") else b"X" + data)
