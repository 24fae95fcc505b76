"""Where a recording suddenly gets louder: the coarse search for strikes.

Power is followed in frames of one millisecond in two bands, below and above 2 kHz: a
drum's note rises in the low one, a light stick on a ringing head only in the high one.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

FRAME_S: Final = 0.001
AHEAD: Final = 5
BEHIND: Final = 25
RISE: Final = 8.0
"""Power after over power before that makes a strike (9 dB)."""
START: Final = 3.0
"""At the very start of a file there is no before; the rise must be that much clearer."""
REST_FRAMES: Final = 25
"""A strike's own roughness lasts this long; a later rise is another strike."""


@dataclass(frozen=True)
class Frames:
    """Power per frame in the low and the high band."""

    low: Real
    high: Real
    size: int
    """Samples per frame."""

    @property
    def power(self) -> Real:
        """Both bands together."""
        return self.low + self.high


def frames(x: Real, rate: float) -> Frames:
    """Frame powers of ``x``: averages of a few samples make the low band."""
    group = max(1, round(rate / 4000.0))
    per_frame = max(1, round(FRAME_S * rate / group))
    size = group * per_frame
    count = len(x) // size
    cells = x[: count * size].reshape(count, per_frame, group)
    # products, because numpy's means along short axes are slow
    means = cells @ np.full(group, 1.0 / group)
    rest = (cells - means[:, :, None]).reshape(count, size)
    high = np.einsum("ij,ij->i", rest, rest) / size
    flat = means.ravel()
    # the slope of the averages is blind to rumble and offset
    slope = np.diff(flat, prepend=flat[:1])
    low = np.mean(slope.reshape(count, per_frame) ** 2, axis=1)
    return Frames(low, np.asarray(high), size)


def rises(found: Frames) -> list[int]:
    """Frames at which a strike begins, in order, at least ``REST_FRAMES`` apart."""
    n = len(found.low)
    if n < AHEAD + 3:
        return []
    strength = np.maximum(_jump(found.low), _jump(found.high))
    out: list[int] = []
    k = 0
    hot = strength > RISE
    while k < n:
        if hot[k]:
            top = k + int(np.argmax(strength[k : k + AHEAD + 3]))
            out.append(top)
            k = top + REST_FRAMES
        else:
            k += int(np.argmax(hot[k:])) if hot[k:].any() else n
    return out


def _jump(power: Real) -> Real:
    """Mean power of the next frames over that of the frames before, and over the noise."""
    n = len(power)
    total = np.concatenate([[0.0], np.cumsum(power)])
    i = np.arange(n)
    stop = np.minimum(i + AHEAD, n)
    ahead = (total[stop] - total[i]) / (stop - i)
    begin = np.maximum(i - BEHIND, 0)
    quiet = float(np.percentile(power, 10))
    past = np.maximum(i - begin, 1)
    behind = np.where(i - begin >= 5, (total[i] - total[begin]) / past, START * quiet)
    floor = max(quiet, 1e-9 * float(power.max()), 1e-24)
    return np.asarray(ahead / np.maximum(behind, floor))
