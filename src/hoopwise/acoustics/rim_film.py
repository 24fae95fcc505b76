"""One harmonic of a round film pulled at its rim: plane stress by Airy's function.

Conventions. Polar places r, theta on the flat film of radius a; stress resultants N_rr,
N_tt, N_rt in N/m; displacements u_r outward, u_t towards growing theta, in m. For a
radial quantity going with cos k theta, the shear and u_t go with sin k theta. With
s = r / a and Airy's function (A s^k + B s^(k+2)) a^2 cos k theta (A, B in N/m):

    N_rr = [-k(k-1) A s^(k-2) - (k-2)(k+1) B s^k] cos k theta
    N_tt = [ k(k-1) A s^(k-2) + (k+2)(k+1) B s^k] cos k theta
    N_rt = [ k(k-1) A s^(k-2) + k(k+1)     B s^k] sin k theta
    E h / ((1+nu) a) u_r = [-k A s^(k-1) + (c-k-1) B s^(k+1)] cos k theta
    E h / ((1+nu) a) u_t = [ k A s^(k-1) + (c+k+1) B s^(k+1)] sin k theta,  c = (3-nu)/(1+nu)

(Timoshenko and Goodier, Theory of Elasticity, polar coordinates; plane stress.) The same
lines hold for k = 0 (uniform tension 2B) and k = 1, where A is a rigid shift.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Film

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class FilmHarmonics:
    """The film's answer to a unit radial pull cos k theta at its rim, k = 0..K.

    All arrays are (K+1,), in N/m per metre of pull.
    """

    airy_a: Array
    airy_b: Array

    @property
    def rim_stiffness(self) -> Array:
        """Radial tension at the rim, N_rr(a)."""
        k = np.arange(len(self.airy_a), dtype=float)
        return -k * (k - 1.0) * self.airy_a - (k - 2.0) * (k + 1.0) * self.airy_b


def film_harmonics(
    film: Film, radius_m: float, highest: int, slide: float, collar_m: float
) -> FilmHarmonics:
    """Solve each harmonic's two rim conditions for A and B.

    The collar of length L outside the bearing edge is a spring in series, and it shears:

        u_r(a) + L / (E h) N_rr(a) = pull,    N_rt(a) = -(1 - slide) G h / L  u_t(a).

    Parameters
    ----------
    film, radius_m
        Film and the radius of its bearing edge (m).
    highest
        Highest harmonic K.
    slide
        1: the film slides freely along the edge; 0: the collar holds it. In [0, 1].
    collar_m
        Length of film between bearing edge and flesh hoop (m), above 0.
    """
    k = np.arange(highest + 1, dtype=float)
    nu = film.poisson
    c = (3.0 - nu) / (1.0 + nu)
    soft = radius_m * (1.0 + nu) / film.stretch_stiffness_n_m
    series = collar_m / film.stretch_stiffness_n_m
    grip = (1.0 - slide) * radius_m / (2.0 * collar_m)  # (1-s) G h / L times `soft`
    lines = np.empty((highest + 1, 2, 2))
    lines[:, 0, 0] = -soft * k - series * k * (k - 1.0)
    lines[:, 0, 1] = soft * (c - k - 1.0) - series * (k - 2.0) * (k + 1.0)
    lines[:, 1, 0] = k * (k - 1.0) + grip * k
    lines[:, 1, 1] = k * (k + 1.0) + grip * (c + k + 1.0)
    lines[0, 1] = (1.0, 0.0)  # k = 0 has no shear; A does nothing there
    pull = np.zeros((highest + 1, 2, 1))
    pull[:, 0, 0] = 1.0
    solved = np.asarray(np.linalg.solve(lines, pull)[:, :, 0], dtype=np.float64)
    return FilmHarmonics(airy_a=solved[:, 0], airy_b=solved[:, 1])


def radial_profiles(film: FilmHarmonics, share: Array, highest: int) -> tuple[Array, Array, Array]:
    """N_rr, N_rt, N_tt of each harmonic at places s = r / a, per metre of rim pull.

    Parameters
    ----------
    share
        (P,) places s in [0, 1].
    highest
        Harmonics 0..highest are given.

    Returns
    -------
    (N_rr, N_rt, N_tt)
        Three arrays (highest + 1, P), N/m per m; the factor of cos, sin, cos k theta.
    """
    k = np.arange(highest + 1, dtype=float)[:, None]
    inner = k * (k - 1.0) * film.airy_a[: highest + 1, None] * share ** np.maximum(k - 2.0, 0.0)
    outer = film.airy_b[: highest + 1, None] * share**k
    return (
        -inner - (k - 2.0) * (k + 1.0) * outer,
        inner + k * (k + 1.0) * outer,
        inner + (k + 2.0) * (k + 1.0) * outer,
    )
