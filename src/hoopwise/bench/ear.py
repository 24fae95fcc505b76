"""The ear: a stream of sound blocks to windows that hold one tap each.

Keeps the audio clock: lost frames are told and spoil only the window they fall in,
frames sent twice (after a reconnection) are dropped. Memory is constant.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from hoopwise.bench.onset import OnsetDetector
from hoopwise.bench.wire import Block

PRE_S: Final = 0.3
WINDOW_S: Final = 0.8
LEAST_S: Final = 0.45
"""The next tap may cut a window short down to this length."""
DOUBLE_S: Final = 0.12
_KEEP_S: Final = 4.0

Trouble = Literal["double hit", "too close", "sound lost"]


@dataclass(frozen=True)
class Window:
    """The sound of one strike, from a little before it."""

    onset_frame: int
    start_frame: int
    end_frame: int
    samples: NDArray[np.float32]
    rate: int
    trouble: Trouble | None = None

    @property
    def onset_s(self) -> float:
        """Onset in the window's own time."""
        return (self.onset_frame - self.start_frame) / self.rate


@dataclass(frozen=True)
class Gap:
    """Frames that never came."""

    frame: int
    length: int


class Ear:
    """One microphone stream."""

    def __init__(self, stream: int, rate: int, ignore_before: int = 0) -> None:
        self.stream = stream
        self.rate = rate
        self.next_frame: int | None = None
        self._ignore_before = ignore_before
        self._detector = OnsetDetector()
        self._kept: NDArray[np.float32] = np.empty(0, dtype=np.float32)
        self._kept_from = 0
        self._onset: int | None = None
        self._second: int | None = None
        self._gap_at: int | None = None
        self._deaf: list[tuple[int, int]] = []

    def feed(self, block: Block) -> list[Window | Gap]:
        """What these samples complete, in order of time."""
        samples, frame = block.samples, block.frame
        out: list[Window | Gap] = []
        if self.next_frame is None:
            self.next_frame, self._kept_from = frame, frame
            self._detector = OnsetDetector(frame)
        if frame > self.next_frame:
            out.append(self._lose(frame))
        elif frame < self.next_frame:
            samples = samples[self.next_frame - frame :]
        if not len(samples):
            return out
        self.next_frame += len(samples)
        self._kept = np.concatenate([self._kept, samples])
        for onset in self._detector.feed(samples):
            out.extend(self._strike(onset))
        out.extend(self._close_if_over())
        self._trim()
        return out

    def deafen(self, begin: int, end: int) -> None:
        """Ignore strikes between these frames: the page's own beep, or a gap's edge."""
        self._deaf = [*self._deaf[-7:], (begin, end)]

    @property
    def is_busy(self) -> bool:
        """Whether a strike has begun whose window is still open."""
        return self._onset is not None

    @property
    def safe_frame(self) -> int:
        """Frames before this are no longer needed, even after a crash."""
        at = self._onset if self._onset is not None else (self.next_frame or 0)
        return max(0, at - int(2 * PRE_S * self.rate))

    def _lose(self, frame: int) -> Gap:
        """Note a gap; a long one restarts the ear, a short one is filled with silence."""
        assert self.next_frame is not None
        gap = Gap(self.next_frame, frame - self.next_frame)
        if gap.length > self.rate:
            self._onset = self._second = None
            self._kept = np.empty(0, dtype=np.float32)
            self._kept_from, self.next_frame = frame, frame
            self._detector = OnsetDetector(frame)
            return gap
        silence = np.zeros(gap.length, dtype=np.float32)
        self._kept = np.concatenate([self._kept, silence])
        self._detector.feed(silence)
        self.next_frame = frame
        self._gap_at = gap.frame
        self.deafen(gap.frame, frame + int(0.01 * self.rate))  # sound coming back is no strike
        return gap

    def _strike(self, onset: int) -> list[Window | Gap]:
        if onset < self._ignore_before or any(a <= onset < b for a, b in self._deaf):
            return []
        if self._onset is None:
            self._onset = onset
            return []
        late = (onset - self._onset) / self.rate
        if late < LEAST_S:
            self._second = self._second or onset
            return []
        window = self._window(min(onset - int(0.01 * self.rate), self._full_end()))
        self._onset, self._second = onset, None
        return [window]

    def _full_end(self) -> int:
        assert self._onset is not None
        return self._onset + int(WINDOW_S * self.rate)

    def _close_if_over(self) -> list[Window | Gap]:
        if self._onset is None or (self.next_frame or 0) < self._full_end():
            return []
        window = self._window(self._full_end())
        self._onset = self._second = None
        return [window]

    def _window(self, end: int) -> Window:
        assert self._onset is not None
        start = max(self._kept_from, self._onset - int(PRE_S * self.rate))
        trouble: Trouble | None = None
        if self._second is not None:
            close = (self._second - self._onset) / self.rate < DOUBLE_S
            trouble = "double hit" if close else "too close"
        if self._gap_at is not None and self._gap_at >= start:
            trouble = "sound lost"
        samples = self._kept[start - self._kept_from : end - self._kept_from].copy()
        return Window(self._onset, start, end, samples, self.rate, trouble)

    def _trim(self) -> None:
        room = int(_KEEP_S * self.rate)
        if len(self._kept) > room + self.rate:
            cut = len(self._kept) - room
            self._kept = self._kept[cut:].copy()
            self._kept_from += cut
