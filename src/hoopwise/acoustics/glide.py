"""Why a hard hit starts sharp: the film stretches, f = f0 + k A^2, for one head.

Conventions: A is the mode's greatest displacement anywhere on the head (m), frequencies
Hz, tensions N/m. A mode of amplitude A moves in the potential  omega^2 q^2 / 2 + U q^4,
so that its pitch rises by 3/2 U A_q^2 / omega^2 of itself (Duffing's oscillator, first
order; A_q in modal coordinates). Berger's estimate takes the extra tension as the same
everywhere,

    N_peak = E h / (1 - nu^2) / (2 pi a^2) int |grad w|^2 dA,   df / f = 3/8 N_peak / N0,

which is 22 % high for (0,1) and low for modes with inner circles; `pitch_glide` lets the
film settle in its plane instead (`stretch_energy`), on a rim that gives as hoop, rods and
collar do. `mutual_lift` tells how far a mode that swings lifts another: by half to all of
what it lifts itself (two thirds by Berger). Left out: the other head, in-plane inertia.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import jv

from hoopwise.acoustics.head_basis import radial_tables, wave_tables
from hoopwise.acoustics.head_model import HeadModel
from hoopwise.acoustics.head_modes import HeadModes
from hoopwise.acoustics.limits import check_number
from hoopwise.acoustics.membrane import bessel_zero, modal_mass_kg
from hoopwise.acoustics.stretch import RimMap
from hoopwise.acoustics.stretch_energy import StretchEnergy, stretch_energy
from hoopwise.drum import Film
from hoopwise.errors import RangeError

Array = NDArray[np.float64]
Which = NDArray[np.intp]
Rim = Literal["elastic", "fixed"]

LARGEST_RISE: Final = 0.25
"""Rise of a frequency, as a fraction, up to which first order holds."""
_FIXED = 1e6
"""Rim stiffness, against E h / a, that passes for a fixed rim."""


@dataclass(frozen=True, eq=False)
class PitchGlide:
    """How each of the lowest K modes rises with its own amplitude."""

    frequency_hz: Array
    """(K,) at zero amplitude."""
    rise_hz_m2: Array
    """(K,) k of f = f0 + k A^2, Hz per m², A the greatest displacement."""

    def at(self, mode: int, amplitude_m: float) -> float:
        """Frequency (Hz) of a mode (counted from 0) at an amplitude (m).

        Raises
        ------
        RangeError
            The rise would be beyond a quarter of the frequency.
        """
        rest, rise = float(self.frequency_hz[mode]), float(self.rise_hz_m2[mode])
        if not rise * amplitude_m**2 <= LARGEST_RISE * rest:
            most = (LARGEST_RISE * rest / rise) ** 0.5
            raise RangeError(
                f"a swing of {amplitude_m * 1e3:.1f} mm would raise {rest:.0f} Hz by more than "
                f"{LARGEST_RISE:.0%}; the model holds up to {most * 1e3:.1f} mm."
            )
        return rest + rise * amplitude_m**2


def pitch_glide(
    model: HeadModel, modes: HeadModes, count: int = 12, rim: Rim = "elastic"
) -> PitchGlide:
    """Rise of the lowest modes with the square of their amplitude, any Ritz shape.

    Parameters
    ----------
    model, modes
        The head and its modes as solved; an air load in them is respected.
    count
        How many modes, K.
    rim
        "elastic": held by collar, hoop and rods; "fixed": the film's rim cannot move.

    Raises
    ------
    RangeError
        No mode is asked for.
    """
    check_number("a count of modes", count, (1, np.inf))
    energy = rim_energy(model.rim, 2 * max(m for m, _, _ in model.basis), rim)
    bent = _bent(model, modes, energy, np.arange(min(count, modes.shapes.shape[1])))
    quartic = np.array([energy.of(bent.strain(i, i)) for i in range(len(bent.peak))])
    frequency = modes.frequency_hz[: len(bent.peak)]
    rise = 1.5 * quartic / (2.0 * np.pi * frequency) ** 2 / bent.peak**2
    return PitchGlide(frequency_hz=frequency, rise_hz_m2=rise * frequency)


def mutual_lift(model: HeadModel, modes: HeadModes, which: Sequence[int]) -> Array:
    """Rise of mode i, as a fraction, over the rise that mode j's swing gives j itself.

    Modes i and j share the energy  q_i^2 q_j^2 [F(e_ii, e_jj) + 2 F(e_ij, e_ij)], e_ij the
    strains of their slopes and F the bilinear form of the stretch's energy F(e, e) / 2; a
    lone mode has q^4 F(e_jj, e_jj) / 2. Averaged over mode j's swing (modes of unlike pitch)
    the first stiffens mode i by half of the bracket, the second mode j by 3/4 F(e_jj, e_jj).

    Parameters
    ----------
    which
        K modes, counted from 0.

    Returns
    -------
    (K, K), ones on its diagonal.

    Raises
    ------
    RangeError
        There is no such mode.
    """
    for index in which:
        check_number("a mode's index", index, (0, len(modes.frequency_hz) - 1))
    energy = rim_energy(model.rim, 2 * max(m for m, _, _ in model.basis), "elastic")
    bent = _bent(model, modes, energy, np.asarray(which))
    own = [bent.strain(i, i) for i in range(len(which))]
    alone = np.array([1.5 * energy.of(strain) for strain in own])
    square = modes.frequency_hz[np.asarray(which)] ** 2
    lift = np.eye(len(which))
    for i, j in itertools.permutations(range(len(which)), 2):
        both = 0.5 * (energy.of(own[i] + own[j]) - energy.of(own[i] - own[j]))
        tied = 0.5 * both + 2.0 * energy.of(bent.strain(i, j))
        lift[i, j] = tied / square[i] * square[j] / alone[j]
    return lift


@dataclass(frozen=True, eq=False)
class _Bent:
    """Slopes (K, Q, T) of K modes at unit modal coordinate, and greatest swings (K,) in m."""

    along: Array
    across: Array
    peak: Array

    def strain(self, i: int, j: int) -> Array:
        """Strains (3, Q, T) rr, tt, shear that modes i and j make together."""
        shear = 0.5 * (self.along[i] * self.across[j] + self.along[j] * self.across[i])
        return np.stack(
            [0.5 * self.along[i] * self.along[j], 0.5 * self.across[i] * self.across[j], shear]
        )


def _bent(model: HeadModel, modes: HeadModes, energy: StretchEnergy, which: Which) -> _Bent:
    around = 4 * len(energy.form) + 2
    theta = 2.0 * np.pi * np.arange(around) / around
    level, slope = radial_tables(model.basis, energy.s)
    wave, turn = wave_tables(model.basis, theta)
    shapes = modes.shapes[:, which].T / model.radius_m
    peak = np.abs((shapes[:, None] * level.T) @ wave).max(axis=(1, 2)) * model.radius_m
    return _Bent(
        along=(shapes[:, None] * slope.T) @ wave,
        across=(shapes[:, None] * (level / energy.s).T) @ turn,
        peak=peak,
    )


def rim_energy(rim: RimMap, highest: int, hold: Rim) -> StretchEnergy:
    """The film's energy of stretch with its rim held as the hoop does, or fixed."""
    film, count = rim.film, highest + 1
    stretch = film.stretch_stiffness_n_m
    if hold == "fixed":
        outward = along = np.full(count, _FIXED * stretch / rim.radius_m)
    else:
        hoop = np.resize(rim.hoop_hold, count)
        outward = 1.0 / (rim.collar_m / stretch + 1.0 / hoop)
        shear = stretch / (2.0 * (1.0 + film.poisson)) / rim.collar_m
        along = np.full(count, (1.0 - rim.slide) * shear)
    return stretch_energy(stretch, film.poisson, rim.radius_m, outward, along)


def berger_tension_n_m(m: int, n: int, film: Film, radius_m: float, peak_m: float) -> float:
    """Extra tension (N/m) of an even head's mode (m, n) at its greatest swing, Berger.

    Parameters
    ----------
    m, n
        Nodal diameters and circles.
    film, radius_m
        Film and radius (m), rim fixed in its plane.
    peak_m
        Greatest displacement on the head (m).

    Raises
    ------
    RangeError
        There is no such mode, or a length is not a number above 0.

    Examples
    --------
    >>> film = Film(thickness_m=190.5e-6)
    >>> round(berger_tension_n_m(0, 1, film, 0.41, 0.006) / 1885.0, 3)
    0.099
    """
    check_number("a radius", radius_m, (1e-3, 10.0), "m")
    check_number("a greatest displacement", peak_m, (0.0, radius_m), "m")
    zero = bessel_zero(m, n)
    top = float(np.abs(jv(m, np.linspace(0.0, zero, 400))).max())
    square = (zero / radius_m) ** 2 * modal_mass_kg(m, n, radius_m, 1.0) * (peak_m / top) ** 2
    stiff = film.stretch_stiffness_n_m / (1.0 - film.poisson**2)
    return float(stiff * square / (2.0 * np.pi * radius_m**2))


def berger_rise(
    m: int, n: int, film: Film, radius_m: float, tension_n_m: float, peak_m: float
) -> float:
    """Rise of an even head's mode (m, n) at amplitude ``peak_m``, as a fraction: Berger.

    Raises
    ------
    RangeError
        The tension is not positive, or the rise is beyond a quarter.
    """
    if not tension_n_m > 0.0:
        raise RangeError(f"a head needs a tension above 0, not {tension_n_m!r} N/m.")
    rise = 0.375 * berger_tension_n_m(m, n, film, radius_m, peak_m) / tension_n_m
    if not rise <= LARGEST_RISE:
        raise RangeError(
            f"a swing of {peak_m * 1e3:.1f} mm raises the pitch by {rise:.0%}; the estimate "
            f"holds up to {LARGEST_RISE:.0%}: strike softer or tighten the head."
        )
    return rise
