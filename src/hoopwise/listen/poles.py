"""Sums of damped exponentials in a slow complex band: how many, and where.

Start values by ESPRIT (Roy and Kailath 1989), polish by variable projection (Golub and
Pereyra 1973): only the poles are searched, the amplitudes follow by least squares.
Poles are s = -a + 2 pi i df in 1/s, df counted from the band's carrier.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


@dataclass(frozen=True)
class Poles:
    """Fitted exponentials ``sum amplitude exp(s t)`` and what they leave over."""

    s: Complex
    amplitude: Complex
    """Referred to t = 0 of the given clock."""
    rss: float
    """Residual sum of squares."""


def signal_space(z: Complex, most: int) -> Complex:
    """(rows, most) leading left singular vectors of the Hankel matrix of ``z``."""
    rows = max(most + 1, min(len(z) // 3, 40))
    hankel = np.lib.stride_tricks.sliding_window_view(z, rows).T
    _, vectors = np.linalg.eigh(hankel @ hankel.conj().T)
    return np.asarray(vectors[:, ::-1][:, :most])


def esprit(space: Complex, order: int, spacing_s: float) -> Complex:
    """(order,) poles by total-least-squares ESPRIT from the signal space."""
    up, down = space[:-1, :order], space[1:, :order]
    _, _, vh = np.linalg.svd(np.hstack([up, down]), full_matrices=False)
    v = vh.conj().T
    v12, v22 = v[:order, order:], v[order:, order:]
    try:
        turn = -v12 @ np.linalg.inv(v22)
    except np.linalg.LinAlgError:
        turn = np.linalg.lstsq(up, down, rcond=None)[0]
    values = np.linalg.eigvals(turn)
    values = np.where(np.abs(values) < 1e-6, 1e-6, values)
    return np.asarray(np.log(values) / spacing_s)


def polish(z: Complex, t_s: Real, start: Complex, steps: int = 8) -> Poles:
    """Least-squares poles near ``start`` by variable projection (Kaufman's Jacobian).

    Decay is held between 0.5 and 250 1/s (ring times 14 s to 28 ms).
    """
    state = _linear(z, t_s, _legal(start))
    damping = 1e-3
    for _ in range(steps):
        fit, basis, residual, inverse = state
        slope = basis * (t_s[:, None] * fit.amplitude)
        slope = slope - basis @ (inverse @ (basis.conj().T @ slope))
        normal = slope.conj().T @ slope
        size = np.sqrt(np.real(np.diag(normal))) + 1e-300
        normal = normal / np.outer(size, size)
        normal.flat[:: len(normal) + 1] *= 1.0 + damping
        move = np.linalg.solve(normal, slope.conj().T @ residual / size) / size
        trial = _linear(z, t_s, _legal(fit.s + move))
        gained = fit.rss - trial[0].rss
        if gained > 0.0:
            state, damping = trial, damping * 0.2
            if gained < 1e-3 * fit.rss / len(z):
                break
        else:
            damping *= 10.0
            if damping > 1e2:
                break
    return state[0]


def _legal(s: Complex) -> Complex:
    return np.asarray(np.clip(s.real, -250.0, -0.5) + 1j * s.imag, dtype=np.complex128)


def _linear(z: Complex, t_s: Real, s: Complex) -> tuple[Poles, Complex, Complex, Complex]:
    """Best amplitudes for given poles; also basis, residual and inverse Gram matrix."""
    basis = np.exp(np.multiply.outer(t_s, s))
    gram = basis.conj().T @ basis
    gram.flat[:: len(gram) + 1] *= 1.0 + 1e-10
    inverse = np.linalg.inv(gram)
    amplitude = inverse @ (basis.conj().T @ z)
    residual = z - basis @ amplitude
    rss = float(np.real(np.vdot(residual, residual)))
    return Poles(s, amplitude, rss), basis, residual, inverse
