"""Streaming onset detection: when did the stick touch, while the sound comes in.

Works on hops of 128 frames: the means of 8 frames each (which take off the hiss), and the
steps between them (which lift the strike above the ringing). A hop is an onset when its
energy is well above the loudest of the hops just before it and above the room, which is
the quieter part of the last two seconds.
"""

from collections import deque
from typing import Final

import numpy as np
from numpy.typing import NDArray

HOP: Final = 128
_MEAN: Final = 8
_RISE: Final = 4.0
"""Energy over the loudest recent hop (6 dB)."""
_OVER_ROOM: Final = 10.0
"""Energy over the room (10 dB)."""
_LEAST: Final = 1e-9
"""Mean square of the steps below which nothing counts."""
_RECENT: Final = 18
_SKIP: Final = 3
_SETTLE: Final = 24
_ROOM_HOPS: Final = 700
_ROOM_SHARE: Final = 0.2


class OnsetDetector:
    """Finds onsets in a stream that arrives in pieces of any length."""

    def __init__(self, frame: int = 0) -> None:
        self._frame = frame
        self._rest: NDArray[np.float64] = np.empty(0)
        self._last = 0.0
        self._recent: deque[float] = deque(maxlen=_RECENT)
        self._past: deque[float] = deque(maxlen=_ROOM_HOPS)
        self._room = _LEAST
        self._seen = 0
        self._quiet_until = 0

    @property
    def room(self) -> float:
        """Mean square of the steps in the room's sound."""
        return self._room

    def feed(self, samples: NDArray[np.float32]) -> list[int]:
        """Frame numbers of the onsets that these samples complete."""
        whole = np.concatenate([self._rest, samples.astype(np.float64)])
        count = len(whole) // HOP
        hops = whole[: count * HOP]
        self._rest = whole[count * HOP :]
        if not count:
            return []
        means = hops.reshape(-1, _MEAN).mean(axis=1)
        rise = np.diff(means, prepend=self._last).reshape(count, -1)
        self._last = float(means[-1])
        energies = np.mean(rise**2, axis=1)
        found = []
        for index, energy in enumerate(energies):
            if self._is_onset(float(energy)):
                steps = np.abs(rise[index])
                first = _MEAN * int(np.argmax(steps > 0.25 * steps.max()))
                found.append(self._frame + index * HOP + first)
        self._frame += count * HOP
        return found

    def _is_onset(self, energy: float) -> bool:
        self._seen += 1
        earlier = list(self._recent)[: _RECENT - _SKIP] or [0.0]
        loud = energy > _RISE * max(earlier) and energy > max(_OVER_ROOM * self._room, _LEAST * 40)
        self._recent.append(energy)
        self._past.append(energy)
        if self._seen % 16 == 0:
            quiet = int(_ROOM_SHARE * len(self._past))
            self._room = max(_LEAST, float(np.partition(self._past, quiet)[quiet]))
        if self._seen <= _SETTLE:  # learn the room first
            return False
        if loud and self._seen > self._quiet_until:
            self._quiet_until = self._seen + 8  # one strike spreads over a few hops
            return True
        return False
