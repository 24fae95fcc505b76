"""A drum's voice: its modes, as a tip excites them and a microphone hears them.

Coordinates have unit modal mass (1 kg, air included), so a force F at a place where the
shape is phi drives  q'' + 2 a q' + (w^2 + a^2) q = phi F.  Displacement of the struck
head is counted into the drum, that of the other head out of it: both the way of the push.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.acoustics.head_basis import Name, values_at
from hoopwise.drum import Drum, Side
from hoopwise.errors import RangeError
from hoopwise.units import DECAY_60_DB

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True)
class Place:
    """A place on a head: distance from the centre (m) and angle from rod 1 (rad)."""

    r_m: float
    angle_rad: float = 0.0


CENTRE = Place(0.0)


@dataclass(frozen=True, eq=False)
class Voice:
    """The modes of a drum in one state: K modes over B functions of each head."""

    drum: Drum
    side: Side
    """The head that is struck."""
    frequency_hz: Floats
    """(K,) settled frequencies."""
    t60_s: Floats
    """(K,) ring times."""
    near: Floats
    """(B, K) shape on the struck head over ``basis``, 1/sqrt(kg)."""
    far: Floats
    """(B, K) shape on the other head over ``basis``; zeros when it does not move."""
    near_lag: Floats
    """(B, K) a quarter turn behind ``near``, where modes that decay differently mix."""
    far_lag: Floats
    follow: Floats
    """(K,) share of a mode's stiffness that lies in the struck head's tension."""
    basis: tuple[Name, ...]
    tension_n_m: float
    """Mean tension at the rods of the struck head (N/m)."""

    @cached_property
    def pole(self) -> Complexes:
        """(K,) poles -a + i w (1/s)."""
        pole: Complexes = -DECAY_60_DB / self.t60_s + 2j * np.pi * self.frequency_hz
        return pole

    @cached_property
    def near_shape(self) -> Complexes:
        """(B, K) shape on the struck head with what lags behind."""
        return np.asarray(self.near + 1j * self.near_lag)

    @cached_property
    def far_shape(self) -> Complexes:
        """(B, K) shape on the other head with what lags behind."""
        return np.asarray(self.far + 1j * self.far_lag)

    def struck_at(self, place: Place) -> Complexes:
        """(K,) shapes at a place on the struck head with what lags behind, 1/sqrt(kg).

        Raises
        ------
        RangeError
            The place lies off the head.
        """
        self._check([place.r_m])
        at = values_at(self.basis, self.drum.radius_m, [place.r_m], [place.angle_rad])
        return np.asarray((at @ self.near_shape)[0])

    def near_at(self, r_m: ArrayLike, angle_rad: ArrayLike) -> Floats:
        """(P, K) shapes at places on the struck head, 1/sqrt(kg).

        Raises
        ------
        RangeError
            A place lies off the head.
        """
        self._check(r_m)
        shape: Floats = values_at(self.basis, self.drum.radius_m, r_m, angle_rad) @ self.near
        return shape

    def far_at(self, r_m: ArrayLike, angle_rad: ArrayLike) -> Floats:
        """(P, K) shapes at places on the other head; angles as seen from the struck side."""
        self._check(r_m)
        shape: Floats = values_at(self.basis, self.drum.radius_m, r_m, angle_rad) @ self.far
        return shape

    def _check(self, r_m: ArrayLike) -> None:
        r, radius = np.asarray(r_m, dtype=float), self.drum.radius_m
        if r.size and not (r.min() >= 0.0 and r.max() <= radius * (1 + 1e-9)):
            raise RangeError(
                f"a place {float(r.max()):.4g} m from the centre is off the head; "
                f"r must be from 0 to {radius:.4g} m."
            )
