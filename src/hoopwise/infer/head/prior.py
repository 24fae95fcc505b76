"""What is expected of a head before it is heard: how uneven rods leave it.

Two sources of unevenness are added: rods pulled unequally, which the hoop spreads so that a
tilt (one wave round the hoop) hardly shows, and the film's own seat in its ring, which is as
likely to be turned any way round, and smaller the finer its waves.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.acoustics.stretch import RimMap

FloatArray = NDArray[np.float64]

UNEVEN = 0.095
"""How uneven (rms over the rods) a first pass leaves a head, seat and all (no source)."""
SEAT_SD = 0.02
SEAT_FALL = 0.87
"""One wave of the seat round the hoop, rms per rod; k waves have k to the minus this of it.

A rim or collar that is off by k^-2 (no source) leaves that in the tension: the stretch of a
film over a hoop, solved by finite elements, falls from 1 at one wave to 0.44 at three, 0.21
at six and 0.10 at twelve.
"""
FINEST_SEAT = 6
"""Waves of the seat up to this number are looked for, whatever the number of rods."""
FINEST_UNSEEN = 12
"""Finer ones, up to this number, are reckoned with; beyond it the law above is not known."""
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
    waves, k = wave_matrix(rim.rods), wave_numbers(rim.rods)
    gain = np.abs(np.diag(waves @ rim.lug_tension @ waves.T)) / rim.mean_per_metre
    seat = np.where(k > 0, seat_sd(np.maximum(k, 1)) ** 2 * rim.rods / 2, 0.0)
    pulled = np.where(k > 0, gain**2, 0.0)
    pulled *= (UNEVEN**2 * rim.rods - seat.sum()) / pulled.sum()
    variance = np.where(k > 0, seat + pulled, _MEAN_SD**2)
    return Belief(np.zeros(rim.rods), waves.T @ np.diag(variance) @ waves)


def seat_sd(waves: ArrayLike) -> FloatArray:
    """What is usual of the cosine or sine of so many waves, as a share of the mean tension."""
    return np.asarray(SEAT_SD * np.asarray(waves, dtype=np.float64) ** -SEAT_FALL)


@dataclass(frozen=True)
class SeatWaves:
    """Waves of a film's seat that N rods cannot make: more than N/2 round the hoop.

    At the rods N - k waves look like k, yet they move other modes: a fit that knew the rods
    alone would take the one for the other.
    """

    rods: int
    waves: tuple[tuple[int, int], ...]
    """(S,) number of waves, and 0 for the cosine or 1 for the sine from rod 1 on."""

    @property
    def at_rods(self) -> FloatArray:
        """(N, N + S) deviations at the rods, from their mean: of the rods, then of the waves."""
        angle = 2 * np.pi * np.arange(self.rods) / self.rods
        columns = [np.sin(k * angle) if sine else np.cos(k * angle) for k, sine in self.waves]
        seat = np.array(columns).reshape(len(self.waves), self.rods).T
        return np.hstack([np.eye(self.rods), seat - seat.mean(axis=0)])

    @property
    def sd(self) -> FloatArray:
        """(S,) what is usual of each wave, as a fraction of the mean tension."""
        return seat_sd([k for k, _ in self.waves])

    def spread(self, belief: Belief) -> tuple[FloatArray, FloatArray]:
        """Mean (N + S,) and precision of all, where a belief tells of their sum at the rods."""
        seat = np.zeros(self.rods)
        precision = self.at_rods.T @ belief.precision @ self.at_rods
        precision += np.diag(np.concatenate([seat, self.sd**-2.0]))
        return np.concatenate([belief.mean, np.zeros(len(self.waves))]), precision


def seat_waves(rods: int) -> SeatWaves:
    """The waves of the seat that the rods cannot make, up to the finest looked for.

    Of N/2 waves the rods make the cosine, and have the sine's nodes.
    """
    found = [
        (k, sine)
        for k in range(-(-rods // 2), FINEST_SEAT + 1)
        for sine in (0, 1)
        if 2 * k > rods or sine
    ]
    return SeatWaves(rods, tuple(found))


def unseen_seat(rods: int) -> FloatArray:
    """(N, N) covariance at the rods of a seat finer than is looked for.

    There k waves look like the nearest number that N rods tell from it.
    """
    waves, shown = wave_matrix(rods), wave_numbers(rods)
    variance = np.zeros(rods)
    for k in range(FINEST_SEAT + 1, FINEST_UNSEEN + 1):
        alias = min(k % rods, -k % rods)
        at = (shown == alias) & (shown > 0)
        # N/2 waves show their cosine alone, at twice the power
        share = rods / 2 if 2 * alias != rods else rods
        variance[at] += seat_sd(k) ** 2 * share
    return np.asarray(waves.T @ np.diag(variance) @ waves)
