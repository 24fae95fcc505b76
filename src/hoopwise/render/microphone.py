"""What a microphone close to the head hears of each mode.

Both heads are taken as pistons in a wide baffle (Rayleigh's integral):

    p(t) = rho/(2 pi)  integral of  w''(x', t - R/c) / R  dA,   R from x' to the microphone,

evaluated at each mode's own frequency, so that a mode is heard through one complex
factor. The other head is heard by a longer way, around the shell: as if the microphone
stood off that head by its height, the shell's depth and one radius. No room, no stand,
no shell motion.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.air import Air
from hoopwise.acoustics.head_basis import Name, values_at
from hoopwise.errors import RangeError
from hoopwise.render.voice import Complexes, Floats, Place, Voice

_RINGS, _SPOKES = 24, 64
_HEIGHT_RANGE_M = (0.015, 1.0)


@dataclass(frozen=True)
class Microphone:
    """A small pressure microphone over the struck head."""

    over: Place
    """The place on the head that it stands over."""
    height_m: float = 0.05

    def __post_init__(self) -> None:
        low, high = _HEIGHT_RANGE_M
        if not low <= self.height_m <= high:
            raise RangeError(
                f"a microphone {self.height_m * 1e3:g} mm above the head is outside "
                f"{low * 1e3:g} to {high * 1e3:g} mm."
            )


def usual_microphone(voice: Voice) -> Microphone:
    """Five centimetres over the head, a third of the way in, off every line of the rods."""
    spacing = 2 * np.pi / voice.drum.rods
    return Microphone(Place(0.65 * voice.drum.radius_m, 0.37 * spacing))


@lru_cache(maxsize=16)
def heard(voice: Voice, microphone: Microphone, air: Air | None = None) -> Complexes:
    """Pressure (Pa) per unit acceleration of each mode.

    Parameters
    ----------
    voice
        K modes.
    microphone
        Where it stands; its place must lie over the head.

    Returns
    -------
    (K,) complex factors: a phasor of acceleration times these is one of pressure.
    """
    air = air or Air()
    omega = 2 * np.pi * voice.frequency_hz
    near = _radiated(voice, voice.near_shape, microphone, microphone.height_m, omega, air)
    if not np.any(voice.far):
        return -near  # a head that goes into the drum thins the air above it
    detour = microphone.height_m + voice.drum.depth_m + voice.drum.radius_m
    return _radiated(voice, voice.far_shape, microphone, detour, omega, air) - near


def _radiated(
    voice: Voice, shape: Complexes, microphone: Microphone, height_m: float, omega: Floats, air: Air
) -> Complexes:
    radius = voice.drum.radius_m
    r, angle, area = _quadrature(radius)
    moving = _values(voice.basis, radius) @ shape
    at, around = microphone.over.r_m, microphone.over.angle_rad
    if not 0 <= at <= radius:
        raise RangeError(f"the microphone must stand over the head: r from 0 to {radius:.4g} m.")
    away = np.sqrt(r * r + at * at - 2 * r * at * np.cos(angle - around) + height_m**2)
    delayed = np.exp(-1j * np.outer(away, omega / air.speed_m_s)) / away[:, None]
    factor: Complexes = (
        air.density_kg_m3 / (2 * np.pi) * np.einsum("q,qk,qk->k", area, moving, delayed)
    )
    return factor


@lru_cache(maxsize=8)
def _quadrature(radius_m: float) -> tuple[Floats, Floats, Floats]:
    """Places r, angle and areas that integrate over the disc."""
    node, weight = np.polynomial.legendre.leggauss(_RINGS)
    r = 0.5 * radius_m * (node + 1)
    area = 0.5 * radius_m * weight * r * (2 * np.pi / _SPOKES)
    angle = 2 * np.pi * np.arange(_SPOKES) / _SPOKES
    return np.repeat(r, _SPOKES), np.tile(angle, _RINGS), np.repeat(area, _SPOKES)


@lru_cache(maxsize=8)
def _values(basis: tuple[Name, ...], radius_m: float) -> NDArray[np.float64]:
    r, angle, _ = _quadrature(radius_m)
    values = values_at(basis, radius_m, r, angle)
    values.flags.writeable = False
    return values
