"""A room round the taps of a test: the same ragged, dying answer to all of them."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

Floats = NDArray[np.float64]


def in_room(taps: list[tuple[Floats, float]], direct_db: float) -> list[tuple[Floats, float]]:
    """Taps (samples, rate) in a room that rings for half a second, direct sound over it in dB."""
    rng, rate = np.random.default_rng(9), taps[0][1]
    t = np.arange(round(0.4 * rate)) / rate
    echo = rng.standard_normal(len(t)) * 10 ** (-6 * t) * (t > 0.004)
    wet = []
    for x, _ in taps:
        tail = fftconvolve(x, echo)[: len(x)]
        share = np.sqrt(np.sum(x**2) / np.sum(tail**2)) * 10 ** (-direct_db / 20)
        wet.append((x + share * tail, rate))
    return wet
