"""The evenly pulled head in air, and what each rod's deviation adds to it.

Everything the fit needs is brought to one small eigenproblem in the even head's own
modes:  H = W (1 + R + sum_i d_i V_i) W  with W the angular frequencies, d the deviations
of the lug tensions (fractions of their mean), V their coupling (dimensionless) and R the
ripple that an evenly pulled head shows between its own rods. The eigenvalues of H are
squared angular frequencies.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.linalg import eigh

from hoopwise.acoustics.air import air_mass
from hoopwise.acoustics.head_modes import HeadModel, head_model, shape_at
from hoopwise.drum import Drum, Side

FloatArray = NDArray[np.float64]

_CIRCLES = 3
"""Even modes kept for each number of diameters; the fourth only refines the others."""
SLIDE = 0.5
"""Halfway between a film that slides over the edge and one that is held."""
_RADII = 120


@dataclass(frozen=True)
class EvenHead:
    """Even modes of one head at a reference tension; B modes, N rods."""

    model: HeadModel
    names: tuple[tuple[int, int], ...]
    """(m, n) of each of the B modes; a pair's cosine stands before its sine."""
    frequency_hz: FloatArray
    """(B,) in air at the reference tension, rods' ripple left out."""
    ritz: FloatArray
    """(B_ritz, B) the even modes over the film model's basis, mass-normalised."""
    ripple: FloatArray
    """(B, B) R."""
    coupling: FloatArray
    """(N, B, B) V."""
    tension_n_m: float
    film_share: FloatArray
    """(B,) film's part of each mode's mass; the rest is air."""
    sine: tuple[bool, ...]
    """(B,) whether a mode runs as sin m theta."""
    radial: CubicSpline
    """Each mode along the radius: (B,) values at a distance from the centre (m)."""

    @property
    def rods(self) -> int:
        """Number of rods."""
        return int(self.coupling.shape[0])

    def members(self, name: tuple[int, int]) -> NDArray[np.intp]:
        """Indices of a group's one or two modes."""
        return np.flatnonzero([n == name for n in self.names])

    def shapes(
        self, radius_m: FloatArray, angle_rad: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Values of the B modes at T places, and their slopes by radius and by angle."""
        m = np.array([n[0] for n in self.names])
        phase = np.outer(angle_rad, m)
        sine = np.asarray(self.sine)
        around = np.where(sine, np.sin(phase), np.cos(phase))
        slope = m * np.where(sine, np.cos(phase), -np.sin(phase))
        inward = np.clip(radius_m, 0.0, self.model.radius_m)
        out, steep = self.radial(inward), self.radial(inward, 1)
        return out * around, steep * around, out * slope


@lru_cache(maxsize=8)
def even_head(drum: Drum, side: Side, tension_n_m: float, other_head_off: bool = True) -> EvenHead:
    """The even head of a drum at a mean lug tension (N/m).

    Raises
    ------
    RangeError
        The drum or the tension is outside the film model's range.
    """
    model = head_model(drum, side, slide=SLIDE)
    rim = model.rim
    gain = rim.lug_tension.sum(axis=1)
    # Film stiffness of an even pull, split into its uniform part and the rods' ripple.
    even = model.stiffness_pull.sum(axis=0) / rim.mean_per_metre * tension_n_m
    uniform = model.stiffness_even * tension_n_m + np.diag(model.bending)
    ritz, omega, share, names = _air_loaded(model, drum, uniform, 2 if other_head_off else 1)
    scale = np.outer(omega, omega)
    ripple = ritz.T @ (even + np.diag(model.bending) - uniform) @ ritz / scale
    # A deviation d_i of lug tension is made by the pulls that bring it about.
    pulls = np.linalg.inv(rim.lug_tension) * gain[:, None]
    per_lug = np.einsum("ji,jab->iab", pulls, model.stiffness_pull) / rim.mean_per_metre
    coupling = np.einsum("ba,ibc,cd->iad", ritz, per_lug * tension_n_m, ritz) / scale
    sine = tuple(i > 0 and names[i - 1] == name for i, name in enumerate(names))
    return EvenHead(
        model=model,
        names=names,
        sine=sine,
        radial=_along_radius(model, ritz, names, sine),
        frequency_hz=omega / (2 * np.pi),
        ritz=ritz,
        ripple=ripple,
        coupling=coupling,
        tension_n_m=tension_n_m,
        film_share=share,
    )


def _along_radius(
    model: HeadModel, ritz: FloatArray, names: tuple[tuple[int, int], ...], sine: tuple[bool, ...]
) -> CubicSpline:
    """Each mode's radial profile, from where its wave round the hoop is 1."""
    radii = np.linspace(0.0, model.radius_m, _RADII)
    profile = np.empty((_RADII, len(names)))
    for i, (m, _) in enumerate(names):
        angle = np.full(_RADII, np.pi / (2 * m) if sine[i] else 0.0)
        profile[:, i] = np.asarray(shape_at(model, ritz[:, [i]], radii, angle))[:, 0]
    return CubicSpline(radii, profile)


def _air_loaded(
    model: HeadModel, drum: Drum, stiffness: FloatArray, faces: int
) -> tuple[FloatArray, FloatArray, FloatArray, tuple[tuple[int, int], ...]]:
    """Mass-normalised even modes with air on the given number of faces, m by m."""
    columns: list[FloatArray] = []
    omegas: list[float] = []
    shares: list[float] = []
    names: list[tuple[int, int]] = []
    film = np.diag(model.mass) if model.mass.ndim == 1 else model.mass
    for m in sorted({b[0] for b in model.basis}):
        for kind in ("cos", "sin"):
            rows = [i for i, b in enumerate(model.basis) if b[0] == m and b[2] == kind]
            if not rows:
                continue
            picked = np.ix_(rows, rows)
            values, vectors = _block(drum.radius_m, m, stiffness[picked], film[picked], faces)
            for n in range(min(_CIRCLES, len(rows))):
                column = np.zeros(len(model.basis))
                column[rows] = vectors[:, n]
                columns.append(column)
                omegas.append(float(np.sqrt(values[n])))
                shares.append(float(vectors[:, n] @ film[picked] @ vectors[:, n]))
                names.append((m, n + 1))
    order = sorted(range(len(names)), key=lambda i: (names[i], i))
    ritz = np.stack([columns[i] for i in order], axis=1)
    return (
        ritz,
        np.array([omegas[i] for i in order]),
        np.array([shares[i] for i in order]),
        tuple(names[i] for i in order),
    )


def _block(
    radius_m: float, m: int, stiffness: FloatArray, film: FloatArray, faces: int
) -> tuple[FloatArray, FloatArray]:
    """Eigenpairs of one angular order, each frequency with the air mass at itself.

    The shapes are those at the lowest frequency of the order, so that they stay orthogonal.
    """
    size = len(film)

    def solve(omega: float) -> tuple[FloatArray, FloatArray]:
        values, vectors = eigh(stiffness, film + air_mass(radius_m, m, size, omega, faces=faces))
        return values, vectors

    omega = float(np.sqrt(eigh(stiffness, film, eigvals_only=True)[0])) * 0.7
    for _ in range(4):
        omega = float(np.sqrt(solve(omega)[0][0]))
    values, vectors = solve(omega)
    own = values.copy()
    for n in range(1, min(_CIRCLES, size)):
        at = float(np.sqrt(values[n]))
        for _ in range(3):
            at = float(np.sqrt(solve(at)[0][n]))
        own[n] = at**2
    return own, vectors
