"""Air outside drums, solved once for every size and kept in air_tables/*.npy.

A face in a baffle: Chebyshev series in (ka)^2. A drum in open air: what it changes for ends
that breathe and ends that move along, at a grid of ka and at Chebyshev nodes of the square
root of depth over radius; all entries of all grids are mixtures of some dozens of patterns
(a singular value decomposition), so that the file stays small.
``python scripts/make_air_tables.py`` makes it anew from `air` and `cylinder`.
"""

from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FOLDER: Final = Path(__file__).with_name("air_tables")
COUNT: Final = 6
"""Functions per family that are stored."""
ZEROS: Final = 10
"""Zeros per family and m that are stored."""
BAFFLED_M: Final = 9
FREE_M: Final = 4
"""In open air only m below this is solved; higher ones radiate too little to matter."""
KA_FREE: Final = 5.0
"""Up to here the cylinder is solved."""
KA: Final = np.concatenate([[0.05], np.linspace(0.2, KA_FREE, 29)])
SHALLOWEST: Final = 0.15
LONGEST: Final = 3.0
"""Depth over radius beyond which the ends are taken to be no further apart."""
DEPTHS: Final = 16


@lru_cache(maxsize=8)
def _stored(name: str) -> Floats:
    """One of the arrays.

    zeros (2, BAFFLED_M, ZEROS): family, m, zeros of J_m and of J_m';
    baffled (2, BAFFLED_M, terms, 2, pairs): family, m, term, mass or damping over ka;
    patterns (m, 2, 2, pairs, P): breathing or along, mass or damping over its trend;
    weights (P, KA, DEPTHS); sizes (m, 2, 2, KA) that patterns times weights are multiples of.
    """
    return np.asarray(np.load(FOLDER / f"{name}.npy"), dtype=np.float64)


def depth_nodes() -> Floats:
    """Depths over radius that are solved."""
    node = np.cos((np.arange(DEPTHS) + 0.5) * np.pi / DEPTHS)
    low, high = np.sqrt(SHALLOWEST), np.sqrt(LONGEST)
    return np.asarray(0.5 * (low + high) + 0.5 * (high - low) * node) ** 2


def stored_zeros(family: int, m: int) -> Floats:
    """Zeros of J_m (family 0) or J_m' (1), (ZEROS,); a copy."""
    return np.array(_stored("zeros")[family, m], dtype=np.float64)


def stored_series(family: int, m: int, count: int) -> Floats:
    """Series of a face in a baffle, (terms, 2, count, count); family 0 head, 1 duct."""
    packed = _stored("baffled")[family, m]
    return np.asarray(packed[..., place_of_pairs(COUNT)][..., :count, :count], dtype=np.float64)


@lru_cache(maxsize=16)
def place_of_pairs(size: int) -> NDArray[np.intp]:
    """Index of each element of a symmetric matrix among its upper pairs."""
    square = np.zeros((size, size), dtype=np.intp)
    upper = np.triu_indices(size)
    square[upper] = np.arange(len(upper[0]))
    return np.maximum(square, square.T)


@lru_cache(maxsize=64)
def _weights_at(depth: float) -> Floats:
    """(KA, P) at one depth over radius, within the solved range."""
    node = np.sqrt(depth_nodes())
    gap = np.sqrt(np.clip(depth, SHALLOWEST, LONGEST)) - node
    gap = np.where(gap == 0.0, 1e-12, gap)
    turn = (np.arange(DEPTHS) + 0.5) * np.pi / DEPTHS
    pull = (-1.0) ** np.arange(DEPTHS) * np.sin(turn) / gap  # barycentric, Chebyshev nodes
    return np.ascontiguousarray((_stored("weights") @ (pull / pull.sum())).T)


@lru_cache(maxsize=1)
def _patterns() -> Floats:
    """(m, 2, 2, P, pairs)."""
    return np.ascontiguousarray(np.swapaxes(_stored("patterns"), -1, -2))


def stored_field(depth: float, m: int) -> Floats:
    """Open air's part at each `KA`, (2, 2, KA, pairs); head functions, then duct functions.

    First axis ends that breathe and that move along; second change of mass over rho a^3, and
    damping over rho omega a^3 and its trend.
    """
    return np.asarray((_weights_at(depth) @ _patterns()[m]) * _stored("sizes")[m][..., None])
