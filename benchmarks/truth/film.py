"""Tension in a film pulled over its edge by a hoop and rods: one finite-element solve.

Plane stress on quadratic triangles, the hoop as a ring of beams, rods as springs. Between
them, per length of rim: a spring Eh/L for the collar of length L between edge and hoop,
and a spring (1 - slip) G h / L along the rim for friction. Everything is linear in the
rods' pulls and in the seating offsets (a rim or collar that is not true).
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from benchmarks.truth.hoop import evaluation, ring, ring_quadrature
from benchmarks.truth.mesh import RINGS, Disc, disc

Array = NDArray[np.float64]

SEATING = 12
"""Highest harmonic of a rim or collar that is not true: finer than any reading looks for."""
_BED_WIDTH = 0.22
"""Standard deviation (rad) of a snare bed's dip: some 9 cm wide at half depth on 14 in."""


@dataclass(frozen=True)
class Hardware:
    """What holds a film: the values that a technician does not know well."""

    radius_m: float
    stretch_n_m: float
    """Young's modulus times thickness."""
    poisson: float
    collar_m: float
    slip: float
    """1 slides freely along the rim, 0 grips."""
    hoop_bending_n_m2: float
    hoop_torsion_n_m2: float
    rod_compliance_m_n: float
    rods: int

    @property
    def rod_angles(self) -> Array:
        """Angle of each rod (rad), rod 1 at 0."""
        return 2.0 * np.pi * np.arange(self.rods) / self.rods


@dataclass(frozen=True)
class FilmResponse:
    """Film tension (N/m) per metre of each cause: N rods' pulls, then seating shapes."""

    stress: Array
    """(3, points, causes): xx, yy, xy at the fine quadrature points."""
    at_rods: Array
    """(rods, causes) radial tension at the rim beside each rod."""
    around: Array
    """(360, causes) radial tension at the rim each degree."""
    rods: int


def seating_shapes(angles: Array) -> Array:
    """(angles, causes): cos and sin of 1 .. SEATING, then two beds opposite each other."""
    columns = []
    for k in range(1, SEATING + 1):
        columns += [np.cos(k * angles), np.sin(k * angles)]
    middle = np.pi / 10.0
    bed = np.zeros_like(angles)
    for centre in (middle, middle + np.pi):
        away = np.mod(angles - centre + np.pi, 2.0 * np.pi) - np.pi
        bed -= np.exp(-0.5 * (away / _BED_WIDTH) ** 2)
    return np.stack([*columns, bed], axis=1)


def _rim(shape: Disc, angles: Array) -> tuple[Any, Any]:
    """Operators (angles, 2 nodes) for the film's radial and tangential shift at the rim."""
    count = len(shape.rim_vertices)
    place = np.mod(angles, 2.0 * np.pi) * count / (2.0 * np.pi)
    edge = np.minimum(place.astype(int), count - 1)
    s = place - edge
    weights = np.stack([(1 - s) * (1 - 2 * s), 4 * s * (1 - s), s * (2 * s - 1)])
    nodes = np.stack(
        [shape.rim_vertices[edge], shape.rim_middles[edge], shape.rim_vertices[(edge + 1) % count]]
    )
    rows = np.broadcast_to(np.arange(len(angles)), nodes.shape).ravel()
    size = (len(angles), shape.nodes)
    value = sp.csr_matrix((weights.ravel(), (rows, nodes.ravel())), shape=size)
    cosine, sine = sp.diags(np.cos(angles)), sp.diags(np.sin(angles))
    radial = sp.hstack([cosine @ value, sine @ value]).tocsr()
    tangential = sp.hstack([-sine @ value, cosine @ value]).tocsr()
    return radial, tangential


@dataclass(frozen=True)
class _Parts:
    """Matrices that no hardware value enters."""

    stretch: Any
    lateral: Any
    shear: Any
    gap: Any
    """(angles, all unknowns): hoop lift less film shift at the rim's Gauss points."""
    along: Any
    weight: Array
    angles: Array


@lru_cache(maxsize=4)
def _parts(rings: int) -> _Parts:
    shape = disc(rings)
    fine, hoop_nodes = shape.fine, len(shape.rim_vertices)
    w = sp.diags(fine.weight)
    zero = sp.csr_matrix((len(fine.weight), shape.nodes))
    exx, eyy = sp.hstack([fine.dx, zero]), sp.hstack([zero, fine.dy])
    gamma = sp.hstack([fine.dy, fine.dx])
    angles, weight = ring_quadrature(hoop_nodes)
    radial, tangential = _rim(shape, angles)
    lift = evaluation(hoop_nodes, angles, 0)
    empty = sp.csr_matrix((len(angles), 4 * hoop_nodes))
    return _Parts(
        stretch=(exx.T @ w @ exx + eyy.T @ w @ eyy).tocsr(),
        lateral=(exx.T @ w @ eyy + eyy.T @ w @ exx).tocsr(),
        shear=(gamma.T @ w @ gamma).tocsr(),
        gap=sp.hstack([-radial, lift]).tocsr(),
        along=sp.hstack([tangential, empty]).tocsr(),
        weight=weight,
        angles=angles,
    )


def _stiffness(held: Hardware, parts: _Parts, rods: Any, hoop_nodes: int) -> Any:
    a, nu = held.radius_m, held.poisson
    plane = held.stretch_n_m / (1.0 - nu**2)
    film = plane * (parts.stretch + nu * parts.lateral + 0.5 * (1.0 - nu) * parts.shear)
    beam = ring(hoop_nodes)
    hoop = (
        held.hoop_bending_n_m2 * beam.bending + held.hoop_torsion_n_m2 * beam.torsion
    ) / a**3 + rods.T @ rods / held.rod_compliance_m_n
    w = sp.diags(parts.weight)
    collar = held.stretch_n_m / held.collar_m * a
    grip = (1.0 - held.slip) * held.stretch_n_m / (2.0 * (1.0 + nu)) / held.collar_m * a
    return (
        sp.block_diag([film, hoop])
        + collar * parts.gap.T @ w @ parts.gap
        + grip * parts.along.T @ w @ parts.along
    ).tocsc()


def film_response(held: Hardware, rings: int = RINGS) -> FilmResponse:
    """Solve for a unit pull (1 m) of each rod and a unit of each seating shape."""
    shape, parts = disc(rings), _parts(rings)
    hoop_nodes, film_size = len(shape.rim_vertices), 2 * shape.nodes
    rods = evaluation(hoop_nodes, held.rod_angles, 0)
    offsets = seating_shapes(parts.angles)
    collar = held.stretch_n_m / held.collar_m
    pull = np.vstack([np.zeros((film_size, held.rods)), rods.T.toarray()]) / held.rod_compliance_m_n
    seat = -held.radius_m * collar * (parts.gap.T @ (parts.weight[:, None] * offsets))
    solution = splu(_stiffness(held, parts, rods, hoop_nodes)).solve(np.hstack([pull, seat]))
    return FilmResponse(
        stress=_stress(held, shape, solution[:film_size]),
        at_rods=_radial(held, shape, solution, held.rod_angles),
        around=_radial(held, shape, solution, np.radians(np.arange(360.0))),
        rods=held.rods,
    )


def _radial(held: Hardware, shape: Disc, solution: Array, angles: Array) -> Array:
    """Radial tension at the rim: what the collar carries."""
    hoop_nodes, film_size = len(shape.rim_vertices), 2 * shape.nodes
    radial, _ = _rim(shape, angles)
    lift = evaluation(hoop_nodes, angles, 0) @ solution[film_size:]
    gap: Array = lift - radial @ solution[:film_size]
    gap[:, held.rods :] += seating_shapes(angles)
    return held.stretch_n_m / held.collar_m * gap


def _stress(held: Hardware, shape: Disc, shift: Array) -> Array:
    fine, n = shape.fine, shape.nodes
    exx, eyy = fine.dx @ shift[:n], fine.dy @ shift[n:]
    gamma = fine.dy @ shift[:n] + fine.dx @ shift[n:]
    nu = held.poisson
    plane = held.stretch_n_m / (1.0 - nu**2) / held.radius_m
    return plane * np.stack([exx + nu * eyy, eyy + nu * exx, 0.5 * (1.0 - nu) * gamma])
