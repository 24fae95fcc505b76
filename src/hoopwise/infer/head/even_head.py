"""The evenly pulled head in air, and what each rod's deviation adds to it.

Everything the fit needs is brought to one small eigenproblem in the even head's own
modes:  H = W (1 + R + sum_i d_i V_i) W  with W the angular frequencies, d the deviations
of the lug tensions that the rods make and the waves of the film's seat that they cannot
(fractions of the mean), V their coupling (dimensionless) and R the ripple that an evenly
pulled head shows between its own rods. The eigenvalues of H are squared angular frequencies.

Air weighs less on a mode the faster it moves. Modes that take part in another one move at
that one's frequency, so a head is made for each frequency of interest.
"""

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.linalg import eigh

from hoopwise.acoustics.air import air_damping
from hoopwise.acoustics.head_basis import radial_tables
from hoopwise.acoustics.head_modes import HeadModel, head_model
from hoopwise.drum import Drum, Side
from hoopwise.infer.head.air_load import air_on, air_wave_hz
from hoopwise.infer.head.prior import SeatWaves, seat_waves
from hoopwise.infer.types import OtherHead

FloatArray = NDArray[np.float64]

SLIDE = 0.5
"""Halfway between a film that slides over the edge and one that is held."""
_HIGHEST_ZERO = 14.1
"""Even modes kept; those above only refine the others by parts in a thousand."""
_RADII = 120
_FILM_LOSS = 0.005
"""Loss factor of a mounted film, a round figure for what radiation leaves out (no source)."""


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
    """(U, B, B) V: of the N deviations, then of the seat's waves."""
    seat: SeatWaves
    tension_n_m: float
    loss: FloatArray
    """(B, B) resistance by radiation and film (1/s); a mode decays at half its diagonal."""
    film_share: FloatArray
    """(B,) film's part of each mode's mass; the rest is air."""

    @property
    def rods(self) -> int:
        """Number of rods."""
        return self.seat.rods

    def members(self, name: tuple[int, int]) -> NDArray[np.intp]:
        """Indices of a group's one or two modes."""
        return self._members[name]

    @cached_property
    def _members(self) -> dict[tuple[int, int], NDArray[np.intp]]:
        return {name: np.flatnonzero([n == name for n in self.names]) for name in set(self.names)}

    def keeping(self, kept: NDArray[np.intp]) -> "EvenHead":
        """The same head with some of its even modes only: quicker, a little less exact."""
        square = np.ix_(kept, kept)
        return replace(
            self,
            names=tuple(self.names[k] for k in kept),
            frequency_hz=self.frequency_hz[kept],
            ritz=np.ascontiguousarray(self.ritz[:, kept]),
            ripple=self.ripple[square],
            coupling=np.ascontiguousarray(self.coupling[:, kept][:, :, kept]),
            loss=self.loss[square],
            film_share=self.film_share[kept],
        )


@dataclass(frozen=True)
class Places:
    """The film model's basis at T places, and its slopes; (T, B_ritz) each."""

    value: FloatArray
    by_radius: FloatArray
    by_angle: FloatArray


def places(model: HeadModel, radius_m: FloatArray, angle_rad: FloatArray) -> Places:
    """Basis functions where the tips met the head."""
    basis = _along(model)
    phase = np.outer(angle_rad, np.arange(basis.most_waves + 1))
    # columns of the cosines, then of the sines; the slopes' change places and signs
    around = np.concatenate([np.cos(phase), np.sin(phase)], axis=1)
    slope = around[:, basis.turned] * basis.signed
    value, by_radius = basis.profile_at(np.clip(radius_m, 0.0, model.radius_m))
    around = around[:, basis.column]
    return Places(value * around, by_radius * around, value * slope)


@dataclass(frozen=True, eq=False)
class _Along:
    """A film model's basis, ready to be looked up: waves round the hoop, and the radius."""

    most_waves: int
    column: NDArray[np.intp]
    """(B_ritz,) of the waves: the cosines of 0, 1, ... waves, then the sines."""
    turned: NDArray[np.intp]
    """The same of the waves' slopes, ..."""
    signed: FloatArray
    """... and what they are multiplied by."""
    step_m: float
    cubic: FloatArray
    """(intervals, 4, B_ritz) of powers of the radius from each interval's start, 3 to 0."""

    def profile_at(self, radius_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(T, B_ritz) each function along the radius, and its slope."""
        at = np.minimum((radius_m / self.step_m).astype(np.intp), len(self.cubic) - 1)
        x = (radius_m - at * self.step_m)[:, None]
        third, second, first, zeroth = np.swapaxes(self.cubic[at], 0, 1)
        value = ((third * x + second) * x + first) * x + zeroth
        return value, (3.0 * third * x + 2.0 * second) * x + first


@lru_cache(maxsize=32)
def _along(model: HeadModel) -> _Along:
    """Each basis function along the radius, from where its wave round the hoop is 1."""
    radii = np.linspace(0.0, model.radius_m, _RADII)
    columns = radial_tables(model.basis, radii / model.radius_m)[0].T
    waves = np.array([b[0] for b in model.basis])
    sine = np.array([b[2] == "sin" for b in model.basis])
    sines = int(waves.max()) + 1
    return _Along(
        most_waves=sines - 1,
        column=np.where(sine, sines + waves, waves),
        turned=np.where(sine, waves, sines + waves),
        signed=np.where(sine, waves, -waves).astype(np.float64),
        step_m=model.radius_m / (_RADII - 1),
        cubic=np.ascontiguousarray(np.swapaxes(CubicSpline(radii, columns).c, 0, 1)),
    )


@lru_cache(maxsize=32)
def even_head(
    drum: Drum,
    side: Side,
    tension_n_m: float,
    other_head: OtherHead = "off",
    at_hz: float | None = None,
) -> EvenHead:
    """The even head of a drum at a mean lug tension (N/m).

    Parameters
    ----------
    drum, side, tension_n_m
        The head.
    other_head
        What moves beyond it: open air, or the air in a shell that the other head closes.
    at_hz
        Frequency at which everything moves; None takes the lowest of each order.

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
    ritz, omega, names = _air_loaded(model, drum, uniform, other_head, at_hz)
    scale = np.outer(omega, omega)
    ripple = ritz.T @ (even + np.diag(model.bending) - uniform) @ ritz / scale
    # A deviation d_i of lug tension is made by the pulls that bring it about.
    pulls = np.linalg.inv(rim.lug_tension) * gain[:, None]
    per_lug = np.tensordot(pulls, model.stiffness_pull, axes=(0, 0)) / rim.mean_per_metre
    seat = seat_waves(drum.rods)
    waves = [model.stiffness_wave[k, sine] for k, sine in seat.waves]
    causes = np.concatenate([per_lug, np.reshape(waves, (-1, *per_lug.shape[1:]))])
    coupling = ritz.T @ (causes * tension_n_m) @ ritz / scale
    return EvenHead(
        model=model,
        names=names,
        frequency_hz=omega / (2 * np.pi),
        ritz=ritz,
        ripple=ripple,
        coupling=coupling,
        seat=seat,
        tension_n_m=tension_n_m,
        loss=_loss(model, drum.radius_m, ritz, omega, names, other_head, at_hz),
        film_share=np.einsum("rb,r,rb->b", ritz, model.mass, ritz),
    )


def _loss(
    model: HeadModel,
    radius_m: float,
    ritz: FloatArray,
    omega: FloatArray,
    names: tuple[tuple[int, int], ...],
    other_head: OtherHead,
    at_hz: float | None,
) -> FloatArray:
    """(B, B) resistance over the even modes, whose masses are 1."""
    loss = np.diag(_FILM_LOSS * omega)
    faces = 2 if other_head == "off" else 1
    order = np.array([m for m, _ in names])
    for m in np.unique(order):
        for kind in ("cos", "sin"):
            rows = np.array(
                [i for i, b in enumerate(model.basis) if b[0] == m and b[2] == kind], dtype=np.intp
            )
            mine = np.flatnonzero((order == m) & np.any(ritz[rows] != 0.0, axis=0))
            if len(rows) and len(mine):
                at = 2 * np.pi * at_hz if at_hz else float(omega[mine[0]])
                damping = air_damping(radius_m, int(m), len(rows), at, faces=faces)
                own = ritz[np.ix_(rows, mine)]
                loss[np.ix_(mine, mine)] += own.T @ damping @ own
    return loss


def _air_loaded(
    model: HeadModel,
    drum: Drum,
    stiffness: FloatArray,
    other_head: OtherHead,
    at_hz: float | None,
) -> tuple[FloatArray, FloatArray, tuple[tuple[int, int], ...]]:
    """Mass-normalised even modes with the air on the head, m by m."""
    found: list[tuple[tuple[int, int], int, FloatArray, float]] = []
    film = np.diag(model.mass) if model.mass.ndim == 1 else model.mass
    for m in sorted({b[0] for b in model.basis}):
        for kind in ("cos", "sin"):
            rows = [i for i, b in enumerate(model.basis) if b[0] == m and b[2] == kind]
            if not rows:
                continue
            picked = np.ix_(rows, rows)
            order, values, vectors = _block(
                drum, m, stiffness[picked], film[picked], other_head, at_hz
            )
            kept = int(np.sum(model.zeros[rows] <= _HIGHEST_ZERO))
            highest = values[order.index(kept)]
            for n, value, vector in zip(order, values, vectors.T, strict=True):
                if value <= highest:
                    column = np.zeros(len(model.basis))
                    column[rows] = vector
                    found.append(((m, n), len(found), column, float(np.sqrt(value))))
    found.sort(key=lambda f: f[:2])
    ritz = np.stack([f[2] for f in found], axis=1)
    return ritz, np.array([f[3] for f in found]), tuple(f[0] for f in found)


def _block(
    drum: Drum,
    m: int,
    stiffness: FloatArray,
    film: FloatArray,
    other_head: OtherHead,
    at_hz: float | None,
) -> tuple[list[int], FloatArray, FloatArray]:
    """Eigenpairs of one angular order with the air mass at a frequency, or at their own.

    They are numbered by growing frequency from 1 on; where the air has a wave of its own,
    the mode that holds most of it is number 0, whatever the frequency asked for.
    """
    size = len(film)

    def solve(omega: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        mass, pull = air_on(drum, m, size, omega, other_head)
        mass[:size, :size] += film
        pull[:size, :size] += stiffness
        values, vectors = eigh(pull, mass)
        vectors *= np.sign(vectors[np.abs(vectors[:size]).argmax(axis=0), np.arange(len(values))])
        return values, vectors[:size], np.sum(vectors[size:] ** 2, axis=0)

    order = _numbered(solve(np.pi * air_wave_hz(drum, m))[2])
    if at_hz is not None:
        values, vectors, _ = solve(2 * np.pi * at_hz)
        return order, values, vectors
    omega = float(np.sqrt(eigh(stiffness, film, eigvals_only=True)[0])) * 0.7
    for _ in range(4):
        omega = float(np.sqrt(solve(omega)[0][0]))
    values, vectors, _ = solve(omega)
    own = values.copy()
    for n in range(1, min(3, len(values))):
        at = float(np.sqrt(values[n]))
        for _ in range(3):
            at = float(np.sqrt(solve(at)[0][n]))
        own[n] = at**2
    return order, own, vectors


def _numbered(by_air: FloatArray) -> list[int]:
    """Numbers of modes by growing frequency, of their motion in the air's own wave."""
    order = np.arange(1, len(by_air) + 1)
    if by_air.any():
        wave = int(np.argmax(by_air))
        order[wave:] -= 1
        order[wave] = 0
    return [int(n) for n in order]
