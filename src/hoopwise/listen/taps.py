"""Finds taps in recordings of any length, block by block."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.listen.bounce import bounces
from hoopwise.listen.onset import refine_onset
from hoopwise.listen.quality import SOFT_DB, flaws_of, is_bounce, is_struck
from hoopwise.listen.rises import Frames, frames, rises
from hoopwise.listen.samples import as_samples
from hoopwise.listen.tapfit import is_too_reverberant
from hoopwise.listen.types import Tap
from hoopwise.units import decibels

Real = NDArray[np.float64]

BLOCK_S: Final = 16.0
PAST_S: Final = 1.0
FUTURE_S: Final = 4.0
ROOM_SNR_DB: Final = 26.0
"""With more noise than this a room that spoils a tap cannot be told from it."""
DOUBLE_S: Final = 0.15
"""A second strike this soon after the first spoils it."""

Judge = Literal["all", "bounces", "none"]


def find_taps(samples: ArrayLike, rate: float, judge: Judge = "all") -> list[Tap]:
    """Strikes in one channel, in order.

    Parameters
    ----------
    samples : (n,) numbers
        Floats of full scale 1, or integers.
    rate : float
        Samples per second, 8000 to 400000 Hz.
    judge : "all", "bounces" or "none"
        What to look for besides, which takes longer than the rest: bounces, and reverberation.

    Raises
    ------
    RecordingError
        Not one channel of finite numbers, or a rate out of range.
    """
    raw = np.asarray(samples)
    if raw.ndim != 1 or len(raw) <= BLOCK_S * rate:
        return list(find_taps_in_blocks([raw], rate, judge))
    size = int(BLOCK_S * rate)
    blocks = (raw[i : i + size] for i in range(0, len(raw), size))
    return list(find_taps_in_blocks(blocks, rate, judge))


def find_taps_in_blocks(
    blocks: Iterable[ArrayLike], rate: float, judge: Judge = "all"
) -> Iterator[Tap]:
    """Strikes in a channel that comes in successive blocks; memory stays bounded.

    Takes and raises what ``find_taps`` does; blocks may have any lengths.
    """
    held = np.empty(0)
    start = 0  # sample number of held[0]
    done = -1.0  # strikes up to here (s) are told
    for block in blocks:
        held = np.concatenate([held, as_samples(block, rate)])
        while len(held) >= (BLOCK_S + FUTURE_S) * rate:
            stretch = held[: int((BLOCK_S + FUTURE_S) * rate)]
            until = (start + BLOCK_S * rate) / rate
            yield from _told(stretch, rate, start, done, until, judge)
            done = until
            drop = int((BLOCK_S - PAST_S) * rate)
            held, start = held[drop:], start + drop
    yield from _told(held, rate, start, done, np.inf, judge)


def _told(
    x: Real, rate: float, start: int, after_s: float, until_s: float, judge: Judge
) -> Iterator[Tap]:
    for tap in _taps_of_stretch(x, rate, start / rate):
        if after_s < tap.onset_s <= until_s:
            yield _judged(tap, x, rate, start, judge)


def _judged(tap: Tap, x: Real, rate: float, start: int, judge: Judge) -> Tap:
    """The tap with the flaws of a bounce or of too much room; soft ones are not asked."""
    onset, last_s = tap.onset_s * rate - start, tap.end_s - tap.onset_s
    if judge == "none" or "double hit" in tap.flaws or tap.snr_db < SOFT_DB:
        return tap
    if bounces(x, rate, onset, onset + last_s * rate):
        return replace(tap, flaws=(*tap.flaws, "double hit"))
    if judge == "all" and tap.snr_db > ROOM_SNR_DB and is_too_reverberant(x, rate, onset, last_s):
        return replace(tap, flaws=(*tap.flaws, "too reverberant"))
    return tap


def _taps_of_stretch(x: Real, rate: float, offset_s: float) -> list[Tap]:
    shape = frames(x, rate)
    rising = [refine_onset(x, rate, k * shape.size) for k in rises(shape)]
    begins = [b for b in rising if is_struck(x, rate, b)]
    taps: list[Tap] = []
    first = 0
    while first < len(begins):
        begin = begins[first]
        soon = [b for b in rising if 0.0 < b - begin < DOUBLE_S * rate]
        double = any(b in begins or is_bounce(x, rate, begin, b) for b in soon)
        first += 1
        while first < len(begins) and begins[first] in soon:
            first += 1
        following = begins[first] if first < len(begins) else None
        taps.append(_tap(x, rate, shape, begin, following, double, offset_s))
    return taps


def _tap(
    x: Real,
    rate: float,
    shape: Frames,
    onset: float,
    following: float | None,
    double: bool,
    offset_s: float,
) -> Tap:
    at = int(onset)
    stop = min(len(x), int(following) if following is not None else len(x))
    end = min(stop, _lost(shape, at) * shape.size)
    peak = float(np.max(np.abs(x[at : min(stop, at + int(0.1 * rate))]), initial=0.0))
    before = x[max(0, at - int(0.3 * rate)) : max(0, at - int(0.001 * rate))]
    noise = float(np.std(before)) if len(before) > 0.01 * rate else 0.0
    snr_db = min(decibels(peak / noise) if noise > 0.0 else 120.0, 120.0)
    return Tap(
        onset_s=offset_s + onset / rate,
        end_s=offset_s + end / rate,
        strength_db=decibels(peak),
        snr_db=snr_db,
        flaws=flaws_of(x[at:stop], rate, end - at, snr_db, double),
    )


def _lost(shape: Frames, onset: int) -> int:
    """Frame at which a tap's sound has sunk into the noise that stood before it."""
    at = onset // shape.size
    power = shape.power
    before = power[max(0, at - 300) : max(0, at - 1)]
    floor = float(np.mean(before)) if len(before) >= 10 else float(power.min())
    smooth = np.convolve(power[at:], np.ones(20) / 20.0, mode="valid")
    under = np.flatnonzero(smooth[20:] <= 1.5 * floor + 1e-24)
    return at + 20 + int(under[0]) if len(under) else len(power)
