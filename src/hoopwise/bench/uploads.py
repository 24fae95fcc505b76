"""Recordings and drum files that a person drops on the page: limits and plain messages."""

import io
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from starlette.requests import Request

from hoopwise.errors import DrumError, RecordingError

MAX_RECORDING_BYTES: Final = 64 * 1024 * 1024
MAX_DRUM_BYTES: Final = 64 * 1024
_RATES: Final = (8000, 192000)
_LONGEST_S: Final = 600.0


class TooLargeError(RecordingError):
    """An upload goes beyond its limit."""


async def body_of(request: Request, limit: int, what: str) -> bytes:
    """The body of a request, given up as soon as it passes the limit.

    Raises
    ------
    TooLargeError
        It is larger than the limit.
    """
    data = bytearray()
    declared = request.headers.get("content-length", "0")
    if declared.isdigit() and int(declared) > limit:
        raise TooLargeError(_too_large(what, limit))
    async for part in request.stream():
        data += part
        if len(data) > limit:
            raise TooLargeError(_too_large(what, limit))
    return bytes(data)


def _too_large(what: str, limit: int) -> str:
    return f"{what} may have up to {limit // 1024} kB; send it in parts."


def decode_recording(data: bytes, name: str) -> tuple[NDArray[np.float64], int]:
    """Mono samples and rate of an uploaded recording.

    Raises
    ------
    RecordingError
        It cannot be read as sound, is empty, too long, or has an odd rate.
    """
    import soundfile

    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            rate = int(file.samplerate)
            if not _RATES[0] <= rate <= _RATES[1]:
                raise RecordingError(
                    f"{name}: {rate} samples a second; 8000 to 192000 can be read."
                )
            if file.frames > _LONGEST_S * rate:
                raise RecordingError(f"{name}: longer than 10 minutes; cut it into parts.")
            sound = file.read(dtype="float64", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise RecordingError(
            f"{name}: cannot be read as a recording ({error}). The page turns what the browser "
            "can play into WAV; other programs can save WAV, FLAC or MP3."
        ) from None
    mono: NDArray[np.float64] = sound.mean(axis=1)
    if len(mono) < rate // 4 or not np.all(np.isfinite(mono)):
        raise RecordingError(f"{name}: holds no sound that can be read.")
    return mono, rate


def drum_table(data: bytes) -> dict[str, Any]:
    """The tables of a dropped drum file, checked.

    Raises
    ------
    DrumError
        It is not a drum file.
    """
    import tomllib

    from hoopwise.drum import load_drum

    try:
        table = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DrumError(f"This file is not a drum file (TOML): {error}.") from None
    load_drum(table)
    return table
