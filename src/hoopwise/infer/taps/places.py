"""Places of taps on the hoop: beside a rod, or halfway to the next.

A place is the number of its rod, and half more halfway to the next rod clockwise: 3.5 lies
between rods 3 and 4. What the model misses is the same at all taps of a place, so that one tap
halfway tells more than one more at a rod; and more waves round the hoop are told apart.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def on_hoop(place: float, rods: int) -> bool:
    """Whether a hoop with so many rods has this place."""
    return 1 <= place < rods + 1 and float(2 * place).is_integer()


def at_rod(place: float) -> bool:
    """Whether it is beside a rod."""
    return float(place).is_integer()


def angle_of(place: ArrayLike, rods: int) -> FloatArray:
    """Angle (rad) of places, clockwise from rod 1."""
    return np.asarray(2 * np.pi * (np.asarray(place, dtype=np.float64) - 1) / rods)


def place_at(angle_rad: float, rods: int) -> float:
    """The nearest place to an angle."""
    return 1 + (round(angle_rad * rods / np.pi) % (2 * rods)) / 2


def spots(angle_rad: FloatArray, rods: int) -> int:
    """Evenly spread places that a round hears: the rods, or twice as many with those halfway."""
    beside = np.unique(np.round(angle_rad * rods / np.pi).astype(np.intp) % (2 * rods)) % 2
    return 2 * rods if 2 * np.count_nonzero(beside) >= rods else rods


def waves_seen(diameters: int, places: int) -> int:
    """Waves that so many nodal diameters show at evenly spread places; negative beyond telling."""
    return diameters if 2 * diameters <= places else places - diameters


def said(place: float, rods: int) -> str:
    """A place in words: ``rod 3``, or ``halfway between rods 3 and 4``."""
    rod = int(place)
    return f"rod {rod}" if at_rod(place) else f"halfway between rods {rod} and {rod % rods + 1}"


def where(place: float, rods: int) -> str:
    """The same after a noun: ``at rod 3``, or ``halfway between rods 3 and 4``."""
    return f"at {said(place, rods)}" if at_rod(place) else said(place, rods)
