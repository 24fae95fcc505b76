"""What one head's modes need, integrated once: basis, masses, stiffness per rod.

Conventions: the film's way out of its plane is sum over b of q_b f_b(r, theta) with the
basis of `head_basis`; masses kg, stiffness N/m. The stiffness is linear in the rod
pulls, so all harmonics of the tension field are integrated once per head. Bending enters
as D (j / a)^4 per area on the diagonal, which is a hinged rim: 0.02 % of (0,1) and
0.24 % of (4,1) in frequency for a 10 mil film of 14 inches at 3 kN/m.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.acoustics.head_basis import (
    Name,
    basis_names,
    coupling,
    masses_of,
    radial_points,
    zeros_of,
)
from hoopwise.acoustics.rim_film import radial_profiles
from hoopwise.acoustics.stretch import RimMap, rim_map
from hoopwise.drum import Drum, Film, Side
from hoopwise.errors import RangeError

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class HeadModel:
    """One head's basis, masses and stiffnesses, B functions and N rods."""

    basis: tuple[Name, ...]
    """(m, n, "cos" or "sin") of each function."""
    zeros: Array
    """(B,) Bessel zero of each function."""
    mass: Array
    """(B,) modal masses of the film alone (kg)."""
    stiffness_even: Array
    """(B, B) stiffness per 1 N/m of uniform tension; diagonal."""
    bending: Array
    """(B,) bending stiffness (N/m)."""
    stiffness_pull: Array
    """(N, B, B) stiffness per metre of pull of each rod (N/m per m)."""
    stiffness_wave: Array
    """(K+1, 2, B, B) stiffness per N/m of radial tension cos k theta, sin k theta at the rim.

    Nought for k = 0 and 1, whose shapes `stiffness_even` and the rods show.
    """
    rim: RimMap

    @property
    def radius_m(self) -> float:
        """Radius of the bearing edge (m)."""
        return self.rim.radius_m


def head_model(
    drum: Drum,
    side: Side,
    slide: float = 0.5,
    collar_m: float = 0.012,
    diameters: int = 8,
    circles: int = 4,
) -> HeadModel:
    """Integrate everything that the modes of a head need, once; kept for the next call.

    Parameters
    ----------
    drum, side, slide, collar_m
        As for `stretch.rim_map`.
    diameters, circles
        The basis: m from 0 to ``diameters``, n from 1 to ``circles``.

    Raises
    ------
    RangeError
        The drum, slide, collar or basis lies outside the model.
    DrumError
        The drum has no head on that side.
    """
    if not (1 <= diameters <= 20 and 1 <= circles <= 12):
        raise RangeError(
            f"a basis of {diameters} diameters and {circles} circles; the model holds for "
            "1 to 20 diameters and 1 to 12 circles."
        )
    return _head_model(drum, side, slide, collar_m, diameters, circles)


@lru_cache(maxsize=32)
def _head_model(
    drum: Drum, side: Side, slide: float, collar_m: float, diameters: int, circles: int
) -> HeadModel:
    rim = rim_map(drum, side, slide, collar_m)
    names = basis_names(diameters, circles)
    zeros, sheet = zeros_of(names), rim.film.mass_kg_m2
    mass = masses_of(names, rim.radius_m, sheet)
    s, weight = radial_points(32 + 4 * circles + diameters)
    highest = min(2 * diameters, len(rim.rod_share) - 1)
    profiles = radial_profiles(rim.harmonics, s, highest)
    cosine, sine = coupling(names, profiles, s, weight)
    count = highest + 1
    pull = np.einsum("kn,kab->nab", rim.cosine[:count], cosine)
    pull += np.einsum("kn,kab->nab", rim.sine[:count], sine)
    wave = np.stack([cosine, sine], axis=1)
    wave[:2] = 0.0
    wave[2:] /= rim.harmonics.rim_stiffness[2:count, None, None, None]
    model = HeadModel(
        basis=names,
        zeros=zeros,
        mass=mass,
        stiffness_even=np.diag((zeros / rim.radius_m) ** 2 * mass / sheet),
        bending=bending_rigidity_n_m(rim.film) * (zeros / rim.radius_m) ** 4 * mass / sheet,
        stiffness_pull=pull,
        stiffness_wave=wave,
        rim=rim,
    )
    for array in (zeros, mass, model.stiffness_even, model.bending, pull, wave):
        array.flags.writeable = False  # shared by every caller
    return model


def bending_rigidity_n_m(film: Film) -> float:
    """Bending rigidity D of the film (N m); plies slide on each other, each bends alone."""
    ply = film.thickness_m / film.plies
    return film.plies * film.modulus_pa * ply**3 / (12.0 * (1.0 - film.poisson**2))


def stiffness_of(model: HeadModel, rod_pull_m: ArrayLike) -> Array:
    """(B, B) stiffness (N/m) at the (N,) rod pulls (m), bending included."""
    pull = np.asarray(rod_pull_m, dtype=float)
    stiffness = np.tensordot(pull, model.stiffness_pull, axes=1)
    stiffness[np.diag_indices_from(stiffness)] += model.bending
    return stiffness
