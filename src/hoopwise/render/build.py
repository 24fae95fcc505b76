"""From a drum's tensions or rod pulls to its voice.

The even drum's modes, air and other head included, are the coordinates: of unit moving
mass, frequency w_c, shapes V on the struck head. Uneven rods change that head's stiffness
by dK, which mixes them:  (diag(w_c^2) + V' dK V) u = w^2 u.  The air's mass is so kept as
each even mode has it; what an uneven head's air does otherwise is of second order.
`damped` then mixes them by their losses too.
"""

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from hoopwise.acoustics.head_model import HeadModel, head_model, stiffness_of
from hoopwise.acoustics.limits import check_drum, check_number, check_tension
from hoopwise.acoustics.stretch import check_pull, even_pull
from hoopwise.acoustics.two_heads import BASIS, CoupledMode, couple
from hoopwise.drum import Drum, Side
from hoopwise.errors import RangeError
from hoopwise.render.damped import damped_modes
from hoopwise.render.voice import Floats, Voice
from hoopwise.units import DECAY_60_DB

OtherHead = Literal["off", "muted", "ringing"]
_DIAMETERS = 8
_SPEED_M_S = {"snare": 39.0, "tom": 26.0, "kick": 20.0}
"""Radius times the vacuum frequency of (0, 1) at a usual batter tension; no source."""
_SECOND_OVER_BATTER = {"snare": 1.6, "tom": 1.15, "kick": 1.1}


def usual_tension(drum: Drum, side: Side) -> float:
    """A middling tension (N/m) of a head: common practice, no source.

    Raises
    ------
    RangeError
        The drum lies outside the models.
    DrumError
        The drum has no head there.
    """
    check_drum(drum)
    pitch_hz = _SPEED_M_S[drum.kind] / drum.radius_m
    if side != "batter":
        pitch_hz *= _SECOND_OVER_BATTER[drum.kind]
    speed = 2 * np.pi * pitch_hz * drum.radius_m / 2.404826
    return float(drum.head(side).film.mass_kg_m2 * speed**2)


def drum_voice(
    drum: Drum,
    side: Side = "batter",
    *,
    tension_n_m: float | None = None,
    rod_pull_m: ArrayLike | None = None,
    other_head: OtherHead = "ringing",
    other_tension_n_m: float | None = None,
    slide: float = 0.5,
    ring_factor: Sequence[float] | None = None,
) -> Voice:
    """The voice of a drum in a state.

    Parameters
    ----------
    drum, side
        The drum and the head that is struck.
    tension_n_m
        Mean tension at the rods (N/m) of an evenly tuned head; None: `usual_tension`.
    rod_pull_m
        (N,) pulls of the rods (m) instead, for an uneven head.
    other_head
        Off, held still, or on and ringing.
    other_tension_n_m
        Tension (N/m) of the other head when it rings; None: `usual_tension`.
    slide
        How freely the film slides over the edge, as for `stretch.rim_map`.
    ring_factor
        Factors on the ring times of the even drum's modes, taken in turn.

    Raises
    ------
    RangeError
        A tension, pull, size or ring factor lies outside the models.
    DrumError
        The drum has no head there.
    """
    for factor in () if ring_factor is None else ring_factor:
        check_number("a factor on ring times", factor, (1e-3, 1e3))
    model = head_model(drum, side, slide=slide, diameters=_DIAMETERS, circles=BASIS)
    if rod_pull_m is None:
        tension = usual_tension(drum, side) if tension_n_m is None else tension_n_m
        pull = even_pull(model.rim, tension)
    else:
        pull = check_pull(model.rim, rod_pull_m)
        tension = float((model.rim.lug_tension @ pull).mean())
    check_tension(tension, drum.head(side).film, f"{drum.name}, {side.replace('_', ' ')}")
    even = _even_modes(drum, side, tension, other_head, other_tension_n_m)
    return _mixed(model, drum, side, pull, tension, even, ring_factor)


def _even_modes(
    drum: Drum, side: Side, tension: float, other_head: OtherHead, other_tension: float | None
) -> list[CoupledMode]:
    """Modes of the evenly tuned drum with the other head as it is."""
    other: Side = drum.second_side if side == "batter" else "batter"
    beyond: float | None = None
    if other_head == "ringing" and (other == "batter" or drum.second is not None):
        beyond = usual_tension(drum, other) if other_tension is None else other_tension
    pair = (tension, beyond) if side == "batter" else (beyond, tension)
    return couple(drum, *pair, m_max=_DIAMETERS, held=other_head == "muted")


def _mixed(
    model: HeadModel,
    drum: Drum,
    side: Side,
    pull: Floats,
    tension: float,
    even: list[CoupledMode],
    ring_factor: Sequence[float] | None,
) -> Voice:
    """Let the unevenness of the struck head mix the even drum's modes."""
    near, far, omega, decay = _coordinates(model, side, even)
    if ring_factor is not None:
        decay /= np.resize(np.asarray(ring_factor, dtype=float), decay.shape)
    actual = stiffness_of(model, pull)
    uniform = tension * model.stiffness_even + np.diag(model.bending)
    square, real = np.linalg.eigh(np.diag(omega**2) + near.T @ (actual - uniform) @ near)
    if square[0] <= 0:
        raise RangeError(
            f"{drum.name}: the {side.replace('_', ' ')} is slack in places; tighten its loosest "
            "rods or even the others."
        )
    turning, inside = damped_modes(np.sqrt(square), (real.T * decay) @ real)
    mix = real @ inside
    shape, beyond = near @ mix, far @ mix
    pull = np.einsum("bk,bc,ck->k", shape.conj(), actual, shape).real
    return Voice(
        drum=drum,
        side=side,
        frequency_hz=turning.real / (2 * np.pi),
        t60_s=DECAY_60_DB / turning.imag,
        near=shape.real,
        far=beyond.real,
        near_lag=shape.imag,
        far_lag=beyond.imag,
        follow=np.clip(pull / (square @ np.abs(inside) ** 2), 0.0, 1.0),
        basis=model.basis,
        tension_n_m=tension,
    )


def _coordinates(
    model: HeadModel, side: Side, even: list[CoupledMode]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Shapes near (B, C) and far (B, C), angular frequencies and decays (C,) of even modes."""
    place = {name: i for i, name in enumerate(model.basis)}
    columns: list[tuple[Floats, Floats]] = []
    omega, decay = [], []
    for mode in even:
        heads = (mode.batter, mode.second) if side == "batter" else (mode.second, mode.batter)
        for kind in ("cos", "sin") if mode.shape[0] else ("cos",):
            pair = (np.zeros(len(place)), np.zeros(len(place)))
            for column, head in zip(pair, heads, strict=True):
                for n, value in enumerate(head):
                    column[place[mode.shape[0], n + 1, kind]] = value
            columns.append(pair)
            omega.append(2 * np.pi * mode.frequency_hz)
            decay.append(DECAY_60_DB / mode.t60_s)
    near, far = (np.array([c[i] for c in columns]).T for i in (0, 1))
    return near, far, np.array(omega), np.array(decay)
