"""Everything that air does to a drum's ends, tabulated over frequency for one m.

Coordinates, in this order: top functions, bottom functions, kept cavity modes, vent.
The vent is a slug of air in a hole of the shell, driven by the cavity's even pressure
(m = 0 only). Springs are constant; mass is a short Chebyshev series in omega^2, as it is
an even function of omega; damping, wanted once per mode, is looked up as it is.
"""

import math
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final, Literal

import numpy as np

from hoopwise.acoustics.air import Air, Floats, angular_factor
from hoopwise.acoustics.cavity import Cavity, cavity
from hoopwise.acoustics.free_field import Ends, Outside, free_ends

Bottom = Literal["head", "open", "rigid", "none"]
Surroundings = Literal["baffle", "free"]

TERMS: Final = 24
HEADROOM: Final = 1.1
"""Cavity modes up to this many times the top frequency keep their own coordinate."""
VISCOSITY_M2_S: Final = 1.5e-5
SHELL_M: Final = 6e-3
"""Wall thickness at the vent, an estimate (no source)."""


@dataclass(frozen=True)
class Enclosure:
    """Geometry that the air sees; all that a table depends on."""

    radius_m: float
    depth_m: float
    bottom: Bottom
    vent_radius_m: float = 0.0
    surroundings: Surroundings = "free"
    air: Air = field(default_factory=Air)

    def ends(self, count: int) -> Ends:
        """Family and number of functions at top and bottom."""
        if self.bottom == "head":
            return ("head", count), ("head", count)
        if self.bottom == "open":
            return ("head", count), ("duct", count)
        return ("head", count), ("head", 0)


@dataclass(frozen=True, eq=False)
class AirTable:
    """Springs, mass and damping of the air, for one m and one enclosure."""

    m: int
    tops: int
    bottoms: int
    stiffness: Floats
    """(N, N) in N/m."""
    mass_series: Floats
    """(TERMS, N, N) in kg."""
    top_omega: float
    """Highest angular frequency that the series holds for (rad/s)."""
    outside: Outside
    enclosure: Enclosure
    vent_loss: float
    """Viscous resistance of the vent / sqrt(omega), on the last coordinate."""

    def mass(self, omega: Floats) -> Floats:
        """Mass of the air at omega, (..., N, N) in kg."""
        flat = terms(omega, self.top_omega) @ self.mass_series.reshape(TERMS, -1)
        return np.asarray(flat.reshape(*np.shape(omega), *self.stiffness.shape))

    def damping(self, omega: Floats) -> Floats:
        """Resistance at omega, radiation and vent, (..., N, N) in kg/s."""
        omega = np.asarray(omega)
        e, heads = self.enclosure, self.tops + self.bottoms
        ka = np.minimum(omega, self.top_omega) * e.radius_m / e.air.speed_m_s
        out = np.zeros((*omega.shape, *self.stiffness.shape))
        scale = e.air.density_kg_m3 * angular_factor(self.m) * e.radius_m**3
        out[..., :heads, :heads] = scale * omega[..., None, None] * self.outside.damping(ka)
        if self.vent_loss > 0.0:
            out[..., -1, -1] += self.vent_loss * np.sqrt(omega)
        return out


def terms(omega: Floats, top_omega: Floats | float) -> Floats:
    """Chebyshev polynomials of 2 (omega/top)^2 - 1 at omega, (..., TERMS)."""
    y = np.minimum(omega / top_omega, 1.0) ** 2
    return np.asarray(np.cos(np.arccos(2.0 * y - 1.0)[..., None] * np.arange(TERMS)))


@lru_cache(maxsize=256)
def air_table(enclosure: Enclosure, m: int, count: int, top_omega: float) -> AirTable:
    """The table for ``count`` functions per end, valid up to ``top_omega`` (rad/s)."""
    e = enclosure
    ends = e.ends(count)
    tops, bottoms = ends[0][1], ends[1][1]
    inner = cavity(e.radius_m, e.depth_m, m, ends, HEADROOM * top_omega, e.air)
    stiffness, fixed, vent_loss = _inside(e, m, count, inner)
    size = len(stiffness)
    angle = (np.arange(TERMS) + 0.5) * math.pi / TERMS
    nodes = top_omega * np.sqrt(0.5 * (1.0 + np.cos(angle)))
    mass = np.zeros((TERMS, size, size))
    heads = tops + bottoms
    outside = _outside(e, m, ends)
    scale = e.air.density_kg_m3 * angular_factor(m) * e.radius_m**3
    mass[:, :heads, :heads] = scale * outside.mass(nodes * e.radius_m / e.air.speed_m_s)
    if e.bottom != "none":
        mass[:, :heads, :heads] += inner.rest_mass(nodes)
    mass += fixed
    basis = np.cos(np.outer(np.arange(TERMS), angle)) * (2.0 / TERMS)
    basis[0] *= 0.5
    return AirTable(
        m=m,
        tops=tops,
        bottoms=bottoms,
        stiffness=stiffness,
        mass_series=np.tensordot(basis, mass, axes=1),
        top_omega=top_omega,
        outside=outside,
        enclosure=e,
        vent_loss=vent_loss,
    )


def _outside(e: Enclosure, m: int, ends: Ends) -> Outside:
    """Outer faces as the surroundings have it; a bare head is taken in its baffle."""
    if e.bottom == "none":
        return Outside(m, ends, faces=2)
    if e.surroundings == "baffle":
        return Outside(m, ends)
    return free_ends(e.depth_m / e.radius_m, m, ends)


def _inside(e: Enclosure, m: int, count: int, inner: Cavity) -> tuple[Floats, Floats, float]:
    """Springs and coordinate masses of kept cavity modes and vent, and the vent's loss."""
    heads = sum(functions for _, functions in e.ends(count))
    if e.bottom == "none":
        return np.zeros((heads, heads)), np.zeros((heads, heads)), 0.0
    spring, b, square = inner.columns()
    moving = square > 0.0
    waves = int(moving.sum())
    vent = m == 0 and e.vent_radius_m > 0.0 and e.bottom != "open"
    size = heads + waves + int(vent)
    # Each mode is the spring between what the ends push in and its own coordinate.
    pull = np.zeros((len(spring), size))
    pull[:, :heads] = b.T
    pull[moving, heads + np.arange(waves)] = -1.0
    mass = np.zeros((size, size))
    own = np.arange(heads, heads + waves)
    mass[own, own] = spring[moving] / square[moving]
    loss = 0.0
    if vent:
        slug, resistance = _vent(e)
        # The even mode's b.q times this is the volume that the ends sweep.
        volume = math.sqrt(2.0) * math.pi * e.radius_m**2
        pull[~moving, -1] = 1.0
        mass[-1, -1] = slug * volume**2
        loss = resistance * volume**2
    return (pull.T * spring) @ pull, mass, loss


def _vent(e: Enclosure) -> tuple[float, float]:
    """Acoustic mass (kg/m^4) of the vent and its viscous resistance over sqrt(omega).

    Slug with two flanged ends, 0.85 radius each (Rayleigh); boundary layer in the hole,
    length plus one diameter (Ingard 1953, from memory).
    """
    r, rho = e.vent_radius_m, e.air.density_kg_m3
    area = math.pi * r * r
    slug = rho * (SHELL_M + 1.7 * r) / area
    resistance = rho * math.sqrt(2.0 * VISCOSITY_M2_S) * (SHELL_M + 2.0 * r) / (area * r)
    return slug, resistance
