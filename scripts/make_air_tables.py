"""Solves the air outside drums once and for all: ``python scripts/make_air_tables.py``.

Radiation of a face depends on frequency times radius (ka) alone, and for a drum that hangs
in open air on depth over radius besides. So every size of drum shares these tables, which
go to src/hoopwise/acoustics/air_tables. The field of the cylinder takes some minutes.
"""

import time

import numpy as np

from hoopwise.acoustics import air_store
from hoopwise.acoustics.air import baffled_series
from hoopwise.acoustics.air_store import FREE_M
from hoopwise.acoustics.cylinder import end_fields
from hoopwise.acoustics.free_field import Ends, trend
from hoopwise.acoustics.hankel import FAMILIES, bessel_zeros


def zeros_table() -> np.ndarray:
    """Zeros of J_m and of its slope, (family, m, zero)."""
    each = range(air_store.BAFFLED_M)
    return np.array([[bessel_zeros(f, m, air_store.ZEROS) for m in each] for f in FAMILIES])


def baffled_tables() -> np.ndarray:
    """Chebyshev series of a face in a baffle, (family, m, term, mass or damping, pair)."""
    first, second = np.triu_indices(air_store.COUNT)
    rows = [
        [
            baffled_series(family, m, air_store.COUNT)[:, :, first, second]
            for m in range(air_store.BAFFLED_M)
        ]
        for family in FAMILIES
    ]
    return np.array(rows)


def free_tables() -> np.ndarray:
    """What open air changes, (m, breathing or along, mass or damping, pair, ka, depth)."""
    ends: Ends = (("head", air_store.COUNT), ("duct", air_store.COUNT))
    pairs = np.triu_indices(2 * air_store.COUNT)
    shape = (FREE_M, 2, 2, len(pairs[0]), len(air_store.KA), air_store.DEPTHS)
    values = np.zeros(shape)
    for j, depth in enumerate(air_store.depth_nodes()):
        start = time.perf_counter()
        for i, ka in enumerate(air_store.KA):
            for m in range(FREE_M):
                fields = end_fields(float(depth), m, ends, float(ka))
                steep = float(ka) * float(trend(m, ka))
                for sign in (0, 1):
                    values[m, sign, 0, :, i, j] = fields.mass_change[sign][pairs]
                    values[m, sign, 1, :, i, j] = fields.resistance[sign][pairs] / steep
        print(f"depth {depth:.3f} radii: {time.perf_counter() - start:.0f} s")
    return values


def main() -> None:
    """Solve, squeeze, write."""
    air_store.FOLDER.mkdir(exist_ok=True)
    np.save(air_store.FOLDER / "zeros.npy", zeros_table())
    baffled = baffled_tables()
    small = np.abs(baffled) < 1e-13 * np.abs(baffled).max()
    baffled[small] = 0.0
    free = free_tables()
    patterns, weights, sizes = squeezed(free)
    tables = {"baffled": baffled, "patterns": patterns, "weights": weights, "sizes": sizes}
    for name, values in tables.items():
        np.save(air_store.FOLDER / f"{name}.npy", values)
    whole = np.tensordot(patterns, weights, axes=1) * sizes[:, :, :, None, :, None]
    worst = np.abs(whole - free).max()
    print(f"{len(weights)} patterns, worst error {worst:.1e}")


def squeezed(free: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Patterns (m, 2, 2, pairs, P), weights (P, ka, depth) and sizes (m, 2, 2, ka).

    Every m and kind counts by its own size at each ka, however little it radiates there:
    else what is rounded off at high ka would feed the drum at low ka.
    """
    sizes = np.abs(free).max(axis=(3, 5))
    flat = free / sizes[:, :, :, None, :, None]
    flat = flat.reshape(-1, len(air_store.KA) * air_store.DEPTHS)
    left, strength, right = np.linalg.svd(flat, full_matrices=False)
    kept = int((strength > 1e-6 * strength[0]).sum())
    patterns = (left[:, :kept] * strength[:kept]).reshape(*free.shape[:4], kept)
    weights = right[:kept].reshape(kept, *free.shape[4:])
    return patterns.astype(np.float32), weights.astype(np.float32), sizes


if __name__ == "__main__":
    main()
