"""Modes of one head on the tension that its rods make, and how they answer each rod.

Conventions: `head_model` holds basis, masses (kg) and stiffness per rod; a new setting
of the rods costs one eigenproblem. Frequencies are Hz, in vacuo unless an air load is
given; shapes are coefficients over the basis, of unit modal mass (1 kg).

For shapes v and stiffness K = sum over rods of pull_j K_j, lambda = (2 pi f)^2:

    d f_k / d pull_j = v_k' K_j v_k / (8 pi^2 f_k)
    d v_k / d pull_j = sum over l of v_l (v_l' K_j v_k) / (lambda_k - lambda_l)

Within a group of (nearly) equal frequencies the second sum has no meaning and the first
only along the right axes. There the group's matrix W_j, in Hz per metre, says all: the
eigenvalues of diag(f) + sum_j dpull_j W_j are the group's frequencies to first order.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.acoustics.head_basis import Name, masses_of, values_at
from hoopwise.acoustics.head_model import HeadModel, head_model, stiffness_of
from hoopwise.acoustics.limits import check_number, check_tension
from hoopwise.acoustics.stretch import check_pull
from hoopwise.errors import RangeError

__all__ = [
    "HeadDerivatives",
    "HeadModel",
    "HeadModes",
    "derivatives",
    "head_model",
    "label",
    "shape_at",
    "solve",
    "stiffness_of",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class HeadModes:
    """Modes by growing frequency; of B functions the lowest third are good to 1e-4."""

    frequency_hz: Array
    """(K,) in vacuo, or with the air load that the solution was given."""
    shapes: Array
    """(B, K) coefficients over the basis; modal mass of each shape 1 kg."""
    basis: tuple[Name, ...]


@dataclass(frozen=True, eq=False)
class HeadDerivatives:
    """First derivatives of the lowest K modes to the N rod pulls."""

    frequency: Array
    """(K, N) Hz per metre of pull, along the shapes as they stand."""
    shapes: Array
    """(B, K, N) per metre; motion within a mode's own group left out."""
    groups: tuple[tuple[int, ...], ...]
    """Indices of modes whose frequencies agree within the tolerance, alone or together."""
    within: tuple[Array, ...]
    """Each group's W, (N, g, g), Hz per metre."""


def solve(model: HeadModel, rod_pull_m: ArrayLike, added_mass: Array | None = None) -> HeadModes:
    """Modes of the head at the rod pulls.

    Parameters
    ----------
    model
        From `head_model`.
    rod_pull_m
        (N,) pulls (m).
    added_mass
        Mass that moves with the film (kg), (B,) on the diagonal or a symmetric (B, B);
        None in vacuo.

    Raises
    ------
    RangeError
        A pull is missing, the film is slack, or a lug is pulled beyond the film's limit.
    """
    pull = check_pull(model.rim, rod_pull_m)
    lugs = model.rim.lug_tension @ pull
    check_tension(float(lugs.mean()), model.rim.film, "mean of the rods")
    check_tension(max(float(lugs.max()), 1e-9), model.rim.film, f"rod {int(lugs.argmax()) + 1}")
    eigenvalues, shapes = _eigen(stiffness_of(model, pull), model.mass, added_mass)
    if eigenvalues[0] <= 0.0:
        raise RangeError(
            f"the film is slack near rod {int(lugs.argmin()) + 1}; the model holds for a film "
            "that is stretched all over, so tighten that rod or even the others."
        )
    return HeadModes(np.sqrt(eigenvalues) / (2.0 * np.pi), shapes, model.basis)


def _eigen(stiffness: Array, mass: Array, added: Array | None) -> tuple[Array, Array]:
    """Eigenvalues (rad/s)^2 growing, and shapes of unit modal mass."""
    if added is not None and np.ndim(added) == 2:
        root = np.linalg.cholesky(np.diag(mass) + added)
        half = np.linalg.solve(root, stiffness)
        eigenvalues, vectors = np.linalg.eigh(np.linalg.solve(root, half.T))
        return eigenvalues, _signed(np.linalg.solve(root.T, vectors))
    scale = 1.0 / np.sqrt(mass if added is None else mass + added)
    eigenvalues, vectors = np.linalg.eigh(stiffness * scale[:, None] * scale)
    return eigenvalues, _signed(vectors * scale[:, None])


def _signed(shapes: Array) -> Array:
    """Shapes with their largest coefficient positive."""
    largest = np.take_along_axis(shapes, np.abs(shapes).argmax(axis=0)[None], axis=0)
    return shapes * np.sign(largest)


def derivatives(
    model: HeadModel, modes: HeadModes, count: int = 24, tolerance: float = 1e-6
) -> HeadDerivatives:
    """Derivatives to each rod at a solution of `head_modes.solve`, air load kept fixed.

    Parameters
    ----------
    model, modes
        The head and its modes at the pulls in question (all of them, as solved).
    count
        How many of the lowest modes to treat, K.
    tolerance
        Modes closer than this fraction of their frequency form one group.

    Raises
    ------
    RangeError
        No mode is asked for.
    """
    check_number("a count of modes", count, (1, np.inf))
    total = len(modes.frequency_hz)
    count = min(count, total)
    groups = _groups(modes.frequency_hz, count, tolerance)
    count = groups[-1][-1] + 1 if groups else 0  # a group is never cut in two
    low = modes.shapes[:, :count]
    cross = np.matmul(modes.shapes.T, np.matmul(model.stiffness_pull, low))  # (N, all, K)
    squares = (2.0 * np.pi * modes.frequency_hz) ** 2
    gap = squares[:count] - squares[:, None]
    member = np.zeros((total, count), dtype=bool)
    for group in groups:
        member[np.ix_(group, group)] = True
    mixing = np.where(member, 0.0, 1.0 / np.where(member, 1.0, gap))
    frequency = modes.frequency_hz[:count]
    own = np.einsum("nkk->kn", cross[:, :count]) / (8.0 * np.pi**2 * frequency[:, None])
    return HeadDerivatives(
        frequency=own,
        shapes=np.moveaxis(np.matmul(modes.shapes, cross * mixing), 0, 2),
        groups=groups,
        within=tuple(
            cross[:, group][:, :, group]
            / (8.0 * np.pi**2 * np.sqrt(np.outer(frequency[list(group)], frequency[list(group)])))
            for group in groups
        ),
    )


def _groups(frequency_hz: Array, count: int, tolerance: float) -> tuple[tuple[int, ...], ...]:
    """Runs of neighbours closer than the tolerance; the last is completed past ``count``."""
    groups: list[list[int]] = []
    for i, f in enumerate(frequency_hz):
        near = i > 0 and f - frequency_hz[i - 1] <= tolerance * f
        if i >= count and not near:
            break
        if near:
            groups[-1].append(i)
        else:
            groups.append([i])
    return tuple(tuple(group) for group in groups)


def shape_at(model: HeadModel, shapes: Array, r_m: ArrayLike, theta: ArrayLike) -> Array:
    """(P, K) value of shapes (B, K) at P places r (m), theta (rad).

    Raises
    ------
    RangeError
        A place lies off the film.
    """
    r = np.asarray(r_m, dtype=float)
    if r.size and not (r.min() >= 0.0 and r.max() <= model.radius_m * (1.0 + 1e-9)):
        raise RangeError(f"a place lies off the film: r must be from 0 to {model.radius_m:.4g} m.")
    return values_at(model.basis, model.radius_m, r, theta) @ shapes


def label(modes: HeadModes, mass: Array | None = None) -> list[tuple[int, int]]:
    """(m, n) of each mode: the pair of basis functions that carries most of its motion.

    Parameters
    ----------
    mass
        (B,) masses to weigh the coefficients with, as `HeadModel.mass`; without them the
        masses of a film of radius 1 m and 1 kg/m², which order the same.
    """
    weight = masses_of(modes.basis, 1.0, 1.0) if mass is None else mass
    pairs = sorted({(m, n) for m, n, _ in modes.basis})
    place = {pair: i for i, pair in enumerate(pairs)}
    share = np.zeros((len(pairs), modes.shapes.shape[1]))
    np.add.at(
        share,
        [place[m, n] for m, n, _ in modes.basis],
        weight[:, None] * modes.shapes**2,
    )
    return [pairs[i] for i in share.argmax(axis=0)]
