"""Snare wires lying on the snare-side head: when they leave it, and how long they rattle.

All strands move as one bundle: a string of length L, tension S (draw per strand times
strands) and mass mu per length, whose ends sit in the snare beds. The beds lie a depth b
below the bearing edge, so that the head, and the wires on it, are bowed by b in the middle
and the wires press on the head with p = 8 S b / L^2 per length. Where the head falls away
faster than p/mu the wires cannot follow: they leave, fly, and hit it again.

Not in the model: strands that differ, the coils' own stretch, wires' sound in air, beds
that change the head's modes. Trends hold; levels are good to perhaps a factor of two.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.contact import ContactScheme, Run
from hoopwise.acoustics.limits import check_number
from hoopwise.drum import Wires
from hoopwise.errors import RangeError
from hoopwise.units import DECAY_60_DB

Floats = NDArray[np.float64]

PLACES = 20
"""Places along the wires where they can touch the head."""
_CONTACT_HZ = 4000.0
"""Bounce frequency of one piece of wire on the contact spring; sets its stiffness."""
_WIRE_T60_S = 0.25
_DRAW_RANGE_N = (0.5, 60.0)


@dataclass(frozen=True)
class WireBed:
    """Wires as they are laid and drawn.

    Mass per strand (coiled 0.45 mm steel wire) and bed depth are estimates, no source.
    """

    strands: int
    length_m: float
    draw_n: float = 8.0
    """Tension of one strand (N)."""
    bed_depth_m: float = 1.5e-3
    strand_kg_m: float = 4.0e-3

    def __post_init__(self) -> None:
        check_number("wires with a number of strands", self.strands, (1, 60))
        check_number("wires with a length", self.length_m, (0.02, 0.7), "m")
        check_number("a bed depth", self.bed_depth_m, (1e-4, 0.02), "m")
        low, high = _DRAW_RANGE_N
        if not low <= self.draw_n <= high:
            raise RangeError(
                f"a draw of {self.draw_n:g} N per strand is outside {low:g} to {high:g} N."
            )

    @property
    def tension_n(self) -> float:
        """Tension of the whole bundle (N)."""
        return self.draw_n * self.strands

    @property
    def mass_kg_m(self) -> float:
        """Mass per length of the bundle (kg/m)."""
        return self.strand_kg_m * self.strands

    @property
    def press_n_m(self) -> float:
        """Force per length with which the bundle lies on the head (N/m)."""
        return 8.0 * self.tension_n * self.bed_depth_m / self.length_m**2

    @property
    def leaving_acceleration_m_s2(self) -> float:
        """Acceleration of the head away from the wires at which free wire would leave it."""
        return self.press_n_m / self.mass_kg_m

    def places_m(self) -> Floats:
        """(P,) distances from the middle of the wires to the places of contact."""
        return self.length_m * (np.arange(1, PLACES + 1) / (PLACES + 1) - 0.5)


def wire_bed(wires: Wires, draw_n: float = 8.0) -> WireBed:
    """The wires of a drum's description, drawn to a tension per strand (N).

    Raises
    ------
    RangeError
        Strands, length or draw lie outside the model.
    """
    return WireBed(strands=wires.strands, length_m=wires.length_m, draw_n=draw_n)


@dataclass(frozen=True)
class HeadMotion:
    """The drum's modes as the wires meet them; unit modal mass.

    Displacement of the snare-side head is counted away from the wires, into the drum.
    """

    pole: NDArray[np.complex128]
    """(K,) -a + i w, 1/s."""
    at_wires: Floats
    """(P, K) displacement of the head at the places of contact, 1/sqrt(kg)."""
    at_strike: Floats
    """(K,) displacement of the struck head under the tip, 1/sqrt(kg)."""


@dataclass(frozen=True)
class Rattle:
    """What the wires did after one strike."""

    run: Run
    rate_hz: float
    rest_n: Floats
    """(P,) contact force before the strike (N)."""

    @property
    def apart(self) -> NDArray[np.bool_]:
        """(n, P) where a place that was closed before the strike is open."""
        gap: NDArray[np.bool_] = (self.run.force_n <= 0) & (self.rest_n > 0)
        return gap

    @property
    def left_s(self) -> float | None:
        """When the first piece of wire leaves the head; None when none does."""
        hit = np.flatnonzero(self.apart.any(axis=1))
        return float(hit[0] + 1) / self.rate_hz if hit.size else None

    @property
    def returned_s(self) -> float | None:
        """When the last piece has come back for good; None when none left."""
        hit = np.flatnonzero(self.apart.any(axis=1))
        return float(hit[-1] + 2) / self.rate_hz if hit.size else None


def rattle(
    bed: WireBed,
    head: HeadMotion,
    push_n: Floats,
    rate_hz: float,
    count: int,
    watch: tuple[Floats, Floats] | None = None,
) -> Rattle:
    """Strike the drum with its wires on and follow both.

    Parameters
    ----------
    bed
        The wires.
    head
        K modes of the drum.
    push_n
        (n,) force of the strike at each step (N), into the drum.
    rate_hz
        Steps per second, at least 20 kHz.
    count
        Number of steps.
    watch
        (K,) weights of the head's coordinates, counted from rest, and of their
        velocities, in ``run.seen``.

    Returns
    -------
    Rattle
        What is seen, contact forces and energy.

    Raises
    ------
    RangeError
        The rate is too low for the contact, or there is no step.
    """
    check_number("a number of steps", count, (1, np.inf))
    if not rate_hz >= 2e4:
        raise RangeError(f"wires need at least 20000 steps per second, not {rate_hz:g}.")
    scheme = _scheme(bed, head, rate_hz)
    position, force = scheme.at_rest()
    drive = np.concatenate([head.at_strike, np.zeros(PLACES)])
    if watch is None:
        return Rattle(scheme.run(position, push_n, drive, count), rate_hz, force)
    still = np.zeros(PLACES)
    weights = (np.concatenate([watch[0], still]), np.concatenate([watch[1], still]))
    run = scheme.run(position, push_n, drive, count, weights)
    from_rest = run.seen - weights[0] @ position
    return Rattle(Run(from_rest, run.force_n, run.energy_j), rate_hz, force)


def leaving_impulse(
    bed: WireBed, head: HeadMotion, pulse: Floats, rate_hz: float, within_s: float = 0.06
) -> float:
    """Impulse (N s) of a strike from which the wires leave the head.

    Up to that strength drum and wires are one linear system, so one run that stays
    below it tells where the contact force first reaches zero.

    Parameters
    ----------
    pulse
        (n,) shape of the strike's force, unit area (1/s).
    within_s
        How long after the strike is watched.

    Raises
    ------
    RangeError
        Nothing is watched, or the wires do not lie on the head.
    """
    check_number("a time to watch", within_s, (1.0 / rate_hz, 10.0), "s")
    impulse, count = 1e-4, round(within_s * rate_hz)
    for _ in range(12):
        seen = rattle(bed, head, impulse * pulse, rate_hz, count)
        held = seen.rest_n > 0
        if seen.left_s is None:
            lost = 1.0 - np.min(seen.run.force_n[:, held] / seen.rest_n[held])
            return float(impulse / lost)
        impulse /= 8.0
    raise RangeError("the wires do not lie on the head at all; draw them harder.")


def _scheme(bed: WireBed, head: HeadMotion, rate_hz: float) -> ContactScheme:
    """Head modes and wire modes as one system of coordinates of unit modal mass."""
    order = np.arange(1, PLACES + 1)
    piece_kg = bed.mass_kg_m * bed.length_m / (PLACES + 1)
    sines = np.sin(np.pi * np.outer(order, order) / (PLACES + 1))
    wire_shape = np.sqrt(2.0 / (PLACES + 1) / piece_kg) * sines
    omega = np.pi * order / bed.length_m * np.sqrt(bed.tension_n / bed.mass_kg_m)
    pole = np.concatenate([head.pole, -DECAY_60_DB / _WIRE_T60_S + 1j * omega])
    press = bed.press_n_m * bed.length_m / (PLACES + 1) * wire_shape.sum(axis=0)
    return ContactScheme(
        pole=pole,
        meet=np.hstack([-head.at_wires, wire_shape]),
        load=np.concatenate([np.zeros(head.pole.size), press]),
        stiffness_n_m=piece_kg * (2 * np.pi * _CONTACT_HZ) ** 2,
        rate_hz=rate_hz,
    )
