"""Reads the sampled sounds of a SoundFont 2 file, for recordings that come as one.

The file is RIFF: the chunk ``smpl`` holds 16-bit samples of all sounds end to end, the
chunk ``shdr`` 46 bytes for each sound (name, start and end in samples, rate). Source:
SoundFont Technical Specification 2.04, sections 6.1 and 7.10.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RecordingError

_HEADER: Final = np.dtype(
    [
        ("name", "S20"),
        ("start", "<u4"),
        ("end", "<u4"),
        ("loop", "<u4", 2),
        ("rate", "<u4"),
        ("pitch", "i1", 2),
        ("link", "<u2"),
        ("type", "<u2"),
    ]
)
_COPY_MISFIT: Final = 1e-3
"""Share of rms left over, below which one sound is the other at another level."""
_COPY_HEAD_S: Final = 0.25
"""Copies are told by their start; their ends may have been faded in different ways."""


@dataclass(frozen=True)
class Sound:
    """One sampled sound: samples in [-1, 1), mono."""

    name: str
    rate_hz: int
    samples: NDArray[np.float64]


def read_soundfont(path: str | Path) -> list[Sound]:
    """Sounds of a SoundFont file, in the order in which it stores them.

    Raises
    ------
    RecordingError
        The file is missing, not a SoundFont, or shorter than it says.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise RecordingError(f"{path} cannot be read: {error.strerror or error}.") from error
    if data[:4] != b"RIFF" or data[8:12] != b"sfbk":
        raise RecordingError(f"{path} is not a SoundFont (SF2) file.")
    found = dict(_leaves(data))
    if b"smpl" not in found or b"shdr" not in found:
        raise RecordingError(f"{path} is cut short: its samples or their table are missing.")
    pool = np.frombuffer(found[b"smpl"][: len(found[b"smpl"]) // 2 * 2], dtype="<i2")
    table = found[b"shdr"]
    headers = np.frombuffer(table[: len(table) // _HEADER.itemsize * _HEADER.itemsize], _HEADER)
    return [_sound(path, header, pool) for header in headers if header["end"] > header["start"]]


def _sound(path: Path, header: np.void, pool: NDArray[np.int16]) -> Sound:
    name = bytes(header["name"]).split(b"\0")[0].decode("ascii", "replace").strip()
    if header["end"] > pool.size:
        raise RecordingError(f"{path} is cut short: the sound {name!r} ends beyond its samples.")
    samples = pool[header["start"] : header["end"]].astype(np.float64) / 32768.0
    return Sound(name, int(header["rate"]), samples)


def _leaves(data: bytes, start: int = 12, end: int | None = None) -> Iterator[tuple[bytes, bytes]]:
    """Chunks that hold data, lists opened; a chunk that runs past the end is left out."""
    end = len(data) if end is None else end
    while start + 8 <= end:
        kind, size = data[start : start + 4], int.from_bytes(data[start + 4 : start + 8], "little")
        body = start + 8
        if body + size > end:
            return
        if kind == b"LIST":
            yield from _leaves(data, body + 4, body + size)
        else:
            yield kind, data[body : body + size]
        start = body + size + size % 2


def distinct(sounds: Sequence[Sound]) -> list[Sound]:
    """The sounds without those that are an earlier one again, at the same or another level.

    A library that wants more strengths than were played stores one take twice; counted as
    two hits they would make any reading look steadier than it is.
    """
    kept: list[Sound] = []
    for sound in sounds:
        if not any(_same_take(sound, other) for other in kept):
            kept.append(sound)
    return kept


def _same_take(one: Sound, other: Sound) -> bool:
    if one.rate_hz != other.rate_hz:
        return False
    length = min(one.samples.size, other.samples.size, round(_COPY_HEAD_S * one.rate_hz))
    a, b = one.samples[:length], other.samples[:length]
    power = float(b @ b)
    if power == 0.0:
        return not a.any()
    rest = a - (float(a @ b) / power) * b
    return float(rest @ rest) <= _COPY_MISFIT**2 * float(a @ a)
