"""Range of validity of the acoustic models, checked with words for a technician."""

import math
from typing import Final

from hoopwise.drum import Drum, Film
from hoopwise.drum.catalogue import DEPTH_RANGE_M, DIAMETER_RANGE_M, ROD_RANGE
from hoopwise.errors import RangeError
from hoopwise.units import METRES_PER_INCH

YIELD_STRESS_PA: Final = 97e6
"""Stress of polyester film at 5 % strain (bulletin H-37232-3, transverse direction)."""


def check_drum(drum: Drum) -> None:
    """Let a drum pass whose size and rods the models cover.

    Raises
    ------
    RangeError
        Diameter, depth or rod count lies outside the legal range; the message has it.
    """
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
