"""What is expected of a head before it is heard: how uneven rods leave it.

Two sources of unevenness are added: rods pulled unequally, which the hoop spreads so that a
tilt (one wave round the hoop) hardly shows, and the film's own seat in its ring, which is as
likely in any number of waves.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.stretch import RimMap

FloatArray = NDArray[np.float64]

ROD_SD = 0.11
"""Deviation that unequal pulls leave where the hoop passes them on in full.

With the seat it makes a head 9 to 10 % rms uneven, as after a first pass (no source).
"""
SEAT_SD = 0.03
SEAT_FALL_SD = 0.022
"""The seat's part with j waves round the hoop is about this over j (per rod, no source)."""
_MEAN_SD = 1e-4
"""Deviations are counted from their own mean."""


@dataclass(frozen=True)
class Belief:
    """Mean and covariance of the N deviations."""

    mean: FloatArray
    cov: FloatArray

    @property
    def precision(self) -> FloatArray:
        """Inverse covariance."""
        return np.asarray(np.linalg.inv(self.cov))


def wave_matrix(rods: int) -> FloatArray:
    """(N, N) orthonormal waves round the hoop, by growing number: 1, cos, sin, cos 2, ..."""
    angle = 2 * np.pi * np.arange(rods) / rods
    rows = [np.ones(rods)]
    for k in range(1, rods // 2 + 1):
        rows.append(np.cos(k * angle))
        if 2 * k < rods:
            rows.append(np.sin(k * angle))
    return np.stack([row / np.linalg.norm(row) for row in rows])


def wave_numbers(rods: int) -> NDArray[np.intp]:
    """(N,) number of waves of each row of `wave_matrix`."""
    return np.array([0] + [k for k in range(1, rods // 2 + 1) for _ in range(1 + (2 * k < rods))])


def fresh_belief(rim: RimMap) -> Belief:
    """Belief about a head whose history is not known."""
    waves = wave_matrix(rim.rods)
    gain = np.abs(np.diag(waves @ rim.lug_tension @ waves.T)) / rim.mean_per_metre
    sd = np.hypot(ROD_SD * gain, SEAT_SD)
    sd[0] = _MEAN_SD
    return Belief(np.zeros(rim.rods), waves.T @ np.diag(sd**2) @ waves)


def unseen_seat(rods: int) -> FloatArray:
    """(N, N) covariance at the rods of a seat too fine for them to show.

    N - k waves look at the rods like k; a low mode that tells of k waves does not feel them.
    """
    waves, k = wave_matrix(rods), wave_numbers(rods)
    sd = np.where(k > 0, SEAT_FALL_SD / (rods - k) * np.sqrt(rods / 2), 0.0)
    return np.asarray(waves.T @ np.diag(sd**2) @ waves)
