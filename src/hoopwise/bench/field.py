"""Contours of the tension over the head, from the tension at its rods.

In a flat film without body forces the sum of the two principal stresses is harmonic
(plane elasticity, e.g. Timoshenko and Goodier, Theory of Elasticity, art. 17), so the
mean tension inside is fixed by its values at the rim:
t(r, a) = sum_k (r/R)^k (c_k cos k a + s_k sin k a).
"""

from itertools import pairwise
from typing import Any, Final, cast

import numpy as np
from numpy.typing import NDArray

_RINGS: Final = 24
_SPOKES: Final = 120


def harmonics(deviations: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Complex harmonics of the deviations (fractions) around the hoop, k = 0 … N/2."""
    count = len(deviations)
    spectrum = np.fft.rfft(deviations) / count
    spectrum[1:] *= 2.0
    if count % 2 == 0:
        spectrum[-1] /= 2.0
    return np.asarray(spectrum)


def field(
    deviations: NDArray[np.float64], radius: NDArray[np.float64], angle: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Deviation of the tension at points (radius as a fraction, angle from rod 1)."""
    total = np.zeros_like(radius)
    for k, c in enumerate(harmonics(deviations)):
        total = total + radius**k * np.real(c * np.exp(1j * k * angle))
    return np.asarray(total)


def contours(deviations: list[float]) -> list[dict[str, Any]]:
    """Filled bands of the field: limits (fractions) and polygons in a unit disc.

    Rod 1 lies at the bottom (0, 1), numbers grow clockwise, y points down.
    """
    from contourpy import FillType, contour_generator

    values = np.asarray(deviations)
    radius, angle = np.meshgrid(
        np.linspace(0.0, 1.0, _RINGS), np.linspace(0.0, 2.0 * np.pi, _SPOKES + 1), indexing="ij"
    )
    x, y = -radius * np.sin(angle), radius * np.cos(angle)
    z = field(values, radius, angle)
    top = max(0.04, float(np.max(np.abs(z))))
    step = next(s for s in (0.01, 0.02, 0.04, 0.08, 0.16, 1.0) if top / s <= 5.0)
    edges = step * (np.arange(-6, 6) + 0.5)
    edges[0], edges[-1] = -10.0, 10.0
    maker = contour_generator(x, y, z, fill_type=FillType.OuterOffset)
    bands = []
    for low, high in pairwise(edges):
        filled = maker.filled(float(low), float(high))
        outers, offsets = cast("tuple[list[Any], list[Any]]", filled)
        shapes = [
            [np.round(points[a:b], 3).tolist() for a, b in pairwise(cuts)]
            for points, cuts in zip(outers, offsets, strict=True)
        ]
        if shapes:
            middle = round(float(np.clip((low + high) / 2, -6 * step, 6 * step)) / step)
            bands.append({"level": middle, "step": step, "shapes": shapes})
    return bands
