"""Modes of ends tied by air: a small eigenproblem whose masses depend on frequency.

Solves (K - omega^2 M(omega)) v = 0, then takes in radiation damping. With the
mass frozen at some omega0 the i-th eigenvalue is a continuous, slowly moving function of
omega0, so each i has its own fixed point lambda_i(omega0) = omega0^2 and no mode can be
missed. Frozen solutions, one for each mode, are followed by a Newton step on the scalar
v K v - omega^2 v M(omega) v = 0, whose error is of second order in that of v (2e-5 of
a frequency at worst).

Damping then moves each root off the real axis and lowers the pitch a little: by
5/2 (alpha/omega)^2 for a breathing head, whose R grows as omega^2, five times as much as
a plain dashpot. That is 1 % of a kettledrum's (0,1), and nothing for notes that ring long.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_table import AirTable

_NUDGE: Final = 3e-3
"""Step of a frequency, as a fraction, for derivatives along it."""
_FAINT: Final = 1e-3
"""Decay rate over frequency below which damping moves no pitch by more than 3e-6."""
_ROUNDS: Final = 2
_FAR: Final = 0.4
"""How far off the real axis, as a fraction, the continuation is trusted."""


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
    nudge = _NUDGE * omega
    slope = (_form(table.mass(omega + nudge), vectors) + still - mass) / nudge
    moving = mass + 0.5 * omega * slope
    omega = omega + (spring - omega**2 * mass) / (2.0 * omega * moving)
    vectors = vectors / np.sqrt(moving)[..., None]
    loss = table.damping(omega)
    radiation = np.maximum(0.5 * _form(loss, vectors), 0.0)
    felt = np.flatnonzero(np.any(radiation > _FAINT * omega, axis=0))
    if felt.size:
        some = Modes(omega[:, felt], vectors[:, felt], radiation[:, felt])
        damped = _damped(table, stiffness, films, loss[:, felt], some)
        omega[:, felt], radiation[:, felt] = damped
    return Modes(omega, vectors, radiation)


def _damped(
    table: AirTable, stiffness: Floats, films: Floats, loss: Floats, modes: Modes
) -> tuple[Floats, Floats]:
    """Real and imaginary part of each mode's root of K - w^2 M(w) + i w R(w).

    M and R are continued off the real axis by their derivatives along it. Inverse
    iteration gives the shape that damping bends, whose quotient gives the root.
    """
    omega, nudge = modes.omega, (_NUDGE * modes.omega)[..., None, None]
    low, here, high = (table.mass(omega * part) for part in (1.0 - _NUDGE, 1.0, 1.0 + _NUDGE))
    slope, bend = (high - low) / (2.0 * nudge), (high - 2.0 * here + low) / nudge**2
    rise = (table.damping(omega * (1.0 + _NUDGE)) - loss) / nudge
    # A trace more than the decay rate keeps the matrix regular where little radiates.
    root = omega + 1j * (modes.radiation + 1e-7 * omega)
    shape = modes.vectors[..., None].astype(np.complex128)
    for _ in range(_ROUNDS):
        w = root[..., None, None]
        shift = w - omega[..., None, None]
        mass = films + here + slope * shift + 0.5 * bend * shift**2
        resistance = loss + rise * shift
        matrix = stiffness - w**2 * mass + 1j * w * resistance
        change = 1j * (resistance + w * rise) - 2.0 * w * mass - w**2 * (slope + bend * shift)
        shape = np.asarray(np.linalg.solve(matrix, change @ shape), dtype=np.complex128)
        across = np.swapaxes(shape, -1, -2)
        step = (across @ matrix @ shape) / (across @ change @ shape)
        root = root - step[..., 0, 0]
    trusted = np.abs(root - omega) < _FAR * omega
    return (
        np.where(trusted, root.real, omega),
        np.where(trusted, np.maximum(root.imag, 0.0), modes.radiation),
    )


def _form(matrix: Floats, vectors: Floats) -> Floats:
    """The quadratic form v A v for every mode."""
    column = vectors[..., None]
    return np.asarray((vectors[..., None, :] @ (matrix @ column))[..., 0, 0])
