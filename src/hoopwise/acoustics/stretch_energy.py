"""Energy of stretch in a film that is pushed out of its plane and settles in its plane.

Conventions: s = r / a; slopes of the film are ratios, strains too. A slope makes the
strains e_rr = w_r^2 / 2, e_tt = (w_t / r)^2 / 2, shear w_r w_t / r; the film then moves in
its plane (u, v in units of a) until the energy is least:

    V = C/2 int [e_r^2 + e_t^2 + 2 nu e_r e_t + (1-nu)/2 g^2] dA + rim springs,
    C = E h / (1 - nu^2), e_r = u' + e_rr, e_t = (u + v_t) / s + e_tt,
    g = u_t / s + v' - v / s + w_r w_t / r

(von Karman's plate without bending.) In-plane inertia is left out: the lowest resonance,
some 3.5 kHz on 14 inches, lies well above twice the low modes that glide. Around the head all
is Fourier's, along the radius polynomials in s^2 times s^|k-1|.
"""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import legder, legvander
from numpy.typing import NDArray

from hoopwise.acoustics.head_basis import radial_points

Array = NDArray[np.float64]

_TERMS = 12
_FREE = 1e-9
"""A trace of rim stiffness, against C / a, that stops a free film from spinning."""


@dataclass(frozen=True, eq=False)
class StretchEnergy:
    """Quadratic forms that turn the slopes' strains into energy, harmonic by harmonic.

    ``form`` (K+1, 3Q, 3Q) in N m belongs to the strains' cosines at the Q places
    ``s`` (shear: sine); harmonic 0 of the shear alone has its own ``spin`` (Q, Q).
    """

    s: Array
    form: Array
    spin: Array

    def of(self, strains: Array) -> float:
        """Energy (N m) of strains (3, Q, T) at T even places around: rr, tt, shear."""
        count, points, places = len(self.form), len(self.s), strains.shape[2]
        waves = np.fft.rfft(strains, axis=2)[:, :, :count] / places
        waves[:, :, 1:] *= 2.0
        even = np.concatenate([waves[:2].real, -waves[2:].imag]).transpose(2, 0, 1)
        odd = np.concatenate([-waves[:2].imag, -waves[2:].real]).transpose(2, 0, 1)
        spin = waves[2, :, 0].real
        odd[0] = 0.0
        total = 0.5 * spin @ self.spin @ spin
        for part in (even, odd):
            flat = part.reshape(count, 3 * points, 1)
            total += 0.5 * np.sum(flat * (self.form @ flat))
        return float(total)


def stretch_energy(
    stretch_n_m: float,
    poisson: float,
    radius_m: float,
    outward: Array,
    along: Array,
    points: int = 40,
) -> StretchEnergy:
    """Set the forms up for a film whose rim is held by springs.

    Parameters
    ----------
    stretch_n_m, poisson, radius_m
        E h (N/m), Poisson's ratio, radius (m).
    outward, along
        (K+1,) springs per length of rim against u and v (N/m²), one per harmonic.
    """
    s, weight = radial_points(points)
    plate = stretch_n_m / (1.0 - poisson**2)
    law = np.array([[1.0, poisson, 0.0], [poisson, 1.0, 0.0], [0.0, 0.0, 0.5 * (1.0 - poisson)]])
    metric = np.kron(law, np.diag(weight))
    scale = plate * radius_m**2
    forms = []
    for k in range(len(outward)):
        shape, slope, edge = _radial_terms(k, s)
        springs = radius_m / plate * np.array([outward[k], along[k]]) + _FREE
        strain = _strain_rows(k, shape, slope, s)
        stiffness = strain.T @ metric @ strain
        stiffness += np.kron(np.diag(springs), np.outer(edge, edge))
        if k == 0:  # u and v are apart; v alone is the film's spin
            half = len(edge)
            forms.append(_least(metric, strain[:, :half], stiffness[:half, :half]))
            turn = strain[2 * points :, half:]
            own = np.diag(weight) * law[2, 2]
            spin = 2.0 * np.pi * scale * _least(own, turn, stiffness[half:, half:])
            forms[0] *= 2.0
        else:
            forms.append(_least(metric, strain, stiffness))
    return StretchEnergy(s=s, form=np.pi * scale * np.array(forms), spin=spin)


def _least(metric: Array, strain: Array, stiffness: Array) -> Array:
    """Form of the energy once the film's own displacement has made it least."""
    load = strain.T @ metric
    return np.asarray(metric - load.T @ np.linalg.solve(stiffness, load), dtype=np.float64)


def _radial_terms(k: int, s: Array) -> tuple[Array, Array, Array]:
    """Functions s^|k-1| P_i(2 s^2 - 1), their slopes, and their values at the rim."""
    power = abs(k - 1)
    x = 2.0 * s**2 - 1.0
    level = legvander(x, _TERMS - 1)
    rise = legvander(x, _TERMS - 2) @ legder(np.eye(_TERMS)) * 4.0 * s[:, None]
    lead = (s**power)[:, None]
    lead_slope = (power * s ** max(power - 1, 0))[:, None]
    return lead * level, lead_slope * level + lead * rise, np.ones(_TERMS)


def _strain_rows(k: int, shape: Array, slope: Array, s: Array) -> Array:
    """(3Q, 2 terms) strains rr, tt, shear of the displacements u cos and v sin."""
    over = shape / s[:, None]
    none = np.zeros_like(shape)
    return np.block([[slope, none], [over, k * over], [-k * over, slope - over]])
