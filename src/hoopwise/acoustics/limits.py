"""Range of validity of the acoustic models, checked with words for a technician."""

import math
from typing import Final

from hoopwise.drum import Drum, Film
from hoopwise.drum.catalogue import DEPTH_RANGE_M, DIAMETER_RANGE_M, ROD_RANGE
from hoopwise.errors import RangeError
from hoopwise.units import METRES_PER_INCH

YIELD_STRESS_PA: Final = 97e6
"""Stress of polyester film at 5 % strain (bulletin H-37232-3, transverse direction)."""


FILM_RANGE_M: Final = (25e-6, 1e-3)
"""Thickness of films that the models cover, as a drum file may have it."""
M_RANGE: Final = (0, 20)
N_RANGE: Final = (1, 12)
"""Nodal diameters and circles."""
RATE_RANGE_HZ: Final = (8e3, 4e5)


def check_number(what: str, value: float, legal: tuple[float, float], unit: str = "") -> None:
    """Let a number pass that lies in a closed range.

    Raises
    ------
    RangeError
        It does not, or is not a number; the message has the range.
    """
    low, high = legal
    if not low <= value <= high:
        tail = f" {unit}" if unit else ""
        raise RangeError(
            f"{what} of {value:g}{tail} lies outside the model, which holds from "
            f"{low:g} to {high:g}{tail}."
        )


def check_mode(m: int, n: int) -> None:
    """Let nodal diameters and circles pass that the models cover; RangeError otherwise."""
    check_number("a number of nodal diameters", m, M_RANGE)
    check_number("a number of nodal circles", n, N_RANGE)


def check_drum(drum: Drum) -> None:
    """Let a drum pass whose size, rods and films the models cover.

    Raises
    ------
    RangeError
        Diameter, depth, rod count or a film lies outside the legal range; the message has it.
    """
    for head in filter(None, (drum.batter, drum.second)):
        thick = head.film.thickness_m
        low, high = FILM_RANGE_M
        if not low <= thick <= high:
            raise RangeError(
                f"{drum.name}: a film of {thick * 1e6:.4g} µm; the model holds from "
                f"{low * 1e6:.0f} to {high * 1e6:.0f} µm."
            )
    _check_length(drum.name, "diameter", drum.diameter_m, DIAMETER_RANGE_M)
    _check_length(drum.name, "depth", drum.depth_m, DEPTH_RANGE_M)
    low, high = ROD_RANGE
    if not low <= drum.rods <= high:
        raise RangeError(
            f"{drum.name}: {drum.rods} rods a side; the model holds from {low} to {high}."
        )


def _check_length(name: str, what: str, value_m: float, legal_m: tuple[float, float]) -> None:
    low, high = legal_m
    slack = 1e-9  # a nominal inch size may arrive with rounding
    if math.isfinite(value_m) and low - slack <= value_m <= high + slack:
        return
    inch = METRES_PER_INCH
    raise RangeError(
        f"{name}: {what} {value_m / inch:.4g} in ({value_m * 1e3:.4g} mm); the model holds "
        f"from {low / inch:.3g} to {high / inch:.3g} in ({low * 1e3:.0f} to {high * 1e3:.0f} mm)."
    )


def film_limit_n_m(film: Film) -> float:
    """Tension (N/m) at which the film reaches 5 % strain and is elastic no more."""
    return YIELD_STRESS_PA * film.thickness_m


def check_tension(tension_n_m: float, film: Film, where: str) -> None:
    """Let a tension (N/m) pass that stretches the film and does not make it yield.

    Raises
    ------
    RangeError
        The tension is not positive, or lies beyond the film's elastic range.
    """
    limit = film_limit_n_m(film)
    if not 0.0 < tension_n_m <= limit:
        raise RangeError(
            f"{where}: a tension of {tension_n_m:.0f} N/m; a film of "
            f"{film.thickness_m * 1e6:.0f} µm holds above 0 and up to {limit:.0f} N/m "
            "(97 MPa, 5 % strain)."
        )
