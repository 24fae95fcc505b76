"""Streaming onset detection: when did the stick touch, while the sound comes in.

Works on hops of 128 frames of the first difference of the sound (which lifts the strike
above the ringing). A hop is an onset when its energy is well above the loudest of the
hops just before it and above the room.
"""

from collections import deque
from typing import Final

import numpy as np
from numpy.typing import NDArray

HOP: Final = 128
_RISE: Final = 8.0
"""Energy over the loudest recent hop (9 dB)."""
_OVER_ROOM: Final = 10.0
"""Energy over the room (10 dB)."""
_LEAST: Final = 1e-9
"""Mean square of the difference below which nothing counts."""
_RECENT: Final = 18
_SKIP: Final = 3
_SETTLE: Final = 24


class OnsetDetector:
    """Finds onsets in a stream that arrives in pieces of any length."""

    def __init__(self, frame: int = 0) -> None:
        self._frame = frame
        self._rest: NDArray[np.float64] = np.empty(0)
        self._last = 0.0
        self._recent: deque[float] = deque(maxlen=_RECENT)
        self._room = _LEAST
        self._seen = 0
        self._quiet_until = 0

    @property
    def room(self) -> float:
        """Mean square of the room's sound, first difference."""
        return self._room

    def feed(self, samples: NDArray[np.float32]) -> list[int]:
        """Frame numbers of the onsets that these samples complete."""
        whole = np.concatenate([self._rest, samples.astype(np.float64)])
        count = len(whole) // HOP
        hops = whole[: count * HOP]
        self._rest = whole[count * HOP :]
        if not count:
            return []
        rise = np.diff(hops, prepend=self._last)
        self._last = float(hops[-1])
        energies = np.mean(rise.reshape(count, HOP) ** 2, axis=1)
        found = []
        for index, energy in enumerate(energies):
            if self._is_onset(float(energy)):
                steps = np.abs(rise[index * HOP : (index + 1) * HOP])
                first = int(np.argmax(steps > 0.25 * steps.max()))
                found.append(self._frame + index * HOP + first)
        self._frame += count * HOP
        return found

    def _is_onset(self, energy: float) -> bool:
        self._seen += 1
        earlier = list(self._recent)[: _RECENT - _SKIP] or [0.0]
        loud = energy > _RISE * max(earlier) and energy > max(_OVER_ROOM * self._room, _LEAST * 40)
        self._recent.append(energy)
        if self._seen <= _SETTLE:  # learn the room first
            self._room += (max(energy, _LEAST) - self._room) / self._seen
            return False
        if energy < self._room:
            self._room += 0.1 * (max(energy, _LEAST) - self._room)
        else:
            self._room *= 1.0005
        if loud and self._seen > self._quiet_until:
            self._quiet_until = self._seen + 8  # one strike spreads over a few hops
            return True
        return False
