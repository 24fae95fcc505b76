"""The air on one head as masses and springs, the other head off or on.

The other head, muted or ringing, is taken as held still. A ringing one is not, but most modes
of two heads lie apart, and each head then keeps nearly still in the other's. It closes the
shell, and the air inside then weighs more on a head that tilts than open air does, for it has
to slosh from side to side: on a shallow snare half as much as the film for (1,1). What squeezes
the air in the shell meets its spring. All that is of one angular order m, over the amplitudes of
J_m(j_mn r/a) cos m theta.

The first sloshing wave of each order lies among the head's own modes and keeps a coordinate
of its own, behind those of the film: a spring that the film compresses, and a mass beyond it.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from hoopwise.acoustics.air import Air, air_mass
from hoopwise.acoustics.cavity import Cavity, cavity
from hoopwise.acoustics.hankel import duct_zeros
from hoopwise.drum import Drum
from hoopwise.infer.types import OtherHead

FloatArray = NDArray[np.float64]

_OF_ITS_OWN = 1.01
"""Waves of the shell up to this many times the frequency of the first keep a coordinate."""
_BELOW_OTHERS = 0.8
"""Share of the next wave's frequency up to which the others act as a mass that grows with it.

Modes near them and beyond lie too high to be read; they keep the mass of this frequency.
"""


def air_on(
    drum: Drum, m: int, count: int, omega: float, other_head: OtherHead
) -> tuple[FloatArray, FloatArray]:
    """Mass (kg) and stiffness (N/m) that the air adds at an angular frequency (rad/s).

    Over ``count`` functions of the film and, with the shell closed and m above 0, one more
    coordinate for the air.
    """
    outside = air_mass(drum.radius_m, m, count, omega, faces=2 if other_head == "off" else 1)
    if other_head == "off":
        return outside, np.zeros((count, count))
    inside = _shell(drum, m, count)
    spring, pushed, square = inside.columns()
    next_wave = float(np.sqrt(inside.square[inside.kept == 0.0].min()))
    at = np.array([min(omega, _BELOW_OTHERS * next_wave)])
    mass = outside + inside.rest_mass(at)[0]
    stiffness = (pushed * spring) @ pushed.T
    if m == 0:  # the even squeeze alone: its far side stands still
        return mass, stiffness
    across = -pushed * spring
    stiffness = np.block([[stiffness, across], [across.T, np.diag(spring)]])
    return block_diag(mass, np.diag(spring / square)), stiffness


def air_wave_hz(drum: Drum, m: int) -> float:
    """Frequency at which the air in a closed shell sloshes by itself, first of its order."""
    lowest = float(duct_zeros(max(m, 1), 1)[0])
    return Air().speed_m_s * lowest / (2 * np.pi * drum.radius_m)


@lru_cache(maxsize=64)
def _shell(drum: Drum, m: int, count: int) -> Cavity:
    """The shell closed by a head that is held still."""
    first = 1.0 if m == 0 else 2 * np.pi * air_wave_hz(drum, m)
    ceiling = _OF_ITS_OWN * first
    return cavity(drum.radius_m, drum.depth_m, m, (("head", count), ("head", 0)), ceiling, Air())
