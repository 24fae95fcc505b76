"""A head's stiffness and mass on finite-element shapes, from any tension field.

The quadratic membrane elements are reduced once to the low modes of an even head on the
same mesh; a head's own stiffness and mass are then summed over the quadrature points.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import eigsh

from benchmarks.truth.mesh import RINGS, Disc, disc

Array = NDArray[np.float64]

SHAPES = 120
"""Shapes kept: uneven heads then agree with the full elements within 1e-4."""
DUCT_SHAPES = 32
"""Counted so that no pair is cut in two."""


@dataclass(frozen=True)
class Shapes:
    """Fields kept on the unit disc, clamped at the rim unless said otherwise."""

    disc: Disc
    nodal: Array
    """(nodes, shapes)."""
    value: Array
    """(fine points, shapes)."""
    dx: Array
    dy: Array
    coarse: Array
    """(coarse points, shapes)."""
    duct_wavenumber: Array
    """Of the rigid-walled duct, times radius; the first is 0."""
    duct_coupling: Array
    """(shapes, duct shapes) integral of head shape times duct shape."""


def membrane_matrices(shape: Disc, stress: Array, density: Array) -> tuple[Any, Any]:
    """Sparse stiffness and mass over all nodes for fields at the fine points."""
    fine = shape.fine
    xx, yy, xy = (sp.diags(fine.weight * part) for part in stress)
    cross = fine.dx.T @ xy @ fine.dy
    stiffness = fine.dx.T @ xx @ fine.dx + fine.dy.T @ yy @ fine.dy + cross + cross.T
    mass = fine.value.T @ sp.diags(fine.weight * density) @ fine.value
    return stiffness.tocsc(), mass.tocsc()


def free_nodes(shape: Disc) -> NDArray[np.int64]:
    """Nodes that are not on the rim."""
    rim = np.concatenate([shape.rim_vertices, shape.rim_middles])
    return np.setdiff1d(np.arange(shape.nodes), rim)


@lru_cache(maxsize=2)
def shapes(rings: int = RINGS, count: int = SHAPES) -> Shapes:
    """Low modes of an even head and of the duct under it, on one mesh."""
    shape = disc(rings)
    one = np.ones(len(shape.fine.weight))
    stiffness, mass = membrane_matrices(shape, np.stack([one, one, 0.0 * one]), one)
    free = free_nodes(shape)
    start = np.linspace(1.0, 2.0, len(free))
    even, inner = eigsh(stiffness[free][:, free], count, mass[free][:, free], sigma=0.0, v0=start)
    nodal = np.zeros((shape.nodes, count))
    nodal[free] = inner[:, np.argsort(even)]
    start = np.linspace(1.0, 2.0, shape.nodes)
    duct, ducts = eigsh(stiffness, DUCT_SHAPES, mass, sigma=-1.0, v0=start)
    order = np.argsort(duct)
    fine = shape.fine
    return Shapes(
        disc=shape,
        nodal=nodal,
        value=fine.value @ nodal,
        dx=fine.dx @ nodal,
        dy=fine.dy @ nodal,
        coarse=shape.coarse.value @ nodal,
        duct_wavenumber=np.sqrt(np.maximum(duct[order], 0.0)),
        duct_coupling=nodal.T @ (mass @ ducts[:, order]),
    )


def stiffness(kept: Shapes, stress: Array) -> Array:
    """(shapes, shapes) stiffness (N/m) for a tension field (3, fine points) in N/m."""
    xx, yy, xy = kept.disc.fine.weight * stress
    right_x = xx[:, None] * kept.dx + xy[:, None] * kept.dy
    right_y = xy[:, None] * kept.dx + yy[:, None] * kept.dy
    full: Array = kept.dx.T @ right_x + kept.dy.T @ right_y
    return 0.5 * (full + full.T)


def mass(kept: Shapes, density_kg_m2: Array, radius_m: float) -> Array:
    """(shapes, shapes) mass (kg) for a density at the fine points."""
    weight = kept.disc.fine.weight * density_kg_m2 * radius_m**2
    full: Array = kept.value.T @ (weight[:, None] * kept.value)
    return full


def smooth_unevenness(rng: np.random.Generator, kept: Shapes, share: float) -> Array:
    """(fine points,) relative density variation of rms ``share``, smooth over the head.

    A sum of plane waves of a third to twice the diameter in random directions.
    """
    fine = kept.disc.fine
    field = np.zeros_like(fine.x)
    for _ in range(12):
        angle, phase = rng.uniform(0.0, 2.0 * np.pi, 2)
        number = rng.uniform(0.5, 3.0) * np.pi
        field += rng.normal() * np.cos(
            number * (np.cos(angle) * fine.x + np.sin(angle) * fine.y) + phase
        )
    field -= np.sum(fine.weight * field) / np.pi
    rms = np.sqrt(np.sum(fine.weight * field**2) / np.pi)
    scaled: Array = share * field / rms
    return scaled
