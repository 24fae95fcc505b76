"""Memory that a process keeps between the steps of a fit instead of giving it back."""

from typing import Final

import numpy as np

KEPT_BYTES: Final = 8 << 20


def keep_memory() -> None:
    """Let the process keep a few megabytes that it frees, for the next array of the fit.

    The C library (glibc, mallopt(3), M_MMAP_THRESHOLD) raises its threshold for giving
    memory back when a large block is freed; without that every step of a fit has its arrays
    paged in anew, which takes longer than the arithmetic. The block itself is never touched.
    """
    np.empty(KEPT_BYTES, dtype=np.uint8)
