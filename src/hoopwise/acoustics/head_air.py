"""Air on one head of a real drum, the other head off or held still, as one small matrix.

Inside, the air of the shell and of its open end answers to the head's motion; eliminating
it at a given frequency leaves an effective mass over the head's own functions. With the
shell open this is more than two bare faces: a slug of air moves in the shell. With the
other head held still the enclosed air is a spring, which counts as negative mass.
"""

import math
from typing import Literal

import numpy as np

from hoopwise.acoustics.air import KA_MAX, Floats
from hoopwise.acoustics.air_table import air_table
from hoopwise.acoustics.heads import BASIS, heads_of
from hoopwise.acoustics.limits import check_mode, check_number
from hoopwise.drum import Drum, Side


def head_air(
    drum: Drum,
    side: Side,
    m: int,
    n_max: int,
    omega: float,
    other_head: Literal["off", "held"] = "off",
) -> tuple[Floats, Floats]:
    """Mass (kg) and resistance (kg/s) of all air on a head, (n_max, n_max) each.

    Over amplitudes of J_m(j_mn r/a) cos m theta, n = 1..n_max, as `air.air_mass`; omega in
    rad/s. A mode of shape v then has omega^2 = v K v / (v (film + mass) v) and dies as
    exp(-alpha t) with alpha = v resistance v / (2 v (film + mass) v), nearly.

    Raises
    ------
    RangeError
        The drum, m or n_max lies outside the model, or omega times radius over c is not above
        0 and up to ``KA_MAX``.
    DrumError
        The drum has no head on that side.
    """
    check_mode(m, n_max)
    drum.head(side)
    heads = heads_of(drum, side == "batter", side != "batter", held=other_head == "held")
    e = heads.enclosure
    ka = omega * e.radius_m / e.air.speed_m_s
    check_number("frequency times radius, ka,", ka, (1e-6, KA_MAX))
    top = min(max(2.0, 2.0 * math.ceil(0.5 * ka)), KA_MAX)
    table = air_table(e, m, max(BASIS, n_max), max(top, ka) * e.air.speed_m_s / e.radius_m)
    at = np.asarray(omega)
    dynamic = table.stiffness - omega**2 * table.mass(at)
    inner = slice(table.tops, None)
    answer = -np.linalg.solve(dynamic[inner, inner], dynamic[inner, : table.tops])
    lift = np.concatenate([np.eye(table.tops), answer])
    mass = -(lift.T @ dynamic @ lift) / omega**2
    resistance = lift.T @ table.damping(at) @ lift
    return mass[:n_max, :n_max], resistance[:n_max, :n_max]
