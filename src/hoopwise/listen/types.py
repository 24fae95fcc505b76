"""What listening finds: taps, modes, notes, and the joint fit of many taps.

All frequencies are Hz, times s, amplitudes in units of the samples (full scale 1).
A mode of a tap is  A exp(-a (t - t0)) cos(theta(t) + phase)  with
theta = 2 pi f ((t - t0) + g (1 - exp(-b (t - t0))) / b),  a = ln(1000) / t60,
t0 the onset; ``frequency_hz`` is the settled f, once the glide g has died away.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Flaw = Literal["clipped", "double hit", "too soft", "cut short", "too reverberant"]


@dataclass(frozen=True)
class Tap:
    """One strike found in a recording."""

    onset_s: float
    end_s: float
    """Where its usable sound ends: next onset, end of file, or lost in the noise."""
    strength_db: float
    """Peak level, dB relative to full scale."""
    snr_db: float
    """Peak over the noise before it."""
    flaws: tuple[Flaw, ...] = ()

    @property
    def quality(self) -> str:
        """``good``, or the flaws in words."""
        return ", ".join(self.flaws) if self.flaws else "good"


@dataclass(frozen=True)
class Mode:
    """One damped mode of a tap; amplitude is the peak at the onset."""

    frequency_hz: float
    frequency_sd_hz: float
    t60_s: float
    t60_sd_s: float
    amplitude: float
    amplitude_sd: float
    phase_rad: float
    """Phase of the cosine at the onset."""
    pair: int | None = None
    """Modes of one split pair share a number; None for a mode alone."""
    slow_t60_s: float | None = None
    """Second ring time of a two-stage decay; None for a simple decay."""


@dataclass(frozen=True)
class Note:
    """The settled note of a hit: its lowest strong mode at zero amplitude."""

    frequency_hz: float
    sd_hz: float
    t60_s: float
    glide_cents: float
    """How far above the settled note the hit starts."""
    rival_hz: float | None = None
    """Another mode within 6 dB that an ear might take for the note."""


@dataclass(frozen=True)
class JointModes:
    """Shared poles of several taps of one drum, and each tap's complex amplitudes.

    For T taps and K modes. A tap's mode is Re[amplitude exp(i theta - a t)] with t
    counted from that tap's onset, theta and a as in the module's head; the glide g is
    per tap, its rate b shared.
    """

    frequency_hz: NDArray[np.float64]
    """(K,), growing."""
    frequency_sd_hz: NDArray[np.float64]
    t60_s: NDArray[np.float64]
    t60_sd_s: NDArray[np.float64]
    amplitude: NDArray[np.complex128]
    """(T, K), referred to each tap's own onset."""
    amplitude_cov: NDArray[np.complex128]
    """(T, K, K) covariance of each tap's amplitudes given the poles: E[e e^H]."""
    glide: NDArray[np.float64]
    """(T,) start above the settled frequency, as a fraction."""
    glide_rate: float
    """b, 1/s."""
    onset_s: NDArray[np.float64]
    """(T,) onset of each tap in its own samples."""
    residual_ratio: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    """(T,) residual rms over noise rms in the fitted bands; about 1 for a good fit."""
    left_over: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    """(T,) share of each tap's early sound that the modes do not explain, rms over rms."""
    pole_cov: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 0)))
    """(2K, 2K) covariance of the frequencies (Hz), then of ln t60."""
    amplitude_by_pole: NDArray[np.complex128] = field(
        default_factory=lambda: np.empty((0, 0, 0), dtype=complex)
    )
    """(T, K, 2K) change of each amplitude with each frequency (1/Hz) and each ln t60; with
    ``pole_cov`` the error that all taps have in common, which ``amplitude_cov`` leaves out."""
    room: float = 0.0
    """Reverberant share that was reckoned with, an amplitude ratio."""
