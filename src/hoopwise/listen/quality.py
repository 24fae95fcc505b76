"""Whether a rise is a struck drum at all, and whether the tap is fit to be measured."""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.types import Flaw

Real = NDArray[np.float64]

SOFT_DB: Final = 18.0
"""A peak less than this above the noise is too soft."""
SHORT_S: Final = 0.2
"""A tap needs this long a sound before the next one or the end."""
OVER_RING: Final = 2.2
"""Peak over the rms before it that makes a strike; a steady tone has 1.4."""
BURST: Final = 0.95
"""A long-ringing head loses next to nothing in the time compared; a syllable gains."""
BOUNCE: Final = 0.2
"""Edge of a second strike over that of the first; rattling wires stay well below."""
CLICK: Final = 3.0
"""The same for the second difference, which hears the stick and not the head."""
TONAL: Final = 30.0
"""A drum's loudest mode stands out of its surroundings by this power ratio (15 dB)."""


def is_struck(x: Real, rate: float, onset: float) -> bool:
    """Whether the sound after ``onset`` (a sample index) rings and dies like a drum."""
    at = int(onset)
    return _stands_out(x, rate, at) and _bursts(x, rate, at) and _rings_on(x, rate, onset)


def is_bounce(x: Real, rate: float, begin: float, later: float) -> bool:
    """Whether a rise soon after a strike is the stick's again, by the sharpness of its edge."""
    return _edge(x, rate, later) > BOUNCE * _edge(x, rate, begin)


def _edge(x: Real, rate: float, onset: float) -> float:
    start = max(0, int(onset - 0.0005 * rate))
    piece = x[start : int(onset + 0.003 * rate)]
    return float(np.max(np.abs(np.diff(piece, n=2)), initial=0.0))


def _bursts(x: Real, rate: float, at: int) -> bool:
    """Loudest at once, or at least with a click; a syllable swells.

    A split pair may start in the trough of its beat, so the click may speak for it.
    """
    if _swell(x, rate, at, 0.03) > BURST:
        return True
    edge = np.diff(x[at : at + int(0.11 * rate)], n=2, prepend=[0.0, 0.0])
    return _swell(edge, rate, 0, 0.006) > CLICK


def _stands_out(x: Real, rate: float, at: int) -> bool:
    """The new peak exceeds the ring before it; a rattle in the ring does not."""
    before = x[max(0, at - int(0.05 * rate)) : max(0, at - int(0.001 * rate))]
    if len(before) < 0.005 * rate:
        return True
    peak = float(np.max(np.abs(x[at : at + int(0.02 * rate)]), initial=0.0))
    return peak > OVER_RING * float(np.sqrt(np.mean(before**2)))


def _swell(x: Real, rate: float, at: int, first_s: float) -> float:
    """Power of the first moments over the power from 50 to 110 ms."""
    later = x[at + int(0.05 * rate) : at + int(0.11 * rate)]
    if len(later) < 0.02 * rate:
        return math.inf
    return float(np.var(x[at : at + int(first_s * rate)])) / (float(np.var(later)) + 1e-30)


def _rings_on(x: Real, rate: float, onset: float) -> bool:
    at = int(onset + 0.004 * rate)
    stretch = x[at : at + int(0.25 * rate)]
    if len(stretch) < 0.03 * rate:
        return False
    return _dies(stretch) and _rings(stretch, rate)


def _dies(stretch: Real) -> bool:
    """Power falls from the first to the last third."""
    third = len(stretch) // 3
    first, last = stretch[:third], stretch[-third:]
    return float(np.var(last)) < 0.8 * float(np.var(first))


def _rings(stretch: Real, rate: float) -> bool:
    """A line stands out of the spectrum between 35 and 2000 Hz."""
    taper = np.hanning(len(stretch) + 2)[1:-1]
    power = np.abs(np.fft.rfft(stretch * taper)) ** 2
    spacing = rate / len(stretch)
    band = power[int(35.0 / spacing) : int(2000.0 / spacing) + 1]
    if len(band) < 12 or band.max() <= 0.0:
        return False
    top = int(np.argmax(band))
    reach = round(250.0 / spacing)
    around = band[max(0, top - reach) : top + reach + 1]
    return float(band[top]) > TONAL * float(np.median(around))


def flaws_of(
    sound: Real, rate: float, usable: int, snr_db: float, double: bool
) -> tuple[Flaw, ...]:
    """What spoils a tap, given its sound from the onset to the next tap or the end.

    ``usable`` counts the samples until the sound is lost in the noise.
    """
    flaws: list[Flaw] = []
    if is_clipped(sound[: int(0.3 * rate)]):
        flaws.append("clipped")
    if double:
        flaws.append("double hit")
    if snr_db < SOFT_DB:
        flaws.append("too soft")
    if usable >= len(sound) and len(sound) < SHORT_S * rate:
        flaws.append("cut short")
    return tuple(flaws)


def is_clipped(sound: Real) -> bool:
    """Whether tops of the wave are cut off flat, at any level."""
    return len(_flat_tops(sound)) > 0


def last_clipped(x: Real, rate: float, onset: float) -> float:
    """Time (s) from the onset to the last sample of a cut-off top; 0 without any."""
    flat = _flat_tops(x[int(onset) : int(onset + 0.3 * rate)])
    return (int(flat[-1]) + 1) / rate if len(flat) else 0.0


def _flat_tops(sound: Real) -> NDArray[np.intp]:
    """Indices of samples on tops that were cut off, high or low."""
    found = [_flat_side(sound), _flat_side(-sound)]
    return np.sort(np.concatenate(found))


def _flat_side(sound: Real) -> NDArray[np.intp]:
    none = np.empty(0, dtype=np.intp)
    top = float(sound.max(initial=0.0))
    if top <= 0.0:
        return none
    flat = sound >= top * (1.0 - 3e-5)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flat, [False]]).astype(np.int8)))
    begins, ends = edges[::2], edges[1::2]
    long = ends - begins >= 3
    if long.sum() >= 2 or np.any(ends - begins >= 12):
        return np.flatnonzero(flat)
    return none
