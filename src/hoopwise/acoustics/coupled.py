"""Modes of ends tied by air: a small eigenproblem whose masses depend on frequency.

Solves (K - omega^2 M(omega)) v = 0, radiation damping taken to first order. With the
mass frozen at some omega0 the i-th eigenvalue is a continuous, slowly moving function of
omega0, so each i has its own fixed point lambda_i(omega0) = omega0^2 and no mode can be
missed. Frozen solutions, one for each mode, are followed by a Newton step on the scalar
v K v - omega^2 v M(omega) v = 0, whose error is of second order in that of v (2e-5 of
a frequency at worst).
"""

from dataclasses import dataclass

import numpy as np

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_table import AirTable


@dataclass(frozen=True)
class Modes:
    """Modes of one m for a batch of drums; B drums, I modes, N coordinates."""

    omega: Floats
    """(B, I) angular frequency (rad/s), growing."""
    vectors: Floats
    """(B, I, N) amplitudes, scaled so that the moving mass is 1 kg."""
    radiation: Floats
    """(B, I) decay rate by radiation and vent (1/s)."""


def frozen(stiffness: Floats, mass: Floats, count: int) -> tuple[Floats, Floats]:
    """Lowest modes of K v = lambda M v: lambda (..., count), v (..., count, N), v M v = 1."""
    lower = np.linalg.inv(np.linalg.cholesky(mass))
    squeezed = lower @ stiffness @ np.swapaxes(lower, -1, -2)
    values, vectors = np.linalg.eigh(squeezed)
    back = np.swapaxes(vectors[..., :count], -1, -2) @ lower
    return values[..., :count], back


def solve(
    table: AirTable,
    mass: Floats,
    stiffness: Floats,
    count: int | None = None,
    rounds: int = 1,
) -> Modes:
    """The lowest modes of each drum in a batch.

    Parameters
    ----------
    table : AirTable
    mass : (N, N)
        What moves apart from air (kg); 0 on coordinates that are air.
    stiffness : (B, N, N)
        What pulls back apart from air (N/m).
    count : int or None
        Modes wanted, at most N; None for all up to the table's top frequency.
    """
    size = table.stiffness.shape[0]
    stiffness = table.stiffness + stiffness
    films = mass[None]
    omega0 = np.full(len(stiffness), 0.3 * table.top_omega)
    values, _ = frozen(stiffness, films + table.mass(omega0), count or size)
    if count is None:
        count = max(int((values <= table.top_omega**2).sum(axis=1).max()), 1)
        values = values[:, :count]
    omega = np.sqrt(np.maximum(values, 1e-6))
    stiffness, films = stiffness[:, None], films[:, None]
    index = np.arange(count)
    vectors = np.empty(0)
    for _ in range(rounds):
        values, every = frozen(stiffness, films + table.mass(omega), count)
        omega = np.sqrt(np.maximum(values[:, index, index], 1e-6))
        vectors = every[:, index, index]
    return _polish(table, stiffness, films, omega, vectors)


def _polish(
    table: AirTable, stiffness: Floats, films: Floats, omega: Floats, vectors: Floats
) -> Modes:
    """A Newton step on each mode's own scalar equation, then its decay rate."""
    spring = _form(stiffness, vectors)
    still = _form(films, vectors)
    mass = still + _form(table.mass(omega), vectors)
    nudge = 1e-4 * omega
    slope = (_form(table.mass(omega + nudge), vectors) + still - mass) / nudge
    moving = mass + 0.5 * omega * slope
    omega = omega + (spring - omega**2 * mass) / (2.0 * omega * moving)
    radiation = 0.5 * _form(table.damping(omega), vectors) / moving
    return Modes(omega, vectors / np.sqrt(moving)[..., None], np.maximum(radiation, 0.0))


def _form(matrix: Floats, vectors: Floats) -> Floats:
    """The quadratic form v A v for every mode."""
    return np.asarray(np.einsum("bin,binm,bim->bi", vectors, _wide(matrix, vectors), vectors))


def _wide(matrix: Floats, vectors: Floats) -> Floats:
    return np.broadcast_to(matrix, (*vectors.shape, vectors.shape[-1]))
