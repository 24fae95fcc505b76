"""A moving disc in a rigid ring without any further baffle, by dual integral equations.

Half of the antisymmetric field about the disc: phi(r) = int B(k) J0(kr) dk on the plane,
with phi = 0 outside the ring's radius b and int gamma B(k) J0(kr) dk = v(r) inside it,
gamma^2 = k^2 - k0^2. Outside b it vanishes for B(k) = int_0^b g(t) sin(kt) dt. At rest
(gamma = k) Abel's equation gives g(t) = 2/pi int_0^t v(r) r / sqrt(t^2 - r^2) dr and a mass
pi^2 rho int g^2 dt per side; else g is a sum of odd Legendre polynomials, by Galerkin's
rule. Lengths in radii of the disc. b without end is the baffle. Own derivation; nothing here
shares a line with the model that it is to test.
"""

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh
from scipy.special import eval_legendre, j0, j1, jn_zeros, spherical_jn

Floats = NDArray[np.float64]

SHAPES = 3
ZEROS = jn_zeros(0, SHAPES)
_NODE, _WEIGHT = np.polynomial.legendre.leggauss(64)


def _still(t: Floats) -> Floats:
    """g of every head function J0(j r), r < 1, at rest, (SHAPES, *t.shape)."""
    widest = np.arcsin(np.minimum(1.0, 1.0 / t))[:, None]
    r = t[:, None] * np.sin(0.5 * widest * (_NODE + 1.0))
    return np.array([(r * j0(j * r) * widest * _WEIGHT).sum(axis=1) / math.pi for j in ZEROS])


def _along(ring: float) -> tuple[Floats, Floats]:
    """Nodes and weights over 0..ring, with a break at the disc's edge."""
    edges = [0.0, 1.0] + ([ring] if ring > 1.0 else [])
    pieces = [
        (low + 0.5 * (high - low) * (_NODE + 1.0), 0.5 * (high - low) * _WEIGHT)
        for low, high in pairwise(edges)
    ]
    t, weight = zip(*pieces, strict=True)
    return np.concatenate(t), np.concatenate(weight)


def mass_at_rest(ring: float) -> Floats:
    """Mass of one side over rho a^3, (SHAPES, SHAPES)."""
    t, weight = _along(ring)
    g = _still(t)
    return np.asarray(math.pi**2 * (g * weight) @ g.T)


def mass_and_loss(ring: float, ka: float, count: int = 24) -> tuple[Floats, Floats]:
    """Mass of one side over rho a^3 and resistance over rho omega a^3, at ka."""
    t, weight = _along(ring)
    order = 2 * np.arange(count) + 1
    odd = np.array([eval_legendre(n, t / ring) for n in order])
    push = 0.5 * math.pi * (odd * weight) @ _still(t).T

    def sines(k: Floats) -> Floats:
        sign = (-1.0) ** np.arange(count)[:, None]
        return np.asarray(sign * [ring * spherical_jn(n, k * ring) for n in order])

    # gamma = -i sqrt(k0^2 - k^2) below k0; both roots go with k = ka sin u, q^2 = k^2 - ka^2.
    u = 0.25 * math.pi * (_NODE + 1.0)
    low, cos = ka * np.sin(u), np.cos(u)
    edges = np.linspace(0.0, 160.0, 41)
    q = (edges[:-1, None] + 0.5 * np.diff(edges)[:, None] * (_NODE + 1.0)).ravel()
    high, step = np.hypot(q, ka), 0.5 * (edges[1] - edges[0]) * np.tile(_WEIGHT, 40)
    tie = np.diag(0.5 * math.pi * ring / (2 * order + 1)).astype(np.complex128)
    below, above = sines(low), sines(high)
    tie += (below * (-1j * ka * cos / low - 1.0) * ka * cos * 0.25 * math.pi * _WEIGHT) @ below.T
    tie += (above * (q / high - 1.0) * q / high * step) @ above.T
    whole = 2.0 * math.pi * push.T @ np.linalg.solve(tie, push)
    return whole.real, whole.imag


def lowest_hz(
    radius_m: float, tension: float, film_kg_m2: float, air: tuple[float, float], ring: float
) -> tuple[float, float]:
    """Pitch (Hz) of (0,1) in air (density, speed) on both sides, and its decay over omega.

    Where reactance vanishes; as little is lost, the free decay is the same to 1e-4.
    """
    density, speed = air
    area = math.pi * radius_m**2 * j1(ZEROS) ** 2
    film, spring = np.diag(film_kg_m2 * area), np.diag(tension * (ZEROS / radius_m) ** 2 * area)
    both = 2.0 * density * radius_m**3
    hertz = 85.0
    for _ in range(8):
        mass, loss = mass_and_loss(ring, 2.0 * math.pi * hertz * radius_m / speed)
        squares, shapes = eigh(spring, film + both * mass)
        hertz = math.sqrt(squares[0]) / (2.0 * math.pi)
    return hertz, float(0.5 * both * shapes[:, 0] @ loss @ shapes[:, 0])
