"""The unit disc as curved quadratic triangles, and operators that read fields on it.

Everything in this package works on the unit disc and scales by the radius. The mesh
has six more points on each ring than on the one inside it; edges at the rim follow
the circle. Elements, quadrature and degrees of freedom come from scikit-fem.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from skfem import Basis, ElementTriP2, MeshTri, MeshTri2

Array = NDArray[np.float64]

RINGS = 12
"""Rings of elements; 12 keep the low 30 modes within 1e-3 (see the tests)."""


def _ring_points(rings: int) -> Array:
    points = [np.zeros((2, 1))]
    for ring in range(1, rings + 1):
        angle = 2.0 * np.pi * np.arange(6 * ring) / (6 * ring)
        points.append(ring / rings * np.array([np.cos(angle), np.sin(angle)]))
    return np.hstack(points)


def _ring_triangles(rings: int) -> NDArray[np.int64]:
    """Triangles between ring and ring, sector by sector of 60 degrees."""
    start = [0] + [1 + 3 * r * (r - 1) for r in range(1, rings + 1)]

    def at(ring: int, place: int) -> int:
        return 0 if ring == 0 else start[ring] + place % (6 * ring)

    triangles = []
    for ring in range(1, rings + 1):
        for sector in range(6):
            for i in range(ring):
                outer, inner = sector * ring + i, sector * (ring - 1) + i
                triangles.append((at(ring, outer), at(ring, outer + 1), at(ring - 1, inner)))
                if i < ring - 1:
                    triangles.append(
                        (at(ring - 1, inner), at(ring, outer + 1), at(ring - 1, inner + 1))
                    )
    return np.array(triangles, dtype=np.int64).T


def _curved(plain: Any) -> Any:
    """The same mesh with quadratic edges, those at the rim bent onto the circle."""
    curved = MeshTri2.from_mesh(plain)
    places = curved.doflocs.copy()
    ends = plain.facets[:, plain.boundary_facets()]
    middles = 0.5 * (plain.p[:, ends[0]] + plain.p[:, ends[1]])
    for middle in middles.T:
        node = int(np.argmin(np.sum((places - middle[:, None]) ** 2, axis=0)))
        places[:, node] /= np.hypot(*places[:, node])
    return MeshTri2(places, curved.t)


@dataclass(frozen=True)
class Points:
    """Quadrature points on the disc and sparse operators from nodes to them."""

    x: Array
    y: Array
    weight: Array
    value: Any
    """(points, nodes) sparse."""
    dx: Any
    dy: Any


@dataclass(frozen=True)
class Disc:
    """Quadratic mesh of the unit disc."""

    mesh: Any
    nodes: int
    corners: Array
    """(3, 2, elements) corner places."""
    element_nodes: NDArray[np.int64]
    """(6, elements): corners, then the middles of edges 0-1, 1-2, 0-2."""
    fine: Points
    """Six points an element: exact for mass, more than enough for stiffness."""
    coarse: Points
    """Three points an element, for double integrals over the disc."""
    rim_vertices: NDArray[np.int64]
    """Nodes at the rim by growing angle, the first at angle 0."""
    rim_middles: NDArray[np.int64]
    """Node half way between a rim vertex and the next."""


def _points(mesh: Any, order: int) -> tuple[Points, Any]:
    basis = Basis(mesh, ElementTriP2(), intorder=order)
    place = np.asarray(basis.global_coordinates())
    weight = np.asarray(basis.dx)
    rows = np.arange(weight.size).reshape(weight.shape)
    parts: list[list[Array]] = [[], [], []]
    columns = []
    for i in range(basis.Nbfun):
        field = basis.basis[i][0]
        parts[0].append(np.broadcast_to(np.asarray(field), weight.shape).ravel())
        parts[1].append(np.broadcast_to(field.grad[0], weight.shape).ravel())
        parts[2].append(np.broadcast_to(field.grad[1], weight.shape).ravel())
        columns.append(np.broadcast_to(basis.element_dofs[i][:, None], weight.shape).ravel())
    index = (np.tile(rows.ravel(), basis.Nbfun), np.concatenate(columns))
    shape = (weight.size, basis.N)
    operators = [sp.csr_matrix((np.concatenate(part), index), shape=shape) for part in parts]
    return Points(place[0].ravel(), place[1].ravel(), weight.ravel(), *operators), basis


@lru_cache(maxsize=4)
def disc(rings: int = RINGS) -> Disc:
    """The meshed unit disc, made once for each number of rings."""
    plain = MeshTri(_ring_points(rings), _ring_triangles(rings))
    mesh = _curved(plain)
    fine, basis = _points(mesh, 4)
    coarse, _ = _points(mesh, 2)
    places = np.asarray(basis.doflocs)
    around = np.flatnonzero(np.hypot(*places) > 1.0 - 1e-9)
    turn = np.mod(np.arctan2(places[1, around], places[0, around]) + 1e-9, 2.0 * np.pi)
    around = around[np.argsort(turn)]
    return Disc(
        mesh=mesh,
        nodes=int(basis.N),
        corners=np.stack([places[:, basis.element_dofs[i]] for i in range(3)]),
        element_nodes=np.asarray(basis.element_dofs, dtype=np.int64),
        fine=fine,
        coarse=coarse,
        rim_vertices=around[0::2],
        rim_middles=around[1::2],
    )


def interpolation(shape: Disc, x: float, y: float) -> tuple[NDArray[np.int64], Array]:
    """Nodes and weights that give a field at one place off the rim's elements.

    Raises
    ------
    ValueError
        The place lies outside the disc.
    """
    a, b, c = shape.corners
    area = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
    first = ((b[0] - x) * (c[1] - y) - (c[0] - x) * (b[1] - y)) / area
    second = ((c[0] - x) * (a[1] - y) - (a[0] - x) * (c[1] - y)) / area
    third = 1.0 - first - second
    inside = np.minimum(np.minimum(first, second), third)
    element = int(np.argmax(inside))
    if inside[element] < -1e-6:
        raise ValueError(f"({x:g}, {y:g}) lies outside the meshed disc")
    p, q, r = first[element], second[element], third[element]
    weights = [p * (2 * p - 1), q * (2 * q - 1), r * (2 * r - 1), 4 * p * q, 4 * q * r, 4 * p * r]
    return shape.element_nodes[:, element], np.array(weights)
