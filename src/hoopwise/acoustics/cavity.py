"""Air inside a shell: the modes of a closed cylinder as springs and masses on its ends.

Hard side wall, duct functions J_m(d_s r/a) across, cos(p pi z/L) along. Seen from ends
that move as q (up is positive at both), each cavity mode is a spring kappa that the ends
compress by b.q and that carries a mass kappa/omega_sp^2 on its far side:

    kappa_sp = rho c^2 eps_m a^2 e_p / (L N_s),     e_0 = 1, e_p = 2
    b = (G_s, -(-1)^p G'_s),   omega_sp^2 = c^2 ((d_s/a)^2 + (p pi/L)^2)

G the overlap of end and duct functions, N their norm. Summed over p this is the exact
hard-walled duct, rho omega^2 eps G G'/N times 1/(g tan gL) or -1/(g sin gL),
g^2 = (omega/c)^2 - (d_s/a)^2. Modes below a ceiling stay as they are; all others act as
a mass that grows smoothly with frequency. So nothing has a pole, and every mode of the
drum can be found by order.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from hoopwise.acoustics.air import Air, Floats, angular_factor
from hoopwise.acoustics.hankel import Family, duct_norms, duct_zeros, head_on_duct

DUCTS = 10
"""Duct functions per m; the rest would change a frequency by less than 1e-5."""
_LONG = 48
"""Standing waves along the axis that are summed before the closed remainder."""
_PARITY: Final = np.asarray(np.arange(_LONG)[:, None] % 2 == (0, 1), dtype=np.float64)
"""(_LONG, 2) even and odd waves."""


@dataclass(frozen=True)
class Cavity:
    """Modes of the air between two ends, for one number m of nodal diameters."""

    overlap: tuple[Floats, Floats]
    """G / N^(1/2) at top and bottom, (n_top, DUCTS) and (n_bottom, DUCTS)."""
    scale: float
    """rho c^2 eps_m a^2 / L (N/m)."""
    square: Floats
    """(DUCTS, _LONG) omega_sp^2."""
    kept: Floats
    """(DUCTS, _LONG) 1 where the mode keeps its own coordinate, else 0."""
    step: float
    """(c pi / L)^2: omega^2 of the first wave along the axis."""

    def columns(self) -> tuple[Floats, Floats, Floats]:
        """Kept modes: spring (k,), b (n_top + n_bottom, k), omega^2 (k,)."""
        duct, along = np.nonzero(self.kept)
        top, bottom = (g[:, duct] for g in self.overlap)
        sign = np.where(along % 2 == 0, 1.0, -1.0)
        spring = self.scale * np.where(along == 0, 1.0, 2.0)
        return spring, np.concatenate([top, -sign * bottom]), self.square[duct, along]

    def rest_mass(self, omega: Floats) -> Floats:
        """Mass (kg) on the ends of all modes that have no coordinate, at omega (W,) in rad/s.

        Returns
        -------
        (W, n_top + n_bottom, n_top + n_bottom)
        """
        free = np.where(self.kept > 0.0, 0.0, 2.0)
        free[:, 0] *= 0.5
        weight = self.square - omega[:, None, None] ** 2
        np.divide(free, weight, out=weight)
        even, odd = np.moveaxis(weight @ _PARITY, -1, 0)
        even = self.scale * (even + self._beyond(omega, _LONG - 1))
        odd = self.scale * (odd + self._beyond(omega, _LONG))
        top, bottom = self.overlap
        n = len(top)
        out = np.empty((len(omega), n + len(bottom), n + len(bottom)))
        out[:, :n, :n] = _form(top, even + odd, top)
        out[:, n:, n:] = out[:, :n, :n] if bottom is top else _form(bottom, even + odd, bottom)
        out[:, :n, n:] = _form(top, odd - even, bottom)
        out[:, n:, :n] = np.swapaxes(out[:, :n, n:], 1, 2)
        return out

    def _beyond(self, omega: Floats, edge: int) -> Floats:
        """Sum of 2/(omega_sp^2 - omega^2) over every other p > edge, (W, D).

        The integral from ``edge`` on, and Euler and Maclaurin's first term for the midpoints.
        """
        gap = (self.square[:, 0] - omega[:, None] ** 2) / self.step
        root = np.sqrt(np.abs(gap)) + 1e-9
        turn = root / edge
        # Below the duct's own wave the integral of 1/(p^2 - root^2) takes the place.
        angle = np.where(gap > 0.0, np.arctan(turn), np.arctanh(np.minimum(turn, 0.9)))
        bend = edge / (edge**2 + gap) ** 2 / 3.0
        return np.asarray((angle / root - bend) / self.step)


def _form(left: Floats, weight: Floats, right: Floats) -> Floats:
    """Matrix left diag(weight) right' for each row of weights (W, D)."""
    return np.asarray((left * weight[:, None, :]) @ right.T)


@lru_cache(maxsize=128)
def overlaps(family: Family, m: int, count: int) -> Floats:
    """G / N^(1/2) of an end's functions with the duct functions, (count, DUCTS)."""
    norm = np.sqrt(duct_norms(m, DUCTS))
    out = np.eye(count, DUCTS) * norm
    if family == "head" and count:
        out = head_on_duct(m, count, DUCTS) / norm
    out.flags.writeable = False
    return out


def cavity(
    radius_m: float,
    depth_m: float,
    m: int,
    ends: tuple[tuple[Family, int], tuple[Family, int]],
    ceiling: float,
    air: Air,
) -> Cavity:
    """Air in a shell of given radius and depth, between two ends.

    ``ends`` gives each end's functions and how many; a hard bottom is ``("head", 0)``.
    Modes below the angular frequency ``ceiling`` (rad/s) keep their own coordinate.
    """
    speed = air.speed_m_s
    across = (speed * duct_zeros(m, DUCTS) / radius_m) ** 2
    step = (speed * math.pi / depth_m) ** 2
    square = across[:, None] + step * np.arange(_LONG) ** 2
    stiffness = air.density_kg_m3 * speed**2 * angular_factor(m) * radius_m**2 / depth_m
    top, bottom = (overlaps(family, m, count) for family, count in ends)
    kept = (square < ceiling**2).astype(np.float64)
    return Cavity((top, bottom), stiffness, square, kept, step)
