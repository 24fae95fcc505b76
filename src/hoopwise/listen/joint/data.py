"""Several taps of one drum on one common, decimated time grid.

Sound is filtered by a symmetric low-pass used in valid-only mode and decimated, so that
nothing from before the window's start (the contact of the stick) can leak into it.
Times are s from each tap's onset, rates Hz, amplitudes in units of the samples.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import upfirdn

from hoopwise.errors import RecordingError
from hoopwise.listen.filters import decimate, lowpass

Floats = NDArray[np.float64]

STOP_DB = 60.0
THIN_DB = 40.0
"""Attenuation of what would fold back into the analysed range."""
MIRROR_DB = 50.0
"""And, beside that, of the modes' own mirror images."""
PRE_ROLL_S = 0.3
"""How much of the sound before the onset serves to learn the noise."""


@dataclass(frozen=True)
class Round:
    """T taps on one grid of N samples; shorter taps are filled with zeros."""

    samples: Floats
    """(T, N) decimated samples."""
    lengths: NDArray[np.intp]
    """(T,) valid samples of each tap."""
    times_s: Floats
    """(N,) nominal time from the onset."""
    offsets_s: Floats
    """(T,) what to add to the nominal time to get each tap's own, under one raw sample."""
    noise: Floats
    """(T,) rms of the decimated noise; from the pre-roll, else from the tap's end."""
    rate_hz: float
    room: float = 0.0
    """Reverberant share that has to be reckoned with, an amplitude ratio."""
    filters: tuple[tuple[Floats, float], ...] = ()
    """What the sound went through: symmetric filters and the rate (Hz) each ran at."""

    def gain(self, frequency_hz: Floats, decay_per_s: Floats) -> NDArray[np.complex128]:
        """(K,) what the filters did to damped modes: ripple of the pass band, 0.1 to 1 %."""
        s = 2j * np.pi * frequency_hz - decay_per_s
        total = np.ones(len(s), dtype=complex)
        for kernel, rate in self.filters:
            lag = (np.arange(len(kernel)) - len(kernel) // 2) / rate
            total *= np.exp(np.multiply.outer(s, lag)) @ kernel
        return total

    @property
    def taps(self) -> int:
        """How many taps."""
        return len(self.samples)


def prepare(
    taps: Sequence[tuple[ArrayLike, float]],
    onsets: Sequence[float],
    *,
    start_s: float,
    length_s: float,
    high_hz: float,
) -> Round:
    """Taps decimated to about 2.7 times ``high_hz``, from ``start_s`` after each onset.

    Taps of several rates are brought to one grid only if the rates agree.

    Raises
    ------
    RecordingError
        Rates differ, or a tap holds too little sound after its onset, or bad samples.
    """
    rates = {float(rate) for _, rate in taps}
    if len(rates) != 1:
        raise RecordingError(
            f"taps of one round must share one sample rate, got {sorted(rates)} Hz"
        )
    rate = rates.pop()
    step = max(1, int(rate / (2.66 * high_hz)))
    kernel = lowpass(0.5 / step, 1 / step - 2 * high_hz / rate, STOP_DB)
    parts = [
        _one(np.asarray(x, dtype=float), rate, onset, kernel, step, start_s, length_s, k)
        for k, ((x, _), onset) in enumerate(zip(taps, onsets, strict=True))
    ]
    size = max(len(p[0]) for p in parts)
    grid = np.zeros((len(parts), size))
    for row, part in zip(grid, parts, strict=True):
        row[: len(part[0])] = part[0]
    return Round(
        samples=grid,
        lengths=np.array([len(p[0]) for p in parts]),
        times_s=start_s + np.arange(size) * step / rate,
        offsets_s=np.array([p[1] for p in parts]),
        noise=np.array([p[2] for p in parts]),
        rate_hz=rate / step,
        filters=((kernel, rate),),
    )


def shorten(data: Round, length_s: float) -> Round:
    """The first ``length_s`` seconds of every tap."""
    return _cut(data, slice(0, int(length_s * data.rate_hz)))


def later(data: Round, start_s: float) -> Round:
    """The round from ``start_s`` after the onset on."""
    return _cut(data, slice(int(np.searchsorted(data.times_s, start_s - 1e-9)), None))


def _cut(data: Round, part: slice) -> Round:
    first = part.start
    samples = data.samples[:, part]
    return replace(
        data,
        samples=samples,
        lengths=np.clip(data.lengths - first, 1, samples.shape[1]),
        times_s=data.times_s[part],
    )


def thin(data: Round, high_hz: float) -> Round:
    """The round at the lowest rate that still carries ``high_hz``; starts a little later.

    That is the rate over a whole number or a whole number and a half. The filter is short,
    because little is left above ``high_hz`` when this is used.
    """
    halves = int(2 * data.rate_hz / (2.5 * high_hz))
    if halves < 3:
        return data
    up, down = (2, halves) if halves % 2 else (1, halves // 2)
    fine_hz = up * data.rate_hz
    kernel = lowpass(0.5 / down, 1 / down - 2 * high_hz / fine_hz, THIN_DB)
    if up > 1:
        # Zeros between the samples mirror every mode above half the old rate.
        quiet = lowpass(0.25, 0.5 - 2 * high_hz / fine_hz, MIRROR_DB)
        kernel = np.convolve(kernel, quiet)
    half = len(kernel) // 2
    lengths = np.maximum((up * (data.lengths - 1) - 2 * half) // down + 1, 1)
    # zeros before the filter put the first output that is whole on a multiple of the step
    late = -2 * half % down
    shifted = np.concatenate([np.zeros(late), up * kernel])
    whole = upfirdn(shifted, data.samples, up=up, down=down, axis=1)
    skipped = (2 * half + late) // down
    samples = np.ascontiguousarray(whole[:, skipped : skipped + int(lengths.max())])
    samples[np.arange(samples.shape[1]) >= lengths[:, None]] = 0.0
    return Round(
        samples=samples,
        lengths=lengths,
        times_s=data.times_s[0] + (half + np.arange(samples.shape[1]) * down) / fine_hz,
        offsets_s=data.offsets_s,
        noise=data.noise * float(np.sqrt(up * np.sum(kernel**2))),
        rate_hz=fine_hz / down,
        room=data.room,
        filters=(*data.filters, (kernel, fine_hz)),
    )


def spread_out(taps: int, count: int) -> NDArray[np.intp]:
    """Indices of at most ``count`` taps spread evenly through a round."""
    return np.unique(np.linspace(0, taps - 1, min(count, taps)).astype(np.intp))


def take(data: Round, which: NDArray[np.intp]) -> Round:
    """The chosen taps only."""
    return replace(
        data,
        samples=data.samples[which],
        lengths=data.lengths[which],
        offsets_s=data.offsets_s[which],
        noise=data.noise[which],
    )


def _one(
    x: Floats,
    rate: float,
    onset_s: float,
    kernel: Floats,
    step: int,
    start_s: float,
    length_s: float,
    number: int,
) -> tuple[Floats, float, float]:
    """Decimated samples of one tap, its time offset, its noise rms."""
    if x.ndim != 1 or not np.all(np.isfinite(x)):
        raise RecordingError(f"tap {number + 1} must be one channel of finite samples")
    half = len(kernel) // 2
    first = int(np.ceil((onset_s + start_s) * rate))
    count = int((min(len(x), first + half + int(length_s * rate)) - first - half) // step)
    if first - half < 0 or count < 0.1 * rate / step:
        raise RecordingError(
            f"tap {number + 1} holds under 0.1 s of sound after its onset: record longer"
        )
    after = decimate(x[None, first - half : first + half + 1 + step * (count - 1)], kernel, step)[0]
    quiet_end = int((onset_s - 0.002) * rate)
    quiet = x[max(0, quiet_end - int(PRE_ROLL_S * rate)) : max(0, quiet_end)]
    long_enough = len(quiet) >= len(kernel) + 7 * step
    before = decimate(quiet[None], kernel, step)[0] if long_enough else after[-len(after) // 8 :]
    noise = float(np.sqrt(np.mean(before**2)))
    return (
        after,
        first / rate - onset_s - start_s,
        max(noise, 1e-9 * float(np.abs(after).max()), 1e-300),
    )
