"""The stretch of a tap that modes are fitted to, decimated, with its own clock.

Time runs from the onset. The stretch starts when the stick has left the head and ends
when the sound is lost. It is decimated to about 4 kHz; the first outputs, whose filter
would reach back into the strike, use the truncated filter instead, and the model is
passed through the very same truncated filter, so nothing is lost and nothing leaks in.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.filters import decimate_valid, gain, lowpass

Real = NDArray[np.float64]

ANALYSIS_HZ: Final = 4_000.0
TOP_HZ: Final = 1_400.0
"""Highest mode frequency that the decimated samples carry unharmed."""


@dataclass(frozen=True, eq=False)
class Window:
    """Decimated samples of one tap; ``t_s`` counts from the onset.

    ``y = concat(edge @ model(edge_t_s), model(t_s[len(edge):])) + noise`` holds for
    every model that is a sum of slow exponentials below ``TOP_HZ``.
    """

    y: Real
    """(n,) decimated samples."""
    t_s: Real
    """(n,) their times."""
    edge: Real
    """(e, m) truncated filters of the first e outputs, over full-rate samples."""
    edge_t_s: Real
    """(m,) times of those full-rate samples."""
    rate_hz: float
    """Rate of ``y``."""
    taps: Real
    """The decimating filter, at the rate of the recording."""
    step: int
    """Decimation factor."""

    @cached_property
    def grid_s(self) -> Real:
        """(m + n - e,) times at which a model must be known for ``project``."""
        return np.concatenate([self.edge_t_s, self.t_s[len(self.edge) :]])

    def project(self, model: Real) -> Real:
        """Model rows (..., grid) to what the decimated samples hold of them (..., n)."""
        m, e = len(self.edge_t_s), len(self.edge)
        out = np.empty((*model.shape[:-1], len(self.y)))
        out[..., :e] = model[..., :m] @ self.edge.T
        out[..., e:] = model[..., m:]
        return out

    def gain(self, frequency_hz: Real) -> Real:
        """Gain of the decimating filter at the given frequencies (Hz)."""
        return gain(self.taps, np.asarray(frequency_hz) / (self.rate_hz * self.step))

    def white_level(self, variance: float) -> float:
        """Variance per decimated sample, in band, of white noise in the recording."""
        return variance / self.step


def decimator(rate: float) -> tuple[Real, int]:
    """Low-pass and step that bring a recording at ``rate`` Hz to about 4 kHz."""
    step = max(1, round(rate / ANALYSIS_HZ))
    if step == 1:
        return np.ones(1), 1
    low = rate / step
    return lowpass(0.5 / step, (low - 2.0 * TOP_HZ) / rate), step


def cut(x: Real, rate: float, onset: float, start_s: float, end_s: float) -> Window | None:
    """Decimated window of a tap from ``onset + start_s`` to ``onset + end_s``.

    Parameters
    ----------
    x : (n,) samples at ``rate`` Hz
    onset : float
        Sample at which the tap begins; fractions are kept in the clock.

    Returns
    -------
    Window, or None when fewer than 64 decimated samples are left.
    """
    taps, step = decimator(rate)
    half = len(taps) // 2
    first = int(np.ceil(onset + start_s * rate))
    last = min(int(onset + end_s * rate), len(x) - 1 - half)
    count = (last - first) // step + 1
    if first < 0 or count < 64:
        return None
    edges = -(-half // step) if half else 0
    centres = first + step * np.arange(count)
    width = (edges - 1) * step + half + 1 if edges else 0
    edge = np.zeros((edges, width))
    for row in range(edges):
        lowest = max(0, row * step - half)
        edge[row, lowest : row * step + half + 1] = taps[lowest - row * step + half :]
    y = np.empty(count)
    y[:edges] = edge @ x[first : first + width]
    y[edges:] = decimate_valid(x, taps, step, first + edges * step, count - edges)
    return Window(
        y=y,
        t_s=np.asarray((centres - onset) / rate, dtype=np.float64),
        edge=edge,
        edge_t_s=np.asarray((first + np.arange(width) - onset) / rate, dtype=np.float64),
        rate_hz=rate / step,
        taps=taps,
        step=step,
    )
