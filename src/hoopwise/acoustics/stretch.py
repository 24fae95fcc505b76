"""Film stretched over the bearing edge by an elastic hoop on N rods: a linear map.

Conventions: rod pulls are ways down (m) from where the film begins to stretch, one turn
of a rod being ``drum.thread_pitch_m``; rod i stands at theta_i = 2 pi i / N; tensions
are N/m, r from the centre. The film runs over the edge, so a hoop that goes down by z
draws the film outward by z, and the film's radial tension pulls the hoop up by as much
per length (the edge turns the force without loss). Film, ring and rods are solved
together, harmonic by harmonic; all is linear in the pulls.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.acoustics.hoop_ring import ROD_COMPLIANCE_M_N, hoop_spread, ring_stiffness
from hoopwise.acoustics.limits import check_drum, check_tension
from hoopwise.acoustics.rim_film import FilmHarmonics, film_harmonics, radial_profiles
from hoopwise.drum import Drum, Film, Side
from hoopwise.errors import RangeError

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RimMap:
    """Linear map from rod displacements to tension, one head of N rods.

    Harmonic k of the field when rod j alone is pulled by 1 m is
    ``rod_share[k] * film's harmonic k`` in cos k (theta - theta_j); see `cosine`.
    """

    rods: int
    radius_m: float
    lug_tension: Array
    """(N, N) N_rr(a, theta_i) in N/m per metre of pull of rod j."""
    mean_per_metre: float
    """Mean lug tension (N/m) per metre when all rods move alike."""
    film_mean_per_metre: float
    """Tension averaged over the film (its harmonic 0), N/m per metre, rods alike."""
    rod_force: Array
    """(N, N) force in rod i (N) per metre of pull of rod j."""
    film: Film
    harmonics: FilmHarmonics
    """The film's harmonics 0..K per metre of hoop displacement."""
    rod_share: Array
    """(K+1,) hoop displacement cos k (theta - theta_j) per metre of pull of rod j alone."""
    hoop_hold: Array
    """(K+1,) line stiffness (N/m²) of ring and rods, nuts at rest, against the film's pull."""
    slide: float
    collar_m: float

    @property
    def angles(self) -> Array:
        """(N,) angle of each rod (rad), rod 1 at 0."""
        return 2.0 * np.pi * np.arange(self.rods) / self.rods

    @property
    def cosine(self) -> Array:
        """(K+1, N) cosine part of the hoop's displacement per metre of each rod."""
        k = np.arange(len(self.rod_share))[:, None]
        return self.rod_share[:, None] * np.cos(k * self.angles)

    @property
    def sine(self) -> Array:
        """(K+1, N) sine part of the hoop's displacement per metre of each rod."""
        k = np.arange(len(self.rod_share))[:, None]
        return self.rod_share[:, None] * np.sin(k * self.angles)


def rim_map(
    drum: Drum,
    side: Side,
    slide: float = 0.5,
    collar_m: float = 0.012,
    rod_compliance_m_n: float = ROD_COMPLIANCE_M_N,
) -> RimMap:
    """The tension that each rod of a head makes, per metre of pull.

    Parameters
    ----------
    drum, side
        The drum and which of its heads.
    slide
        1: film free to slide along the edge (a tilted hoop then makes no difference of
        tension), 0: held by its collar. Real heads lie between; 0 tells most from taps.
    collar_m
        Film between bearing edge and flesh hoop (m), 1 to 50 mm; 12 mm FROM MEMORY.
    rod_compliance_m_n
        Give of one rod with its lug (m/N), above 0.

    Raises
    ------
    RangeError
        The drum, slide, collar or rods lie outside the model; the message has the range.
    DrumError
        The drum has no head on that side.
    """
    check_drum(drum)
    for name, value, low, high in (
        ("slide", slide, 0.0, 1.0),
        ("collar_m", collar_m, 1e-3, 0.05),
        ("rod_compliance_m_n", rod_compliance_m_n, 1e-10, 1e-5),
    ):
        if not low <= value <= high:
            raise RangeError(f"{name} = {value!r}; the model holds from {low:g} to {high:g}.")
    return _rim_map(drum, side, slide, collar_m, rod_compliance_m_n)


@lru_cache(maxsize=128)
def _rim_map(drum: Drum, side: Side, slide: float, collar_m: float, compliance: float) -> RimMap:
    film, radius, rods = drum.head(side).film, drum.radius_m, drum.rods
    highest = 16 * rods  # the hoop's share falls with k^-4; the rest is below 1e-6
    harmonics = film_harmonics(film, radius, highest, slide, collar_m)
    ring = ring_stiffness(drum.hoop, radius, highest)
    stiffness = ring + harmonics.rim_stiffness
    stiffness[1] = max(stiffness[1], 0.0)  # a free tilt may come out as minus a rounding error
    gain = hoop_spread(stiffness, rods, radius, compliance).gain
    share = np.where(np.arange(highest + 1) == 0, 1.0, 2.0) * gain / rods
    apart = 2.0 * np.pi * np.arange(rods) / rods
    waves = np.cos(np.outer(apart, np.arange(highest + 1)))
    wheel = (np.arange(rods)[:, None] - np.arange(rods)) % rods
    lug_tension = (waves @ (share * harmonics.rim_stiffness))[wheel]
    rod_force = (np.eye(rods) - (waves @ share)[wheel]) / compliance
    for array in (lug_tension, rod_force, share, harmonics.airy_a, harmonics.airy_b):
        array.flags.writeable = False  # shared by every caller
    return RimMap(
        rods=rods,
        radius_m=radius,
        lug_tension=lug_tension,
        mean_per_metre=float(lug_tension[0].sum()),
        film_mean_per_metre=float(gain[0] * harmonics.rim_stiffness[0]),
        rod_force=rod_force,
        film=film,
        harmonics=harmonics,
        rod_share=share,
        hoop_hold=ring + rods / (2.0 * np.pi * radius * compliance),
        slide=slide,
        collar_m=collar_m,
    )


def tension_field(
    rim: RimMap, rod_pull_m: ArrayLike, r_m: ArrayLike, theta: ArrayLike
) -> tuple[Array, Array, Array]:
    """Tension of the film at places: N_rr, N_rt, N_tt (N/m), shaped like r and theta.

    Parameters
    ----------
    rim, rod_pull_m
        The head's map and the (N,) pulls (m).
    r_m, theta
        Places, from the centre (m) and around (rad), broadcast together.

    Raises
    ------
    RangeError
        A place lies off the film, or there is not one pull per rod.
    """
    pull = check_pull(rim, rod_pull_m)
    r, angle = np.broadcast_arrays(np.asarray(r_m, float), np.asarray(theta, float))
    if not np.isfinite(angle).all():
        raise RangeError("a place on the film needs an angle that is a number, in radians.")
    share = r.ravel() / rim.radius_m
    if share.size and not (share.min() >= 0.0 and share.max() <= 1.0 + 1e-9):
        raise RangeError(f"a place lies off the film: r must be from 0 to {rim.radius_m:.4g} m.")
    highest = len(rim.rod_share) - 1
    rr, rt, tt = radial_profiles(rim.harmonics, np.minimum(share, 1.0), highest)
    phase = np.arange(highest + 1)[:, None] * angle.ravel()
    even, odd = (rim.cosine @ pull)[:, None], (rim.sine @ pull)[:, None]
    cosine = even * np.cos(phase) + odd * np.sin(phase)
    sine = even * np.sin(phase) - odd * np.cos(phase)
    n_rr, n_rt, n_tt = (
        np.asarray(np.sum(profile * wave, axis=0).reshape(r.shape), dtype=np.float64)
        for profile, wave in ((rr, cosine), (rt, sine), (tt, cosine))
    )
    return n_rr, n_rt, n_tt


def check_pull(rim: RimMap, rod_pull_m: ArrayLike) -> Array:
    """The pulls as an (N,) array.

    Raises
    ------
    RangeError
        There is not one finite pull per rod.
    """
    pull = np.asarray(rod_pull_m, dtype=float)
    if pull.shape != (rim.rods,) or not np.all(np.isfinite(pull)):
        raise RangeError(f"a head of {rim.rods} rods needs {rim.rods} finite pulls in metres.")
    return pull


def even_pull(rim: RimMap, tension_n_m: float) -> Array:
    """The (N,) equal pulls (m) that give a mean lug tension (N/m).

    Raises
    ------
    RangeError
        The tension lies outside the film's elastic range.
    """
    check_tension(tension_n_m, rim.film, "an even head")
    return np.full(rim.rods, tension_n_m / rim.mean_per_metre)


def pull_for(rim: RimMap, lug_tension_n_m: ArrayLike) -> Array:
    """The smallest (N,) pulls (m) whose lug tensions come nearest to the wanted (N,).

    Where the film slides freely no tilt of the hoop changes a tension; such a part of
    the wish is left out.
    """
    wanted = check_pull(rim, lug_tension_n_m)
    return np.asarray(np.linalg.lstsq(rim.lug_tension, wanted, rcond=1e-6)[0], dtype=np.float64)


def harmonic_gain(rim: RimMap, with_aliases: bool = False) -> Array:
    """Rim tension per pull by rod harmonic q = 0..N/2, relative to q = 0.

    Without aliases it is the film's harmonic q alone that counts; with them it is what
    the lugs have, to which q - N, q + N and so on add. At q = N/2 both signs count.
    """
    rods = rim.rods
    orders = np.arange(rods // 2 + 1)
    if with_aliases:
        spectrum = np.fft.fft(rim.lug_tension[:, 0]).real[orders]
    else:
        spectrum = (rods * rim.rod_share * rim.harmonics.rim_stiffness)[orders] / 2.0
        spectrum[0] *= 2.0
        if rods % 2 == 0:
            spectrum[-1] *= 2.0
    return np.asarray(spectrum / spectrum[0], dtype=np.float64)
