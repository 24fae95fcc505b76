"""Loudness of short sounds, so that two previews are compared at the same loudness.

Level is A-weighted (IEC 61672-1, closed form) energy over the first 0.4 s from the onset:
about as long as the ear adds up a drum's sound (an estimate, no source).
"""

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.limits import RATE_RANGE_HZ, check_number

Floats = NDArray[np.float64]

_SPAN_S = 0.4
SAFE_PEAK = 0.5
"""Largest sample of a preview: half of full scale leaves room and spares ears."""


def a_weight(frequency_hz: Floats) -> Floats:
    """Gain of the A weighting, 1 at 1 kHz (IEC 61672-1:2013, equation E.6)."""
    square = frequency_hz**2
    low, high = 20.598997**2, 12194.217**2
    middle = np.sqrt((square + 107.65265**2) * (square + 737.86223**2))
    gain: Floats = high * square**2 / ((square + low) * middle * (square + high))
    return gain * 10 ** (2.0 / 20)


def loudness_db(samples: Floats, rate_hz: float) -> float:
    """A-weighted level of a sound's first 0.4 s, dB relative to full scale; -inf if silent.

    Raises
    ------
    RangeError
        The rate is none of sound.
    """
    check_number("a sample rate", rate_hz, RATE_RANGE_HZ, "Hz")
    loud = np.flatnonzero(np.abs(samples) > 1e-3 * np.max(np.abs(samples), initial=0.0))
    if loud.size == 0:
        return -np.inf
    span = samples[loud[0] : loud[0] + round(_SPAN_S * rate_hz)]
    spectrum = np.fft.rfft(span, n=2 * span.size)
    bins = np.arange(spectrum.size, dtype=np.float64) * (rate_hz / (2 * span.size))
    weight = a_weight(bins)
    energy = np.sum(np.abs(spectrum * weight) ** 2) / span.size / (_SPAN_S * rate_hz)
    return float(10 * np.log10(energy)) if energy > 0 else -np.inf


def match_loudness(sounds: list[Floats], rate_hz: float) -> list[Floats]:
    """The same sounds, equally loud, the highest peak of all at half of full scale.

    Parameters
    ----------
    sounds
        Arrays of samples.
    rate_hz
        Their common sample rate.

    Returns
    -------
    list of arrays; a silent sound stays silent.

    Raises
    ------
    RangeError
        The rate is none of sound.
    """
    levels = [loudness_db(sound, rate_hz) for sound in sounds]
    even = [
        sound * 10 ** (-level / 20) if np.isfinite(level) else np.zeros_like(sound)
        for sound, level in zip(sounds, levels, strict=True)
    ]
    peak = max((float(np.max(np.abs(sound), initial=0.0)) for sound in even), default=0.0)
    return [sound * (SAFE_PEAK / peak) for sound in even] if peak > 0 else even
