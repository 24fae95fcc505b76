"""Air tables of several m side by side, so that all modes of a drum are solved at once.

Tables differ in how many waves of the cavity they keep. Shorter ones are filled up with
coordinates of 1 kg that are tied so stiffly that their modes lie above all others.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.polynomial.chebyshev import chebder
from numpy.typing import NDArray

from hoopwise.acoustics.air import Floats
from hoopwise.acoustics.air_table import TERMS, AirTable, terms

_FAR: Final = 1e3
"""Frequency of a filling coordinate over the table's top frequency."""


@dataclass(frozen=True)
class Line:
    """Mass (B, I, N, N) in kg, and its first and second derivative along turn omega^2."""

    mass: Floats
    slope: Floats
    bend: Floats
    turn: Floats
    """(B, I)."""


@dataclass(frozen=True, eq=False)
class AirStack:
    """M tables, filled up to N coordinates; one table serves any batch of drums."""

    tables: tuple[AirTable, ...]
    stiffness: Floats
    """(M, N, N) in N/m."""
    series: Floats
    """(M, TERMS, N N) mass in kg."""
    top_omega: Floats
    """(M,) rad/s."""

    def mass(self, omega: Floats) -> Floats:
        """Mass of the air (kg) at omega (B, I), (B, I, N, N); B is M, or anything if M is 1."""
        size = self.stiffness.shape[1]
        flat = self._terms(omega) @ self.series
        return np.asarray(flat.reshape(*omega.shape, size, size))

    def line(self, omega: Floats) -> Line:
        """Mass of the air at omega (B, I) and near it."""
        size = self.stiffness.shape[1]
        shape = (*omega.shape, size, size)
        terms = self._terms(omega)
        slopes = terms @ _change()
        mass, slope, bend = (
            (each @ self.series).reshape(shape) for each in (terms, slopes, slopes @ _change())
        )
        return Line(mass, slope, bend, (2.0 / self.top_omega**2)[:, None] + 0.0 * omega)

    def damping(self, omega: Floats) -> Floats:
        """Resistance (kg/s) at omega (B, I), (B, I, N, N)."""
        return self.damping_of(np.arange(len(omega)), omega)

    def damping_of(self, rows: NDArray[np.intp], omega: Floats) -> Floats:
        """Resistance (kg/s) of rows (P,) of a batch at omega (P, K), (P, K, N, N)."""
        if len(self.tables) == 1:
            return self.tables[0].damping(omega)
        out = np.zeros((*omega.shape, *self.stiffness.shape[1:]))
        for row in np.unique(rows):
            table, here = self.tables[row], rows == row
            size = len(table.stiffness)
            out[here, :, :size, :size] = table.damping(omega[here])
        return out

    def _terms(self, omega: Floats) -> Floats:
        return terms(omega, self.top_omega[:, None])


@lru_cache(maxsize=1)
def _change() -> Floats:
    """(TERMS, TERMS) coefficients of a series' derivative per coefficient of its own."""
    out = np.zeros((TERMS, TERMS))
    out[:-1] = chebder(np.eye(TERMS))
    return out


@lru_cache(maxsize=64)
def air_stack(tables: tuple[AirTable, ...]) -> AirStack:
    """Tables of one drum side by side."""
    size = max(len(table.stiffness) for table in tables)
    stiffness = np.zeros((len(tables), size, size))
    series = np.zeros((len(tables), TERMS, size, size))
    for i, table in enumerate(tables):
        own = len(table.stiffness)
        spare = np.arange(own, size)
        stiffness[i, :own, :own] = table.stiffness
        stiffness[i, spare, spare] = (_FAR * table.top_omega) ** 2
        series[i, :, :own, :own] = table.mass_series
        series[i, 0, spare, spare] = 1.0
    return AirStack(
        tables,
        stiffness,
        series.reshape(len(tables), TERMS, -1),
        np.array([table.top_omega for table in tables]),
    )


def filled(matrices: Sequence[Floats], size: int) -> Floats:
    """Square matrices (..., n, n) of several tables, one after the other, (M, ..., size, size)."""
    out = np.zeros((len(matrices), *matrices[0].shape[:-2], size, size))
    for row, matrix in zip(out, matrices, strict=True):
        row[..., : matrix.shape[-1], : matrix.shape[-1]] = matrix
    return out
