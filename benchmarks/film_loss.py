"""Loss factor of a drum's film from recorded toms: `python -m benchmarks.film_loss [FOLDER]`.

Takes the partials between 150 and 900 Hz, where a tom radiates little, that read alike
(1 Hz, 15 % of ring time) in two windows of the same hit; each gives eta = 2 alpha / omega.
What else took energy is in it too, so eta is what the model needs, not the film's alone.
The windows are read by plain ESPRIT, apart from what hoopwise listens with.
"""

import sys
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from benchmarks.recordings import HOME, hit_sets

Floats = NDArray[np.float64]
RATE_HZ = 2400
STARTS_S, LENGTH_S, ORDER = (0.06, 0.09), 0.6, 30
BAND_HZ, RING_S = (150.0, 900.0), (0.1, 3.0)


def partials(samples: Floats, start_s: float) -> Floats:
    """(K, 2) frequency (Hz) and decay rate (1/s) of the ten strongest damped sinusoids."""
    first = int(np.argmax(np.abs(samples) > 0.1 * np.abs(samples).max()))
    window = samples[first + int(start_s * RATE_HZ) :][: int(LENGTH_S * RATE_HZ)]
    hankel = np.lib.stride_tricks.sliding_window_view(window, len(window) // 3).T
    left, _, _ = np.linalg.svd(hankel, full_matrices=False)
    space = left[:, :ORDER]
    poles = np.linalg.eigvals(np.linalg.pinv(space[:-1]) @ space[1:])
    vander = poles[None, :] ** np.arange(len(window))[:, None]
    size = np.abs(np.linalg.lstsq(vander, window.astype(complex), rcond=None)[0])
    frequency = np.angle(poles) * RATE_HZ / (2.0 * np.pi)
    found = np.stack([frequency, -np.log(np.abs(poles)) * RATE_HZ], axis=1)
    real = (found[:, 0] > 20.0) & (found[:, 1] > 0.0)
    order = np.argsort(-size[real])[:10]
    return np.asarray(found[real][order])


def steady(path: Path) -> list[tuple[float, float]]:
    """Partials (Hz, 1/s) of a recording that both windows agree on."""
    samples, rate = soundfile.read(path, always_2d=True)
    low = soxr.resample(samples.mean(axis=1), rate, RATE_HZ)
    if len(low) < int((STARTS_S[-1] + LENGTH_S + 0.1) * RATE_HZ):
        return []
    one, two = (partials(low, start) for start in STARTS_S)
    return [
        (float(f), float(a))
        for f, a in one
        if BAND_HZ[0] < f < BAND_HZ[1]
        and RING_S[0] < 6.9078 / a < RING_S[1]
        and np.any((np.abs(two[:, 0] - f) < 1.0) & (np.abs(two[:, 1] / a - 1.0) < 0.15))
    ]


def main(home: Path = HOME) -> None:
    """Print the median and quartiles of the loss factor."""
    toms = [path for s in hit_sets(home) if "tom" in s.place for path in s.hits]
    if not toms:
        sys.exit(f"no recorded toms in {home}; python -m benchmarks.recordings unpacks them.")
    found = [pair for path in toms for pair in steady(path)]
    loss = [2.0 * decay / (2.0 * np.pi * frequency) for frequency, decay in found]
    low, middle, high = np.quantile(loss, (0.25, 0.5, 0.75))
    spread = f"{middle:.4f} ({low:.4f} to {high:.4f})"
    print(f"{len(loss)} partials of {len(toms)} hits: loss factor {spread}")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
