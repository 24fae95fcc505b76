"""Sounds for the tests of recordings: drum hits, speech, noise, each made from a formula."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

Samples = NDArray[np.float64]
RATE = 48_000

# (frequency Hz, ring time s, amplitude): a small tom, struck at its centre and near a rod.
CENTRE = [(110.0, 1.2, 0.5), (196.0, 0.5, 0.02), (271.0, 0.4, 0.015)]
EDGE = [(110.0, 1.2, 0.05), (196.0, 0.6, 0.4), (271.0, 0.4, 0.1), (343.0, 0.3, 0.08)]


def hit(
    modes: Sequence[tuple[float, float, float]],
    seconds: float = 1.5,
    rate: int = RATE,
    quiet_s: float = 0.5,
    noise: float = 1e-4,
    seed: int = 0,
) -> Samples:
    """Damped modes set going by a 2 ms half-sine push, after some quiet, in white noise."""
    t = np.arange(round(seconds * rate)) / rate
    ring = np.zeros(t.size)
    for f, t60, a in modes:
        ring += a * 10.0 ** (-3.0 * t / t60) * np.sin(2.0 * np.pi * f * t)
    push = np.sin(np.pi * np.arange(1, round(0.002 * rate)) / round(0.002 * rate))
    struck = np.convolve(ring, push / push.sum())[: t.size]
    silent = np.zeros(round(quiet_s * rate))
    whole = np.concatenate([silent, struck])
    return np.asarray(whole + noise * np.random.default_rng(seed).normal(size=whole.size))


def speech(seconds: float = 3.0, rate: int = RATE, seed: int = 0) -> Samples:
    """A voice: pulses of a wandering pitch through three formants, in syllables and hisses."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * rate)) / rate
    pitch = 115.0 + 20.0 * np.sin(2.0 * np.pi * 0.7 * t) + 8.0 * np.sin(2.0 * np.pi * 2.3 * t)
    phase = np.cumsum(pitch) / rate
    pulses = np.diff(np.floor(phase), prepend=0.0)
    voice = np.zeros(t.size)
    for formant, width, gain in [(550.0, 80.0, 1.0), (1400.0, 110.0, 0.5), (2500.0, 160.0, 0.3)]:
        n = np.arange(round(0.03 * rate)) / rate
        ring = np.exp(-np.pi * width * n) * np.sin(2.0 * np.pi * formant * n)
        voice += gain * np.convolve(pulses, ring)[: t.size]
    syllable = np.clip(np.sin(2.0 * np.pi * 3.6 * t + np.sin(2.0 * np.pi * 0.9 * t)), 0.0, 1.0)
    hiss = np.clip(np.sin(2.0 * np.pi * 1.1 * t) - 0.8, 0.0, 1.0) * rng.normal(size=t.size)
    return np.asarray(0.3 * voice * syllable + 0.3 * hiss + 1e-4 * rng.normal(size=t.size))


def noise(seconds: float = 3.0, rate: int = RATE, seed: int = 0) -> Samples:
    """White noise that goes on and off like a busy room."""
    rng = np.random.default_rng(seed)
    gate = np.repeat(rng.uniform(0.2, 1.0, round(10 * seconds)), rate // 10)
    return np.asarray(0.1 * gate * rng.normal(size=gate.size))


def write(path: Path, samples: Samples, rate: int = RATE) -> Path:
    """Write a 24-bit file and give its path back."""
    soundfile.write(path, samples, rate, subtype="PCM_24")
    return path
