"""How alike two taps sound, told from their waves without any model of the drum.

Two taps at one rod are nearly the same wave; at another rod modes answer more or less, some
with the other sign, so that even the rod across differs.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.taps.takes import Take

FloatArray = NDArray[np.float64]

_BAND_HZ: Final = (60.0, 1500.0)
_SPAN_S: Final = 0.08
_LAG_S: Final = 0.0015
_RATE_HZ: Final = 8000.0


def wave(samples: FloatArray, rate: float, onset_s: float) -> FloatArray:
    """The first part of a tap's sound, at 8 kHz, without rumble and click."""
    from scipy.signal import butter, sosfiltfilt

    sos = butter(3, _BAND_HZ, btype="band", fs=rate, output="sos")
    start = max(0, round((onset_s - 0.02) * rate))
    stop = round((onset_s + _SPAN_S + 2 * _LAG_S) * rate) + int(0.05 * rate)
    part = sosfiltfilt(sos, samples[start:stop])
    first = round(onset_s * rate) - start
    grid = np.arange(0.0, _SPAN_S, 1.0 / _RATE_HZ) * rate + first
    return np.asarray(np.interp(grid, np.arange(len(part)), part))


def likeness(one: FloatArray, other: FloatArray) -> float:
    """Correlation of two waves, the best within a lag of 1.5 ms; 1 for the same wave."""
    reach = round(_LAG_S * _RATE_HZ)
    best = -1.0
    for lag in range(-reach, reach + 1):
        a, b = (
            one[max(0, lag) : len(one) + min(0, lag)],
            other[max(0, -lag) :][: len(one) - abs(lag)],
        )
        size = float(np.sqrt((a @ a) * (b @ b)))
        best = max(best, float(a @ b) / size if size > 0.0 else -1.0)
    return best


def most_alike_places(takes: Sequence[Take]) -> tuple[float, float]:
    """The two places of which two taps sound most like each other, the lower number first.

    A tip that stays for another time changes the sound of one place's taps more than of two that
    happen to be alike. There must be taps of two places or more.
    """
    waves = [wave(t.samples, t.rate, t.onset_s) for t in takes]
    by_place: dict[float, list[FloatArray]] = {}
    for take, heard in zip(takes, waves, strict=True):
        by_place.setdefault(take.place, []).append(heard)
    places = sorted(by_place)
    pairs = [(a, b) for i, a in enumerate(places) for b in places[i + 1 :]]

    def alike(pair: tuple[float, float]) -> float:
        return max(likeness(x, y) for x in by_place[pair[0]] for y in by_place[pair[1]])

    return max(pairs, key=alike)
