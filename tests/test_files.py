"""Recordings: every format reads alike, and what cannot be used is told in a sentence."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from hoopwise.errors import RecordingError
from hoopwise.listen.blocks import choose_channel, load_recording, stretches
from hoopwise.listen.files import find_recordings, open_recording
from tests.needs import go_without

RATE = 48_000


def ringing(seconds: float = 1.0, rate: int = RATE, hz: float = 150.0) -> NDArray[np.float64]:
    t = np.arange(round(seconds * rate)) / rate
    return np.asarray(0.5 * np.exp(-5.0 * t) * np.sin(2.0 * np.pi * hz * t))


LOSSLESS = [
    ("wav", "PCM_U8"),
    ("wav", "PCM_16"),
    ("wav", "PCM_24"),
    ("wav", "PCM_32"),
    ("wav", "FLOAT"),
    ("wav", "DOUBLE"),
    ("flac", "PCM_S8"),
    ("flac", "PCM_16"),
    ("flac", "PCM_24"),
    ("aiff", "PCM_S8"),
    ("aiff", "PCM_16"),
    ("aiff", "PCM_24"),
    ("aiff", "FLOAT"),
]
STEP = {"PCM_U8": 2**-7, "PCM_S8": 2**-7, "PCM_16": 2**-15, "PCM_24": 2**-23}


@pytest.mark.parametrize(("suffix", "subtype"), LOSSLESS)
def test_lossless_formats_give_back_the_samples(tmp_path: Path, suffix: str, subtype: str) -> None:
    path = tmp_path / f"hit.{suffix}"
    soundfile.write(path, ringing(), RATE, subtype=subtype)
    samples, rate = load_recording(path)
    assert rate == RATE
    np.testing.assert_allclose(samples, ringing(), atol=1.01 * STEP.get(subtype, 1e-7))


@pytest.mark.parametrize("suffix", ["ogg", "mp3"])
def test_lossy_formats_keep_the_tone(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"hit.{suffix}"
    soundfile.write(path, ringing(), RATE)
    samples, _ = load_recording(path)
    assert np.corrcoef(samples[:RATE], ringing())[0, 1] > 0.999


def test_m4a_is_read_through_ffmpeg_whatever_its_name(tmp_path: Path) -> None:
    if shutil.which("ffmpeg") is None:
        go_without("ffmpeg", "ffmpeg is not installed")
    soundfile.write(tmp_path / "hit.wav", ringing(), RATE)
    command = ["ffmpeg", "-v", "error", "-i", "hit.wav", "-c:a", "aac", "-b:a", "192k", "hit.m4a"]
    subprocess.run(command, cwd=tmp_path, check=True, stdin=subprocess.DEVNULL)
    (tmp_path / "hit.m4a").rename(tmp_path / "renamed.wav")
    samples, rate = load_recording(tmp_path / "renamed.wav")
    assert rate == RATE
    spectrum = np.abs(np.fft.rfft(samples))
    assert np.argmax(spectrum) * rate / samples.size == pytest.approx(150.0, abs=2.0)


def test_m4a_without_ffmpeg_names_the_ways_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "hit.m4a").write_bytes(b"\0\0\0\x20ftypM4A " + bytes(1000))
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(RecordingError, match=r"install ffmpeg, or save .* wav or flac"):
        load_recording(tmp_path / "hit.m4a")


@pytest.mark.parametrize("rate", [16_000, 22_050, 44_100, 96_000, 192_000])
def test_every_rate_is_kept(tmp_path: Path, rate: int) -> None:
    soundfile.write(tmp_path / "hit.wav", ringing(rate=rate), rate)
    assert load_recording(tmp_path / "hit.wav")[1] == rate


@pytest.mark.parametrize("channels", [1, 2, 5, 8])
def test_the_loudest_channel_is_taken_unless_one_is_given(tmp_path: Path, channels: int) -> None:
    gains = np.linspace(0.1, 0.2, channels)
    gains[channels // 2] = 0.9
    offset = np.where(gains == 0.9, 0.0, 0.3)  # a constant is no sound, however large
    soundfile.write(tmp_path / "m.wav", ringing()[:, None] * gains + offset, RATE, subtype="DOUBLE")
    with open_recording(tmp_path / "m.wav") as recording:
        assert choose_channel(recording, None) == channels // 2 + 1
    given, _ = load_recording(tmp_path / "m.wav", channel=1)
    np.testing.assert_allclose(given, ringing() * gains[0] + offset[0], atol=1e-12)


def test_stretches_hold_every_sample_once_and_hand_over_with_an_overlap(tmp_path: Path) -> None:
    rate = 16_000
    x = np.random.default_rng(1).normal(0.0, 0.1, 185 * rate)
    soundfile.write(tmp_path / "long.wav", x, rate, subtype="DOUBLE")
    with open_recording(tmp_path / "long.wav") as recording:
        parts = list(stretches(recording, 1))
    assert [p.start_s for p in parts] == [0.0, 60.0, 120.0]
    assert [p.from_s for p in parts] == [0.0, *(p.to_s for p in parts[:-1])]
    assert parts[-1].to_s == np.inf
    for part in parts:
        first, last = round(part.start_s * rate), round(part.start_s * rate) + part.samples.size
        np.testing.assert_array_equal(part.samples, x[first:last])
        assert part.start_s == 0.0 or part.from_s >= part.start_s + 1.0
        assert last == x.size or last >= (part.to_s + 8.0) * rate


def test_a_folder_stands_for_its_recordings_by_name(tmp_path: Path) -> None:
    for name in ("b.wav", "a.flac", "sub/c.OGG", ".hidden.wav", "notes.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    names = [p.name for p in find_recordings([tmp_path, tmp_path / "b.wav"])]
    assert names == ["a.flac", "b.wav", "c.OGG"]


def test_paths_without_sound_are_named(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="holds no sound file"):
        find_recordings([tmp_path])
    with pytest.raises(RecordingError, match=r"none\.wav: there is no such file"):
        find_recordings([tmp_path / "none.wav"])


def written(path: Path, samples: NDArray[np.float64], rate: int = RATE) -> Path:
    soundfile.write(path, samples, rate, subtype="DOUBLE")
    return path


def cut(path: Path, share: float = 0.5) -> Path:
    path.write_bytes(path.read_bytes()[: int(share * path.stat().st_size)])
    return path


def spoilt(samples: NDArray[np.float64], value: float) -> NDArray[np.float64]:
    samples[RATE // 2] = value
    return samples


def raw(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


BAD: list[tuple[str, Callable[[Path], Path]]] = [
    ("is silent", lambda p: written(p, np.zeros(RATE))),
    ("is silent", lambda p: written(p, np.full(RATE, 0.25))),
    ("lasts 10 ms", lambda p: written(p, ringing(0.01))),
    (r"no numbers .* at 0\.500 s", lambda p: written(p, spoilt(ringing(), np.nan))),
    ("no numbers", lambda p: written(p, spoilt(ringing(), np.inf))),
    ("8000 samples a second", lambda p: written(p, ringing(rate=8000), 8000)),
    ("384000 samples a second", lambda p: written(p, ringing(rate=384_000), 384_000)),
    ("9 channels", lambda p: written(p, np.tile(ringing()[:, None], 9))),
    (r"empty \(0 bytes\)", lambda p: raw(p, b"")),
    ("not a sound file", lambda p: raw(p, b"\xff\xd8\xff\xe0" + bytes(999))),
    ("not a sound file", lambda p: raw(p, b"Dear Sir or Madam,\n" * 99)),
]


@pytest.mark.parametrize(("words", "make"), BAD)
def test_what_cannot_be_used_is_told_in_a_sentence(
    tmp_path: Path, words: str, make: Callable[[Path], Path]
) -> None:
    path = make(tmp_path / "bad.wav")
    with pytest.raises(RecordingError, match=words) as caught:
        load_recording(path)
    message = str(caught.value)
    assert "bad.wav" in message and "\n" not in message and message.endswith(".")


@pytest.mark.parametrize("suffix", ["wav", "aiff", "flac", "ogg", "mp3"])
def test_a_file_that_lost_its_end_is_refused(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"hit.{suffix}"
    noise = np.random.default_rng(2).normal(0.0, 0.1, 4 * RATE)
    soundfile.write(path, noise, RATE)
    load_recording(path)
    with pytest.raises(RecordingError, match="cut short"):
        load_recording(cut(path))


def test_a_streamed_wav_that_never_learnt_its_length_is_read(tmp_path: Path) -> None:
    path = tmp_path / "stream.wav"
    soundfile.write(path, ringing(), RATE, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[4:8] = data[at : at + 4] = b"\xff\xff\xff\xff"
    path.write_bytes(data)
    assert load_recording(path)[0].size == RATE


def test_a_channel_that_is_not_there_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path / "two.wav", np.tile(ringing()[:, None], 2))
    with pytest.raises(RecordingError, match="2 channels, so there is no channel 3"):
        load_recording(path, channel=3)
    with pytest.raises(RecordingError, match="no channel 0"):
        load_recording(path, channel=0)
