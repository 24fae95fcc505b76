"""Symmetric low-pass filters and decimation in valid-only mode.

A valid-only output never sees samples outside the given stretch, so a strike or a
neighbouring tap cannot leak in through the filter's skirts.
"""

from functools import lru_cache
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.signal import upfirdn

Real = NDArray[np.float64]
Number = TypeVar("Number", np.float32, np.float64, np.complex128)

MOST_HELD: Final = 500_000
"""Products of samples that may be held at once: a few megabytes."""


@lru_cache(maxsize=64)
def lowpass(cutoff: float, width: float, attenuation_db: float = 70.0) -> Real:
    """Odd symmetric Kaiser-windowed low pass of unit gain at 0 Hz.

    Parameters
    ----------
    cutoff : float in (0, 0.5)
        Middle of the transition, cycles per sample.
    width : float
        Transition from pass to stop, cycles per sample.

    Notes
    -----
    Length and window shape after Kaiser's rules, as in Oppenheim and Schafer,
    Discrete-Time Signal Processing, section 7.5 (FROM MEMORY).
    """
    half = max(1, int(np.ceil((attenuation_db - 7.95) / (4.57 * np.pi * width))))
    beta = 0.1102 * (attenuation_db - 8.7)
    n = np.arange(-half, half + 1)
    taps = 2.0 * cutoff * np.sinc(2.0 * cutoff * n) * np.kaiser(2 * half + 1, beta)
    taps = np.asarray(taps / taps.sum(), dtype=np.float64)
    taps.setflags(write=False)
    return taps


def gain(taps: Real, frequency: Real) -> Real:
    """Gain of a symmetric filter at frequencies in cycles per sample, real and signed."""
    half = len(taps) // 2
    n = np.arange(-half, half + 1)
    return np.asarray(np.cos(2.0 * np.pi * np.outer(frequency, n)) @ taps)


def decimate_valid(
    x: NDArray[Number], taps: Real, step: int, first: int, count: int
) -> NDArray[Number]:
    """Filter outputs centred on samples ``first + step * m``, m = 0 .. count - 1.

    Raises ValueError when an output would reach outside ``x``: valid-only.
    """
    half = len(taps) // 2
    start, stop = first - half, first + step * (count - 1) + half + 1
    if count < 1 or start < 0 or stop > len(x):
        raise ValueError("the filter would reach outside the samples")
    if len(taps) * (stop - start) < MOST_HELD * step**2:
        return np.asarray(decimate(x[None, start:stop], taps, step)[0])
    # zeros before the taps put the first whole output on a multiple of the step
    late = -2 * half % step
    outputs = upfirdn(np.concatenate([np.zeros(late), taps]), x[start:stop], down=step)
    skipped = (2 * half + late) // step
    return np.asarray(outputs[skipped : skipped + count], dtype=x.dtype)


def decimate(x: NDArray[Number], taps: Real, step: int) -> NDArray[Number]:
    """(T, M) all whole outputs of the rows of ``x`` (T, N), one in ``step``, from the first on.

    The symmetric taps are cut into pieces as long as a step, so that all products
    of pieces and blocks of samples are one product of matrices, and outputs sums of these:
    quicker than one output after the other, but all the products are held at once.
    """
    rows, size = x.shape
    count = (size - len(taps)) // step + 1
    pieces = -(-len(taps) // step)
    blocks = count + pieces - 1
    whole = np.zeros((rows, blocks * step), dtype=x.dtype)
    used = min(size, blocks * step)
    whole[:, :used] = x[:, :used]
    cut = np.zeros((pieces, step), dtype=x.dtype)
    cut.flat[: len(taps)] = taps
    parts = (cut @ whole.reshape(-1, step).T).reshape(pieces, rows, blocks)
    out = parts[0, :, :count].copy()
    for k in range(1, pieces):
        out += parts[k, :, k : k + count]
    return out
