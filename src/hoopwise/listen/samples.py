"""What every listening function accepts: one channel of finite samples and its rate.

Floats are taken as they are (full scale 1), integers are scaled by their width.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.errors import RecordingError

Samples = NDArray[np.float64]

LOWEST_RATE: Final = 8_000.0
HIGHEST_RATE: Final = 400_000.0


def as_samples(samples: ArrayLike, rate: float) -> Samples:
    """One channel as floats with full scale 1.

    Parameters
    ----------
    samples : (n,) numbers
        Floats as they are; integers are divided by their full scale.
    rate : float in [8000, 400000]
        Samples per second.

    Raises
    ------
    RecordingError
        Not one channel, not numbers, not finite, or a rate out of range.
    """
    check_rate(rate)
    raw = np.asarray(samples)
    if raw.ndim != 1:
        raise RecordingError(
            f"the samples come in the shape {raw.shape}; give one channel at a time, "
            "as a plain row of numbers"
        )
    return _scaled(raw)


def check_rate(rate: float) -> None:
    """Raise RecordingError unless the sample rate (Hz) is one that listening handles."""
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise RecordingError(
            f"a sample rate of {rate!r} Hz is out of range; "
            f"hoopwise listens at {LOWEST_RATE:.0f} to {HIGHEST_RATE:.0f} Hz"
        )


def _scaled(raw: NDArray[Any]) -> Samples:
    if raw.dtype.kind == "u":
        half = 2.0 ** (8 * raw.dtype.itemsize - 1)
        return raw.astype(np.float64) / half - 1.0
    if raw.dtype.kind == "i":
        return raw.astype(np.float64) / 2.0 ** (8 * raw.dtype.itemsize - 1)
    if raw.dtype.kind != "f":
        raise RecordingError(f"samples of the type {raw.dtype} are not sound")
    x = raw.astype(np.float64)
    if not np.isfinite(x).all():
        bad = int(np.flatnonzero(~np.isfinite(x))[0])
        raise RecordingError(
            f"sample {bad} is not a finite number; the file is damaged, record it again"
        )
    return x
