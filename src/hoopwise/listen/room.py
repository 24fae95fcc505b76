"""How much of a tap is the room: the reverberant share of the sound between its modes.

A room answers every mode with a dense, ragged copy of it, as noise that is as narrow as the
mode and as random as the room. Its power lies around each mode like a resonance curve,
1 / (f^2 + w^2), wider than any tapered mode; between the modes nothing else looks so. What
is left over there, against that curve, is the share. Wires and a hard hit leave over much
more, and most of it far from the modes: they are told apart by that.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.fit import Fit
from hoopwise.listen.noise import Noise
from hoopwise.listen.search import LOWEST_HZ, Floor, spectrum
from hoopwise.listen.window import TOP_HZ, Window

Real = NDArray[np.float64]

HALF_WIDTH_HZ: Final = 2.5
"""Of a mode that rings half a second, and of the window."""
BESIDE_HZ: Final = 10.0
"""Nearer to a mode a split pair or a wrong glide leaves over something, too."""
NEAR_HZ: Final = 45.0
FAR_HZ: Final = 150.0
STRONG: Final = 0.1
"""Modes within 20 dB of the loudest have a room's answer to be seen."""
MEAN_OVER_MEDIAN: Final = 1.44
"""Of the power of noise in one bin (exponentially distributed)."""
SURE_NOISE: Final = 1.5
"""What exceeds the noise by less than this factor may be noise."""
SPOILT: Final = 10.0 ** (-21.0 / 20.0)
"""Above this share modes move by more than half a cent and ghosts appear."""
RAGGED: Final = 2.0
"""A room's answer is uneven: a mode must stand out of twice its usual amplitude."""
NOT_A_ROOM: Final = 10.0 ** (-3.0 / 20.0)
"""So much left over far from the modes is a sound of its own: wires, or unheard modes."""
BORNE_OUT: Final = 0.12
"""With less than this far away, what is near is a mode that was modelled wrongly."""
TAP_GLIDE: Final = 0.04
"""A larger glide is that of a hit, whose model leaves too much over to judge a room by."""


@dataclass(frozen=True)
class Room:
    """Reverberant share of a tap (an amplitude ratio), near its modes and far from them."""

    near: float
    far: float
    borne_out: float
    """Power left over far from the modes against what the share near them foretells."""


def room_of(window: Window, fit: Fit, floor: Floor) -> Room:
    """Compare what a fit leaves over between its modes with what a room would leave there."""
    if fit.modes == 0:
        return Room(0.0, 0.0, 0.0)
    left, spacing = spectrum(window, fit.residual)
    grid = np.asarray(spacing * np.arange(len(left)), dtype=np.float64)
    noise, answer = floor.noise.at(grid), _answer(window)
    ratio = (left - MEAN_OVER_MEDIAN * SURE_NOISE * noise) / answer
    loud = np.abs(fit.c) > STRONG * float(np.abs(fit.c).max())
    between = (grid > LOWEST_HZ) & (grid < TOP_HZ) & (_away(grid, fit.f) > BESIDE_HZ)
    away = _away(grid, fit.f[loud])
    far = between & (away > FAR_HZ)
    near = _share(ratio[between & (away < NEAR_HZ)])
    foretold = left[far] / (noise[far] + near**2 * answer[far] + 1e-300)
    return Room(near, _share(ratio[far]), float(np.median(foretold)) if far.any() else 1.0)


def with_room(window: Window, floor: Floor, share: float) -> Floor:
    """The floor raised by a room's answer of that share."""
    level = (RAGGED * share) ** 2 * _answer(window)
    power, spacing = spectrum(window, window.y)
    grid = np.asarray(spacing * np.arange(len(level)), dtype=np.float64)
    # typical is what lies under the modes, where all that is decided by it happens
    typical = floor.typical + float(level @ power / np.sum(power))
    return Floor(floor.noise, typical, Noise(grid, level, known=True))


def is_room(room: Room, glide: float) -> bool:
    """Whether a room is heard; not said of hits, nor of what has wires in it."""
    told = room.near > 0.0 and room.far < NOT_A_ROOM and room.borne_out > BORNE_OUT
    return told and glide < TAP_GLIDE


def _answer(window: Window) -> Real:
    """Spectrum of the window smeared by the resonance curve: a room as loud as the sound."""
    power, spacing = spectrum(window, window.y)
    lag_s = np.arange(len(power)) / (2.0 * spacing * (len(power) - 1))
    # smearing by a resonance curve is damping of the autocorrelation
    damped = np.fft.irfft(power) * np.exp(-2.0 * np.pi * HALF_WIDTH_HZ * _folded(lag_s))
    return np.maximum(np.fft.rfft(damped).real, 1e-12 * float(power.max()) + 1e-300)


def _folded(lag_s: Real) -> Real:
    """Lags of a circular autocorrelation from those of its first half."""
    return np.concatenate([lag_s, lag_s[-2:0:-1]])


def _away(grid: Real, f: Real) -> Real:
    """Distance of each frequency of a growing grid to the nearest of ``f``."""
    known = np.concatenate([[-np.inf], np.sort(f), [np.inf]])
    above = np.searchsorted(known, grid)
    return np.asarray(np.minimum(known[above] - grid, grid - known[above - 1]))


def _share(ratio: Real) -> float:
    if len(ratio) < 20:
        return 0.0
    return float(np.sqrt(max(MEAN_OVER_MEDIAN * float(np.median(ratio)), 0.0)))
