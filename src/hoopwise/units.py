"""Notes, cents, decibels, turns and lengths: the units a drummer reads.

Inside hoopwise everything is SI; this module is the only place that converts.
"""

import math
from typing import Final

METRES_PER_INCH: Final = 0.0254
METRES_PER_MIL: Final = 25.4e-6
DECAY_60_DB: Final = math.log(1000.0)
"""Decay rate times the 60 dB ring time: 6.9078, dimensionless."""

A4_HZ: Final = 440.0
_NAMES: Final = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def cents(frequency_hz: float, reference_hz: float) -> float:
    """Interval from the reference up to the frequency, in cents."""
    return 1200.0 * math.log2(frequency_hz / reference_hz)


def cents_sd(frequency_hz: float, sd_hz: float) -> float:
    """Standard deviation of a frequency (Hz), expressed in cents."""
    return 1200.0 / math.log(2.0) * sd_hz / frequency_hz


def note_name(frequency_hz: float, a4_hz: float = A4_HZ) -> tuple[str, float]:
    """Nearest equal-tempered note and how many cents the frequency lies above it.

    Returns
    -------
    (name, cents)
        Name with octave (``"E3"``; C4 is middle C), cents in [-50, 50].

    Raises
    ------
    ValueError
        The frequency is not a positive number.

    Examples
    --------
    >>> note_name(440.0)
    ('A4', 0.0)
    """
    if not frequency_hz > 0.0:
        raise ValueError(f"a note needs a positive frequency, not {frequency_hz!r} Hz")
    exact = 69.0 + 12.0 * math.log2(frequency_hz / a4_hz)
    nearest = round(exact)
    return f"{_NAMES[nearest % 12]}{nearest // 12 - 1}", 100.0 * (exact - nearest)


def note_frequency(name: str, a4_hz: float = A4_HZ) -> float:
    """Frequency (Hz) of an equal-tempered note such as ``E3``, ``F#2`` or ``Bb1``.

    Raises
    ------
    ValueError
        The name is not a note.
    """
    text = name.strip()
    letter, rest = text[:1].upper(), text[1:]
    shift = 0
    if rest[:1] in ("#", "b"):
        shift = 1 if rest[0] == "#" else -1
        rest = rest[1:]
    if letter not in _NAMES or not rest.lstrip("-").isdigit():
        raise ValueError(f"{name!r} is not a note; write it as E3, F#2 or Bb1")
    midi = 12 * (int(rest) + 1) + _NAMES.index(letter) + shift
    return float(a4_hz * 2.0 ** ((midi - 69) / 12.0))


def spoken_note(frequency_hz: float) -> str:
    """Note and cents as people write them: ``E3 −18``."""
    name, off = note_name(frequency_hz)
    sign = "−" if round(off) < 0 else "+"
    return f"{name} {sign}{abs(round(off))}"


def decibels(ratio: float) -> float:
    """Amplitude ratio in dB; minus infinity for zero."""
    return 20.0 * math.log10(ratio) if ratio > 0.0 else -math.inf


def decay_rate(t60_s: float) -> float:
    """Decay rate (1/s) of a mode that falls by 60 dB in ``t60_s``."""
    return DECAY_60_DB / t60_s
