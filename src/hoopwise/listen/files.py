"""Opens recordings: finds them, checks them, and reads them in blocks.

A recording may last hours: it is never held in memory as a whole. One pass measures the
level of each channel and looks for samples that are no numbers, a second one hands out
stretches of the chosen channel (blocks.py).
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile
from numpy.typing import NDArray

from hoopwise.errors import RecordingError
from hoopwise.listen.completeness import missing_part
from hoopwise.listen.convert import decoded, is_mp4

SUFFIXES: Final = frozenset(
    (".wav", ".wave", ".flac", ".ogg", ".oga", ".mp3", ".aif", ".aiff", ".aifc", ".m4a", ".w64")
)
KINDS: Final = "wav, flac, ogg, mp3, aiff or m4a"
LOWEST_RATE_HZ: Final = 16_000
HIGHEST_RATE_HZ: Final = 192_000
MOST_CHANNELS: Final = 8
SHORTEST_S: Final = 0.1
_BLOCK_VALUES: Final = 1 << 20


@dataclass(frozen=True)
class Recording:
    """An opened and checked recording; read it inside ``open_recording``."""

    path: Path
    rate_hz: int
    channels: int
    frames: int
    handle: Any
    """The open soundfile.SoundFile."""

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.frames / self.rate_hz

    def blocks(self) -> Iterator[NDArray[np.float64]]:
        """Yield (frames, channels) from the start, a few megabytes at a time.

        Raises
        ------
        RecordingError
            The file breaks off before its end.
        """
        self.handle.seek(0)
        frames = max(1, _BLOCK_VALUES // self.channels)
        while True:
            try:
                block = self.handle.read(frames, dtype="float64", always_2d=True)
            except (soundfile.LibsndfileError, RuntimeError) as error:
                raise RecordingError(_damaged(self.path)) from error
            if len(block) == 0:
                return
            yield block


def find_recordings(paths: Iterable[str | Path]) -> list[Path]:
    """Sound files among the paths; a folder stands for all those below it, by name.

    Raises
    ------
    RecordingError
        A path does not exist, or a folder holds no sound file.
    """
    found: list[Path] = []
    for path in map(Path, paths):
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if _is_sound(p))
            if not inside:
                raise RecordingError(f"{path} holds no sound file ({KINDS}).")
            found += inside
        elif path.exists():
            found.append(path)
        else:
            raise RecordingError(f"{path}: there is no such file or folder.")
    return list(dict.fromkeys(found))


def _is_sound(path: Path) -> bool:
    return path.suffix.lower() in SUFFIXES and path.is_file() and not path.name.startswith(".")


@contextmanager
def open_recording(path: str | Path) -> Iterator[Recording]:
    """Open one recording and check what it says about itself.

    Raises
    ------
    RecordingError
        It is missing, no sound, cut short, or of a rate, length or number of channels
        that hoopwise does not read.
    """
    path = Path(path)
    try:
        size = path.stat().st_size
        mp4 = size > 0 and is_mp4(path)
    except OSError as error:
        raise RecordingError(f"{path} cannot be read: {error.strerror or error}.") from error
    if size == 0:
        raise RecordingError(f"{path} is empty (0 bytes); copy it again.")
    if mp4:
        with decoded(path) as copy, _opened(path, copy) as recording:
            yield recording
    else:
        with _opened(path, path) as recording:
            yield recording


@contextmanager
def _opened(path: Path, source: Path) -> Iterator[Recording]:
    try:
        handle = soundfile.SoundFile(source)
    except (soundfile.LibsndfileError, TypeError, RuntimeError) as error:
        raise RecordingError(_unreadable(path, str(error))) from error
    with handle:
        recording = Recording(path, handle.samplerate, handle.channels, handle.frames, handle)
        if what := missing_part(source, handle):
            raise RecordingError(f"{path} is cut short: {what}. Copy or record it again.")
        _check(recording)
        yield recording


def _check(recording: Recording) -> None:
    path, rate = recording.path, recording.rate_hz
    if not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
        raise RecordingError(
            f"{path} has {rate} samples a second; hoopwise reads {LOWEST_RATE_HZ} to "
            f"{HIGHEST_RATE_HZ}. Record at 44100 or 48000."
        )
    if recording.channels > MOST_CHANNELS:
        raise RecordingError(
            f"{path} has {recording.channels} channels; hoopwise reads up to {MOST_CHANNELS}. "
            "Export the drum's own channel."
        )
    if recording.duration_s < SHORTEST_S:
        raise RecordingError(
            f"{path} lasts {1000.0 * recording.duration_s:.0f} ms; a hit needs at least "
            f"{1000.0 * SHORTEST_S:.0f} ms, and half a second or more to ring."
        )


def _unreadable(path: Path, reason: str) -> str:
    if "recogni" in reason or "RAW" in reason or "samplerate" in reason:
        return f"{path} is not a sound file that hoopwise reads ({KINDS}), whatever its name says."
    return _damaged(path)


def _damaged(path: Path) -> str:
    return f"{path} is damaged or cut short; copy it again from where it was recorded."
