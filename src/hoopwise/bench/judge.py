"""Whether a window holds one good tap, and if not, what went wrong in words."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.bench.ear import Window

_CLIP: Final = 0.985
_LEAST_SNR_DB: Final = 25.0
_FADE_DB: Final = 3.0
_UNLIKE_DB: Final = 8.0
_BANDS_HZ: Final = np.geomspace(90.0, 1200.0, 15)

WORDS: Final[dict[str, str]] = {
    "double hit": "Two strikes at once: the stick bounced. Tap once and lift off.",
    "too close": "The next tap came too soon. Wait for the beep, then tap.",
    "sound lost": "Some sound got lost on the way. Tap the same place again.",
    "clipped": "Too loud for the microphone. Tap softer, or move the microphone back a little.",
    "too soft": "Too soft against the room. Tap a little harder, or bring the microphone closer.",
    "not a tap": "That did not fade like a tap. Keep hands off the head while it rings.",
    "cut short": "The sound stopped too early. Let the head ring until the beep.",
    "too reverberant": "The room rings along. Bring the microphone to a hand's width of the head.",
    "unlike": (
        "The taps here do not sound alike: another spot, another tip, or the "
        "microphone moved. Both are dropped; tap here again."
    ),
}
"""Reason to the sentence that the page shows."""


@dataclass(frozen=True)
class Verdict:
    """A judged tap."""

    onset_s: float
    strength_db: float
    snr_db: float
    colour_db: tuple[float, ...]
    """Level in bands from 90 to 1200 Hz against their mean: how it sounds, not how loud."""
    reason: str | None = None
    """None for a good tap, else a key of ``WORDS``."""


Flaws = Callable[[NDArray[np.float64], int], tuple[str, ...]]


def judge(window: Window, flaws: Flaws) -> Verdict:
    """The verdict on a window; ``flaws`` is asked only when nothing plainer is wrong."""
    sound = window.samples.astype(np.float64)
    onset = window.onset_frame - window.start_frame
    before, after = sound[: max(1, onset - int(0.005 * window.rate))], sound[onset:]
    peak = float(np.max(np.abs(after), initial=1e-9))
    noise = float(np.sqrt(np.mean(before**2))) if len(before) > 64 else 1e-6
    snr = 20.0 * np.log10(peak / max(noise, 1e-6))
    verdict = Verdict(
        onset_s=window.onset_s,
        strength_db=round(20.0 * float(np.log10(peak)), 1),
        snr_db=round(float(snr), 1),
        colour_db=colour(after, window.rate),
        reason=window.trouble,
    )
    if verdict.reason is None:
        reason = _plain_reason(after, peak, float(snr), window.rate)
        if reason is None:
            reason = next((f for f in flaws(sound, window.rate) if f in WORDS), None)
        verdict = _with_reason(verdict, reason)
    return verdict


def _with_reason(verdict: Verdict, reason: str | None) -> Verdict:
    return Verdict(verdict.onset_s, verdict.strength_db, verdict.snr_db, verdict.colour_db, reason)


def _plain_reason(after: NDArray[np.float64], peak: float, snr: float, rate: int) -> str | None:
    loud = np.abs(after) >= _CLIP
    if np.any(loud[1:] & loud[:-1]):
        return "clipped"
    if snr < _LEAST_SNR_DB or peak < 1e-3:
        return "too soft"
    third = len(after) // 3
    early, late = np.mean(after[:third] ** 2), np.mean(after[-third:] ** 2)
    if 10.0 * np.log10(max(float(early), 1e-18) / max(float(late), 1e-18)) < _FADE_DB:
        return "not a tap"
    if np.all(after[int(0.1 * rate) : int(0.15 * rate)] == 0.0):
        return "sound lost"
    return None


def colour(sound: NDArray[np.float64], rate: int) -> tuple[float, ...]:
    """Band levels (dB) of the first 0.4 s after the strike, against their mean."""
    part = sound[: int(0.4 * rate)]
    power = np.abs(np.fft.rfft(part * np.hanning(2 * len(part))[len(part) :])) ** 2
    bins = np.fft.rfftfreq(len(part), 1.0 / rate)
    edges = np.searchsorted(bins, _BANDS_HZ)
    levels = [10.0 * np.log10(float(power[a:b].sum()) + 1e-12) for a, b in pairwise(edges)]
    top = max(levels)
    shaped = np.maximum(levels, top - 35.0)
    return tuple(float(round(v, 1)) for v in shaped - np.mean(shaped))


def unlike(first: tuple[float, ...], second: tuple[float, ...]) -> bool:
    """Whether two taps at one place sound too different to be the same tap twice."""
    difference = np.asarray(first) - np.asarray(second)
    return bool(np.sqrt(np.mean(difference**2)) > _UNLIKE_DB)
