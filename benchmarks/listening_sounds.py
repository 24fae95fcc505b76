"""Sounds without a drum in them, and rooms to put a drum into: own synthesis, no samples."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve, lfilter

Real = NDArray[np.float64]


def coloured_noise(rng: np.random.Generator, count: int, slope: float) -> Real:
    """Noise whose power falls as frequency to the power ``slope`` (0 white, 1 pink, 2 brown)."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    bins = np.maximum(np.arange(len(spectrum)), 1.0)
    x = np.fft.irfft(spectrum * bins ** (-slope / 2.0), count)
    return np.asarray(0.1 * x / np.std(x))


def speech_like(rng: np.random.Generator, rate: float, seconds: float) -> Real:
    """Syllables at about 4 Hz: a glottal pulse train or hiss through moving resonances."""
    out = np.zeros(int(rate * seconds))
    at = 0
    while at < len(out):
        length = int(rate * rng.uniform(0.12, 0.3))
        t = np.arange(length) / rate
        pitch = rng.uniform(90.0, 220.0) * (1.0 + 0.1 * np.sin(2.0 * np.pi * 3.0 * t))
        cycle = np.cumsum(pitch) / rate
        voiced = np.diff(np.floor(cycle), prepend=0.0)
        source = voiced if rng.random() < 0.7 else 0.1 * rng.standard_normal(length)
        x = source + 0.01 * rng.standard_normal(length)
        for low, high, width in ((300.0, 800.0, 80.0), (900.0, 2200.0, 120.0)):
            x = _resonance(x, rate, rng.uniform(low, high), width)
        swell = np.sin(np.pi * np.arange(length) / length) ** rng.uniform(0.4, 1.5)
        piece = swell * x / (np.max(np.abs(x)) + 1e-12)
        stop = min(len(out), at + length)
        out[at:stop] += rng.uniform(0.1, 0.6) * piece[: stop - at]
        at += int(length * rng.uniform(0.8, 1.6))
    return np.asarray(out + 0.002 * rng.standard_normal(len(out)))


def _resonance(x: Real, rate: float, frequency: float, width: float) -> Real:
    r = np.exp(-np.pi * width / rate)
    turn = 2.0 * r * np.cos(2.0 * np.pi * frequency / rate)
    return np.asarray(lfilter([1.0 - r], [1.0, -turn, r * r], x))


def in_a_room(x: Real, rate: float, direct_db: float, rng: np.random.Generator) -> Real:
    """The sound with reverberation of 0.5 s ring time, ``direct_db`` below the direct sound."""
    t = np.arange(int(0.6 * rate)) / rate
    tail = rng.standard_normal(len(t)) * np.exp(-np.log(1000.0) / 0.5 * t)
    tail[: int(0.004 * rate)] = 0.0
    wet = fftconvolve(x, tail)[: len(x)]
    return np.asarray(x + wet * np.std(x) / np.std(wet) * 10.0 ** (-direct_db / 20.0))
