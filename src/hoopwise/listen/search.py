"""Finds the modes of a tap's window one spectral peak after another.

Each round lists the peaks that stand out of what is left over, gives each a start value
and fits all modes together again, until nothing is left above the noise.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.bands import peaks
from hoopwise.listen.fit import Fit, refine, with_modes
from hoopwise.listen.glide import warped
from hoopwise.listen.noise import Noise
from hoopwise.listen.window import TOP_HZ, Window

Real = NDArray[np.float64]

LOWEST_HZ: Final = 35.0
STANDS_OUT: Final = 16.0
"""A peak must exceed the noise by this power ratio (12 dB): white noise does so once in
about ten thousand windows."""
ROUND_DEPTH: Final = 10.0 ** (-32.0 / 10.0)
"""Peaks further below a round's loudest may be leakage; they wait for the next round."""
APART_HZ: Final = 12.0
SHORT_S: Final = 0.12


@dataclass(frozen=True, eq=False)
class Floor:
    """Noise level (variance per decimated sample) over frequency, and one typical value."""

    noise: Noise
    typical: float
    echo: Noise | None = None
    """What the room or a wrong model adds: a fraction of the sound's own power."""

    def at(self, frequency_hz: Real) -> Real:
        """Level at frequencies (Hz), never zero."""
        level = np.maximum(self.noise.at(frequency_hz), 1e-3 * self.typical)
        return level if self.echo is None else level + self.echo.at(frequency_hz)


@lru_cache(maxsize=16)
def early_taper(count: int) -> Real:
    """Hann-like taper with its top after a quarter: loud early sound, no hard edges."""
    rise = count // 4
    up = np.sin(0.5 * np.pi * (np.arange(rise) + 0.5) / rise) ** 2
    down = np.cos(0.5 * np.pi * (np.arange(count - rise) + 0.5) / (count - rise)) ** 2
    taper = np.concatenate([up, down])
    taper.setflags(write=False)
    return taper


def spectrum(window: Window, residual: Real) -> tuple[Real, float]:
    """Power spectrum of a residual, white noise of variance v giving v, and its spacing."""
    taper = early_taper(len(residual))
    size = 1 << int(np.ceil(np.log2(4 * len(residual))))
    power = _squared(np.fft.rfft(residual * taper, size)) / (taper @ taper)
    return np.asarray(power, dtype=np.float64), window.rate_hz / size


def _squared(z: NDArray[np.complex128]) -> Real:
    """Squared modulus without the square root."""
    return np.asarray(z.real**2 + z.imag**2)


def search(
    window: Window,
    fit: Fit,
    floor: Floor,
    most: int = 24,
    rounds: int = 6,
    hold_glide: bool = False,
) -> Fit:
    """Add modes to ``fit`` until no peak of the residual stands out of the noise.

    When the whole window shows no more, its first ``SHORT_S`` are searched for modes that
    die so fast that the whole window drowns them.
    """
    count = len(window.y)
    short = min(count, round(SHORT_S * window.rate_hz))
    stretch = count
    for _ in range(rounds):
        found = new_peaks(window, fit, floor, stretch)[: max(0, min(8, most - fit.modes))]
        if not found and stretch > short:
            stretch = short
            found = new_peaks(window, fit, floor, stretch)[: max(0, min(8, most - fit.modes))]
        if not found:
            break
        f, a = start_values(window, fit, np.array(found), stretch)
        grown = with_modes(
            window, fit, np.concatenate([fit.f, f]), np.concatenate([fit.a, a]), floor.typical
        )
        fit = refine(window, grown, floor.typical, steps=4, hold_glide=hold_glide)
    return fit


@lru_cache(maxsize=4)
def new_peaks(window: Window, fit: Fit, floor: Floor, count: int) -> tuple[float, ...]:
    """Peaks (Hz) in the first ``count`` samples of the residual, away from known modes.

    Remembered, because a fit that nothing was added to is searched again.
    """
    power, spacing = spectrum(window, fit.residual[:count])
    grid = np.asarray(spacing * np.arange(len(power)), dtype=np.float64)
    least = STANDS_OUT * floor.at(grid)
    inside = (grid >= LOWEST_HZ) & (grid <= TOP_HZ)
    power = np.where(inside, power, 0.0)
    least = np.maximum(least, ROUND_DEPTH * power.max())
    apart = max(APART_HZ, 2.0 * window.rate_hz / count)
    return tuple(f for f in peaks(power, spacing, apart, least) if _is_new(f, fit, apart))


def _is_new(frequency: float, fit: Fit, apart_hz: float) -> bool:
    return fit.modes == 0 or float(np.min(np.abs(fit.f - frequency))) > apart_hz


def start_values(window: Window, fit: Fit, f: Real, count: int) -> tuple[Real, Real]:
    """Frequencies and decay rates of new peaks, from two successive stretches."""
    skip, length = count // 16, count // 4
    stop = skip + 2 * length
    tau = warped(window.t_s[:stop], fit.g, fit.b)
    turned = fit.residual[:stop] * np.exp(-2j * np.pi * np.multiply.outer(f, tau))
    taper = np.hanning(length + 2)[1:-1]
    early = turned[:, skip : skip + length] @ taper
    late = turned[:, skip + length :] @ taper
    lag = length / window.rate_hz
    ratio = late / np.where(early == 0.0, 1e-300, early)
    a = np.clip(-np.log(np.abs(ratio) + 1e-12) / lag, 3.0, 80.0)
    shift = np.clip(np.angle(ratio) / (2.0 * np.pi * lag), -3.0, 3.0)
    return f + shift, a
