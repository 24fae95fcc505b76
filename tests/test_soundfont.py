"""SoundFont files: read from bytes laid out here by the specification, and the real kits."""

import struct
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.recordings import HOME, hit_sets
from hoopwise.errors import RecordingError
from hoopwise.listen.soundfont import Sound, distinct, read_soundfont
from tests.needs import go_without

RATE = 44_100


def chunk(kind: bytes, body: bytes) -> bytes:
    return kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def soundfont(sounds: list[tuple[str, NDArray[np.int16]]]) -> bytes:
    """Lay out a file as SoundFont Technical Specification 2.04, 6.1 and 7.10, says."""
    pool, table = b"", b""
    for name, samples in sounds:
        start = len(pool) // 2
        pool += samples.astype("<i2").tobytes() + bytes(2 * 46)  # 46 zeros after each, 6.1
        ends = struct.pack("<5I", start, start + samples.size, start, start, RATE)
        table += name.encode().ljust(20, b"\0") + ends + struct.pack("<BbHH", 60, 0, 0, 1)
    table += b"EOS".ljust(46, b"\0")
    body = b"sfbk" + chunk(b"LIST", b"INFO" + chunk(b"ifil", b"\2\0\4\0"))
    body += chunk(b"LIST", b"sdta" + chunk(b"smpl", pool))
    body += chunk(b"LIST", b"pdta" + chunk(b"shdr", table))
    return chunk(b"RIFF", body)


def noise(seed: int, size: int = 20_000) -> NDArray[np.float64]:
    return np.random.default_rng(seed).normal(0.0, 0.1, size)


def test_sounds_come_back_as_stored(tmp_path: Path) -> None:
    one = np.arange(-300, 301, dtype=np.int16)
    two = np.array([-32768, 32767], dtype=np.int16)
    (tmp_path / "k.sf2").write_bytes(soundfont([("38-Snare-1", one), ("x", two)]))
    sounds = read_soundfont(tmp_path / "k.sf2")
    assert [(s.name, s.rate_hz) for s in sounds] == [("38-Snare-1", RATE), ("x", RATE)]
    np.testing.assert_array_equal(sounds[0].samples, one / 32768.0)
    np.testing.assert_array_equal(sounds[1].samples, [-1.0, 32767 / 32768])


def test_damage_is_told(tmp_path: Path) -> None:
    path = tmp_path / "k.sf2"
    whole = soundfont([("a", np.ones(500, dtype=np.int16))])
    for data, words in [
        (b"RIFF\0\0\0\0WAVE", "not a SoundFont"),
        (b"", "not a SoundFont"),
        (whole[:400], "cut short"),
        (whole[:-60], "cut short"),
    ]:
        path.write_bytes(data)
        with pytest.raises(RecordingError, match=words):
            read_soundfont(path)
    with pytest.raises(RecordingError, match="cannot be read"):
        read_soundfont(tmp_path / "none.sf2")


def test_takes_stored_twice_are_dropped_at_any_level_and_length() -> None:
    first, other = noise(1), noise(2)
    quieter = 0.87 * np.concatenate([first[:15_000], np.zeros(9000)])
    similar = first + 0.01 * noise(3)
    sounds = [Sound(str(i), RATE, x) for i, x in enumerate([first, other, quieter, similar])]
    assert [s.name for s in distinct(sounds)] == ["0", "1", "3"]


@pytest.mark.recordings
def test_the_real_kits_are_fourteen_sets_without_copies() -> None:
    if not (HOME / "kit-a").is_dir():
        go_without("recordings", "the real kits were not downloaded")
    sets = hit_sets()
    assert len(sets) == 14
    sizes = {s.name: len(s.hits) for s in sets}
    # Kit B repeats takes: two of snare-edge at other levels, one floor tom, one tom.
    assert sizes.pop("kit B snare-edge") == 3
    assert sizes.pop("kit B floor-tom") == 4
    assert sizes.pop("kit B tom") == 4
    assert set(sizes.values()) == {5}
