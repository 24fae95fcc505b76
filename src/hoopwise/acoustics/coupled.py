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
from numpy.typing import NDArray

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_stack import AirStack, Line

Complexes = NDArray[np.complex128]

_NUDGE: Final = 1e-2
"""Step of a frequency, as a fraction, for the damping's slope and bend along it."""
_FAINT: Final = 2e-3
"""Decay rate over frequency below which damping moves no pitch by more than 1e-5."""
_SPECK: Final = 0.01
"""Part of its energy in coordinates of interest below which a mode is of none."""
_TRACE: Final = 1.0
"""rad/s."""
_ROUNDS: Final = 2
_FAR: Final = 0.4
"""How far off the real axis, as a fraction, the continuation is trusted."""


@dataclass(frozen=True)
class Modes:
    """Modes of a batch of B drums, or of B numbers m; I modes, N coordinates."""

    omega: Floats
    """(B, I) angular frequency (rad/s), growing."""
    vectors: Floats
    """(B, I, N) amplitudes, scaled so that the moving mass is 1 kg."""
    radiation: Floats
    """(B, I) decay rate by radiation and vent (1/s)."""


def _loosened(stiffness: Floats, mass: Floats) -> Floats:
    """X with X K X' = 1, (B, N, N); slugs of air without a spring are held a trace.

    The trace, `_TRACE` rad/s, falls out again in the Newton step.
    """
    held = stiffness + _TRACE**2 * mass
    return np.asarray(np.linalg.inv(np.linalg.cholesky(held)), dtype=np.float64)


def _frozen(loose: Floats, mass: Floats, count: int) -> tuple[Floats, Floats]:
    """Lowest modes of K v = omega^2 M v: omega (..., count), v (..., count, N).

    Of X M X' the largest eigenvalues 1/omega^2, so that K, which does not change with
    frequency, and not M is factored.
    """
    values, vectors = np.linalg.eigh(loose @ mass @ np.swapaxes(loose, -1, -2))
    values, vectors = values[..., : -count - 1 : -1], vectors[..., : -count - 1 : -1]
    return 1.0 / np.sqrt(values), np.swapaxes(vectors, -1, -2) @ loose


def solve(
    air: AirStack,
    mass: Floats,
    stiffness: Floats,
    count: int | None = None,
    wanted: Floats | None = None,
) -> Modes:
    """The lowest modes of each drum in a batch, or of each m of a stack.

    Parameters
    ----------
    air : AirStack
        M tables; B is M, or anything if M is 1.
    mass : (B, N, N) or (1, N, N)
        What moves apart from air (kg); 0 on coordinates that are air.
    stiffness : (B, N, N)
        What pulls back apart from air (N/m).
    count : int or None
        Modes wanted, at most N; None for all up to the table's top frequency, and where
        others of the batch have more, for some above it.
    wanted : (B, N) or None
        1 on coordinates of interest: modes that hardly move them are left out.
    """
    stiffness = air.stiffness + stiffness
    start = 0.3 * np.broadcast_to(air.top_omega[:, None], (len(stiffness), 1))
    middle = mass + air.mass(start)[:, 0]
    loose = _loosened(stiffness, middle)
    omega, vectors = _frozen(loose, middle, count or stiffness.shape[-1])
    kept = omega <= (np.inf if count else air.top_omega[:, None])
    if wanted is not None:
        parts = vectors**2 * np.diagonal(middle, axis1=1, axis2=2)[:, None]
        kept &= (parts @ wanted[..., None])[..., 0] > _SPECK * parts.sum(axis=-1)
    # Those kept first, in their order; then others, up to the same number for all.
    number = max(int(kept.sum(axis=1).max()), 1)
    pick = np.sort(np.argsort(~kept, axis=1, kind="stable")[:, :number], axis=1)
    omega = np.take_along_axis(omega, pick, axis=1)
    stiffness, films = stiffness[:, None], mass[:, None]
    omegas, every = _frozen(loose[:, None], films + air.mass(omega), int(pick.max()) + 1)
    omega = np.take_along_axis(omegas, pick[..., None], axis=2)[..., 0]
    vectors = np.take_along_axis(every, pick[..., None, None], axis=2)[:, :, 0]
    return _polish(air, stiffness, films, omega, vectors)


def _polish(
    air: AirStack, stiffness: Floats, films: Floats, omega: Floats, vectors: Floats
) -> Modes:
    """A Newton step on each mode's own scalar equation, then its decay rate."""
    line = air.line(omega)
    along = 2.0 * omega * line.turn  # d/d omega of the series' variable
    mass = _form(films, vectors) + _form(line.mass, vectors)
    moving = mass + 0.5 * omega * along * _form(line.slope, vectors)
    step = (_form(stiffness, vectors) - omega**2 * mass) / (2.0 * omega * moving)
    vectors = vectors / np.sqrt(moving)[..., None]
    loss = air.damping(omega)
    radiation = np.maximum(0.5 * _form(loss, vectors), 0.0)
    felt = np.nonzero(radiation > _FAINT * omega)
    exact = omega + step
    if felt[0].size:
        parts = _parts(air, line, omega, (stiffness, films, loss), felt)
        equation = _Equation(omega[felt], line.turn[felt], parts)
        root = equation.root(exact[felt] + 1j * radiation[felt], vectors[felt])
        exact[felt], radiation[felt] = root.real, np.maximum(root.imag, 0.0)
    return Modes(exact, vectors, radiation)


def _parts(
    air: AirStack,
    line: Line,
    omega: Floats,
    known: tuple[Floats, Floats, Floats],
    felt: tuple[NDArray[np.intp], ...],
) -> Floats:
    """What `_Equation` is made of, for the modes that feel damping, (P, 7, N, N).

    ``known`` K, films and R of all; the slope and bend of R are per `_NUDGE` of the frequency.
    """
    stiffness, films, loss = known
    row, at = felt[0], omega[felt]
    parts = np.empty((len(row), 7, *stiffness.shape[-2:]))
    around = air.damping_of(row, at[:, None] * (1.0 + np.array([_NUDGE, -_NUDGE])))
    parts[:, 0] = stiffness[row, 0]
    parts[:, 1] = line.mass[felt]
    parts[:, 1] += films[np.zeros_like(row) if len(films) == 1 else row, 0]
    parts[:, 2], parts[:, 3], parts[:, 4] = line.slope[felt], line.bend[felt], loss[felt]
    parts[:, 5] = 0.5 * (around[:, 0] - around[:, 1])
    parts[:, 6] = 0.5 * (around[:, 0] + around[:, 1]) - parts[:, 4]
    return parts


@dataclass(frozen=True)
class _Equation:
    """K - w^2 M(w) + i w R(w) for P modes, at complex w near their frequencies.

    M and R are continued off the real axis by their derivatives along it.
    """

    omega: Floats
    """(P,) rad/s."""
    turn: Floats
    """(P,) the series' variable over omega^2."""
    parts: Floats
    """(P, 7, N, N): K; M, its slope and bend along the variable; R, its slope and bend."""

    def at(self, root: Complexes) -> tuple[Complexes, Complexes]:
        """The matrix and its derivative at w (P,), (P, N, N) each."""
        w, one = root, np.ones_like(root)
        gone = self.turn * (w**2 - self.omega**2)
        rise = 2.0 * self.turn * w
        shift, unit = (w - self.omega) / (_NUDGE * self.omega), 1.0 / (_NUDGE * self.omega)
        whole = [
            one,
            -(w**2),
            -(w**2) * gone,
            -0.5 * (w * gone) ** 2,
            1j * w,
            1j * w * shift,
            1j * w * shift**2,
        ]
        change = [
            0.0 * one,
            -2.0 * w,
            -2.0 * w * gone - w**2 * rise,
            -w * gone**2 - w**2 * gone * rise,
            1j * one,
            1j * (shift + w * unit),
            1j * (shift**2 + 2.0 * w * shift * unit),
        ]
        share = np.array([whole, change]).transpose(2, 0, 1)
        flat = self.parts.reshape(*self.parts.shape[:2], -1)
        both = np.empty((2, *flat[:, 0].shape), dtype=np.complex128)
        both.real = (share.real @ flat).transpose(1, 0, 2)
        both.imag = (share.imag @ flat).transpose(1, 0, 2)
        matrix, slope = both.reshape(2, -1, *self.parts.shape[2:])
        return matrix, slope

    def root(self, start: Complexes, vectors: Floats) -> Complexes:
        """Roots (P,) near those of weak damping (P,), shapes (P, N).

        Inverse iteration gives the shape that damping bends, whose quotient the root.
        """
        # A trace more than the decay rate keeps the matrix regular where little radiates.
        root = start + 1e-7j * self.omega
        shape = vectors[..., None].astype(np.complex128)
        for _ in range(_ROUNDS):
            matrix, change = self.at(root)
            shape = np.asarray(np.linalg.solve(matrix, change @ shape), dtype=np.complex128)
            across = np.swapaxes(shape, -1, -2)
            root = root - ((across @ matrix @ shape) / (across @ change @ shape))[..., 0, 0]
        return np.where(np.abs(root - start.real) < _FAR * start.real, root, start)


def _form(matrix: Floats, vectors: Floats) -> Floats:
    """The quadratic form v A v for every mode."""
    column = vectors[..., None]
    return np.asarray((vectors[..., None, :] @ (matrix @ column))[..., 0, 0])
