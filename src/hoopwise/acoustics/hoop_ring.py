"""The hoop as an elastic ring pulled down by N rods: how a rod's pull spreads around.

Conventions: z is the hoop's way down (m), cos k theta its harmonics, stiffnesses per
length of the hoop (N/m per m). The ring bends and twists, does not stretch, and turns
about its own axis as it likes:

    K_k = (E I / a^4) k^2 (k^2 - 1)^2 / (k^2 + E I / G J)

which comes from minimising the ring's energy over its twist (docs/acoustics-film.md);
k = 0 (moving) and k = 1 (tilting) cost the ring nothing. A rod is a spring between the
pull at its thread and the hoop.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Hoop

Array = NDArray[np.float64]

ROD_COMPLIANCE_M_N: Final = 5e-8
"""Give of one rod with its lug (m/N); FROM MEMORY, steel of 5 mm and 50 mm is 1.3e-8."""


def ring_stiffness(hoop: Hoop, radius_m: float, highest: int) -> Array:
    """Stiffness per length of the hoop's harmonics 0..highest (N/m²), (highest + 1,)."""
    k2 = np.arange(highest + 1, dtype=float) ** 2
    ratio = hoop.bending_n_m2 / hoop.torsion_n_m2
    return hoop.bending_n_m2 / radius_m**4 * k2 * (k2 - 1.0) ** 2 / (k2 + ratio)


@dataclass(frozen=True, eq=False)
class HoopSpread:
    """How far harmonic k of the hoop goes when the rods move as that harmonic does.

    ``gain`` (K+1,), dimensionless: rods pulled by cos q theta_i (m) move the hoop by
    gain[k] cos k theta for every k = q + any multiple of N, negative k included.
    """

    gain: Array
    rods: int


def hoop_spread(line_stiffness: Array, rods: int, radius_m: float, compliance: float) -> HoopSpread:
    """Solve N equal rods, the ring and the film together.

    A rod force pattern of harmonic q drives every k in q + lN alike, so with c' = 2 pi a
    compliance / N and S_k the line stiffness of ring and film,

        gain_k = (1 / S_k) / (c' + sum over the class of 1 / S).

    Parameters
    ----------
    line_stiffness
        (K+1,) S_k in N/m²; 0 is allowed at one harmonic of a class (a free tilt).
    rods, radius_m, compliance
        Number of rods N, hoop radius (m), give of one rod (m/N).
    """
    highest = len(line_stiffness) - 1
    gain = np.zeros(highest + 1)
    per_line = 2.0 * np.pi * radius_m * compliance / rods
    signed = np.arange(-highest, highest + 1)
    for q in range(rods // 2 + 1):
        members = np.abs(signed[(signed - q) % rods == 0])
        stiff = line_stiffness[members]
        softest = stiff.min()
        # Everything relative to the softest member, which may have no stiffness at all.
        ease = np.where(stiff == softest, 1.0, softest / np.where(stiff == 0.0, 1.0, stiff))
        gain[members] = ease / (per_line * softest + ease.sum())
    return HoopSpread(gain=gain, rods=rods)
