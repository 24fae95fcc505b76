"""Levels of a recording's channels, and stretches of one of them, in bounded memory."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RecordingError
from hoopwise.listen.files import Recording, open_recording

STRETCH_S: Final = 60.0
LEAD_S: Final = 1.0
"""Heard before the part that a stretch owns, so that no hit's tail looks like a hit."""
OVERLAP_S: Final = 8.0
"""Longer than any drum rings, so that a hit near a stretch's end is whole in one of two."""
SILENT_PEAK: Final = 1e-4
_TALLY_SLACK: Final = 0.98
_LONGEST_WHOLE_S: Final = 600.0


@dataclass(frozen=True)
class Stretch:
    """Part of one channel; hits that begin within [from_s, to_s) belong to it."""

    start_s: float
    """Time of the first sample."""
    from_s: float
    to_s: float
    samples: NDArray[np.float64]


def loudest_channel(recording: Recording) -> int:
    """Number, from 1, of the channel with most power about its mean.

    Raises
    ------
    RecordingError
        The recording is silent, breaks off, or holds samples that are no numbers.
    """
    sums, squares = np.zeros(recording.channels), np.zeros(recording.channels)
    low, high = np.full(recording.channels, np.inf), np.full(recording.channels, -np.inf)
    frames = 0
    for block in recording.blocks():
        if not np.isfinite(block).all():
            bad = int(np.argmin(np.isfinite(block).all(axis=1))) + frames
            raise RecordingError(
                f"{recording.path} holds samples that are no numbers (NaN or infinite), the "
                f"first at {bad / recording.rate_hz:.3f} s; export it again."
            )
        sums += block.sum(axis=0)
        squares += np.einsum("ij,ij->j", block, block)
        low, high = np.minimum(low, block.min(axis=0)), np.maximum(high, block.max(axis=0))
        frames += len(block)
    if frames < _TALLY_SLACK * recording.frames:
        raise RecordingError(
            f"{recording.path} is cut short: it should last {recording.duration_s:.2f} s and "
            f"breaks off after {frames / recording.rate_hz:.2f} s. Copy or record it again."
        )
    if float(np.max(high - low)) < 2.0 * SILENT_PEAK:
        raise RecordingError(
            f"{recording.path} is silent; check that the right microphone was chosen and "
            "that it was not muted."
        )
    power = squares - sums**2 / max(frames, 1)
    return int(np.argmax(power)) + 1


def choose_channel(recording: Recording, channel: int | None) -> int:
    """The given channel, from 1, or the loudest; checks the recording on the way.

    Raises
    ------
    RecordingError
        There is no such channel, or the recording cannot be used (loudest_channel).
    """
    loudest = loudest_channel(recording)
    if channel is None:
        return loudest
    if not 1 <= channel <= recording.channels:
        have = "one channel" if recording.channels == 1 else f"{recording.channels} channels"
        raise RecordingError(f"{recording.path} has {have}, so there is no channel {channel}.")
    return channel


def stretches(recording: Recording, channel: int) -> Iterator[Stretch]:
    """Yield one channel in stretches of a minute, each overlapping the next."""
    rate = recording.rate_hz
    step, reach = round(STRETCH_S * rate), round((LEAD_S + STRETCH_S + OVERLAP_S) * rate)
    held = np.empty(0)
    start, begin = 0, 0.0
    for block in recording.blocks():
        held = np.concatenate([held, block[:, channel - 1]])
        while held.size > reach:
            end = start / rate + LEAD_S + STRETCH_S
            yield Stretch(start / rate, begin, end, held[:reach])
            held = held[step:]
            start, begin = start + step, end
    yield Stretch(start / rate, begin, np.inf, held)


def load_recording(path: str | Path, channel: int | None = None) -> tuple[NDArray[np.float64], int]:
    """One channel of a recording as a whole, with its rate in Hz; the loudest unless given.

    Raises
    ------
    RecordingError
        It cannot be read, or lasts longer than ten minutes.
    """
    with open_recording(path) as recording:
        if recording.duration_s > _LONGEST_WHOLE_S:
            raise RecordingError(
                f"{path} lasts {recording.duration_s / 60.0:.0f} minutes; cut it to ten."
            )
        chosen = choose_channel(recording, channel)
        return np.concatenate([b[:, chosen - 1] for b in recording.blocks()]), recording.rate_hz
