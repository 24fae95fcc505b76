"""The hoop as a ring of beam elements that bend out of its plane and twist.

Unknowns at each of n nodes: lift w, dw/dtheta, twist times radius B, dB/dtheta (cubic
elements). Strain energy of a thin ring, per angle:
    EI / (2 a^3) (w'' - B)^2 + GJ / (2 a^3) (B' + w')^2.
A lift that leaves the ring plane (w = cos, B = -cos) costs nothing.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.sparse as sp
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

Array = NDArray[np.float64]


def _cubic(s: Array, span: float, derivative: int) -> Array:
    """(4, len(s)) cubic shape functions on an element of an angle ``span``."""
    one, zero = np.ones_like(s), np.zeros_like(s)
    powers = [
        (one, s, s**2, s**3),
        (zero, one, 2 * s, 3 * s**2),
        (zero, zero, 2 * one, 6 * s),
    ][derivative]
    p = np.array(powers)
    table = np.array([[1, 0, -3, 2], [0, 1, -2, 1], [0, 0, 3, -2], [0, 0, -1, 1]], dtype=float)
    table[[1, 3]] *= span
    shapes: Array = table @ p / span**derivative
    return shapes


def evaluation(nodes: int, angles: Array, field: int, derivative: int = 0) -> sp.csr_matrix:
    """(angles, 4 nodes) operator: lift (field 0) or twist (field 1) at angles."""
    span = 2.0 * np.pi / nodes
    place = np.mod(angles, 2.0 * np.pi) / span
    element = np.minimum(place.astype(int), nodes - 1)
    shapes = _cubic(place - element, span, derivative)
    following = (element + 1) % nodes
    columns = np.stack([4 * element, 4 * element + 1, 4 * following, 4 * following + 1]) + 2 * field
    rows = np.broadcast_to(np.arange(len(angles)), columns.shape)
    return sp.csr_matrix(
        (shapes.ravel(), (rows.ravel(), columns.ravel())), shape=(len(angles), 4 * nodes)
    )


def ring_quadrature(nodes: int, order: int = 5) -> tuple[Array, Array]:
    """Angles and weights of Gauss points, ``order`` in each element of the ring."""
    span = 2.0 * np.pi / nodes
    s, weight = leggauss(order)
    angles = (np.arange(nodes)[:, None] + 0.5 * (s + 1.0)) * span
    return angles.ravel(), np.tile(0.5 * span * weight, nodes)


@dataclass(frozen=True)
class Ring:
    """Stiffness matrices for unit EI / a^3 and unit GJ / a^3."""

    bending: sp.csr_matrix
    torsion: sp.csr_matrix


@lru_cache(maxsize=4)
def ring(nodes: int) -> Ring:
    """The ring's two stiffness matrices, made once."""
    angles, weight = ring_quadrature(nodes)
    scale = sp.diags(weight)
    bend = evaluation(nodes, angles, 0, 2) - evaluation(nodes, angles, 1)
    twist = evaluation(nodes, angles, 1, 1) + evaluation(nodes, angles, 0, 1)
    return Ring((bend.T @ scale @ bend).tocsr(), (twist.T @ scale @ twist).tocsr())
