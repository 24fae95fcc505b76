"""Random drums: sizes, tensions and unevenness of ordinary drums, hardware not as told."""

from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from benchmarks.truth import air as outside
from benchmarks.truth import head as head_parts
from benchmarks.truth.cavity import SecondHead
from benchmarks.truth.drum import Losses, Player, TrueDrum
from benchmarks.truth.film import SEATING, FilmResponse, Hardware, film_response
from benchmarks.truth.modes import OpenHead, open_head_modes
from hoopwise.drum import Drum, load_drum

Array = NDArray[np.float64]

COLLAR_M = 12e-3
ROD_COMPLIANCE_M_N = 5e-8
HOOP_BENDING_N_M2 = 2.2e3
HOOP_TORSION_N_M2 = 13.0
"""Flanged 2.3 mm steel hoop, 12 mm collar: ordinary values, from memory."""

_USUAL_NOTE_HZ = {"batter": (140.0, 230.0), "snare_side": (160.0, 215.0), "tom": (85.0, 150.0)}
"""(0,1) of a head alone, in air, at 14 in: a snare's two heads, and a tom's batter.

A tom's batter is held at about half the tension of a snare's (common practice, no source).
"""
TIGHT_NOTE_HZ = (140.0, 230.0)
"""A tom as tight as a snare batter."""


@dataclass(frozen=True)
class Recipe:
    """What to draw."""

    rods: int
    kind: Literal["batter", "snare_side"] = "batter"
    other_head: Literal["off", "muted", "ringing"] = "off"
    rms_range: tuple[float, float] = (0.09, 0.10)
    seating_share: float = 0.3
    """rms around the rim of the unevenness that is not the rods', over the whole rms."""
    mass_share: float = 0.004
    note_at_14_in_hz: tuple[float, float] | None = None
    """Open head's (0,1) at 14 in; on other sizes the same tension. None: usual for the drum."""
    player: Player = field(default_factory=Player)


def random_truth(
    rng: np.random.Generator,
    rods: int,
    kind: Literal["batter", "snare_side"] = "batter",
    other_head: Literal["off", "muted", "ringing"] = "off",
    **changes: Any,
) -> TrueDrum:
    """A random drum; ``changes`` are further fields of ``Recipe``."""
    recipe = Recipe(rods=rods, kind=kind, other_head=other_head, **changes)
    nominal = _nominal(rng, recipe)
    film = nominal.head(recipe.kind).film
    held = _hardware(rng, nominal, film.stretch_stiffness_n_m, film.poisson)
    response = film_response(held)
    air = outside.Air(rng.uniform(1.16, 1.22), rng.uniform(341.0, 347.0))
    density = film.mass_kg_m2 * rng.uniform(0.97, 1.03)
    faces = 1.0 if other_head != "off" else 1.0 + rng.uniform(0.85, 1.20)
    tension = _tension(rng, recipe, nominal, density, air)
    pulls, seating = _unevenness(rng, recipe, response, tension)
    kept = head_parts.shapes()
    uneven_mass = head_parts.smooth_unevenness(rng, kept, recipe.mass_share)
    return TrueDrum(
        nominal=nominal,
        side=recipe.kind,
        other_head=other_head,
        held=held,
        response=response,
        pulls_m=pulls,
        seating_m=seating,
        density_kg_m2=density * (1.0 + uneven_mass),
        air=air,
        faces=faces,
        losses=Losses(
            rng.uniform(0.003, 0.006), rng.uniform(1.0, 3.0), 0.15, int(rng.integers(1 << 31))
        ),
        microphone_m=_microphone(rng, held.radius_m),
        player=replace(recipe.player, glide_rate=rng.uniform(10.0, 20.0)),
        arrives=rng.uniform(0.65, 0.95) * (1.0 + 0.05 * rng.normal(size=rods)),
        room_seed=int(rng.integers(1 << 31)),
        second=_second(rng, recipe, nominal, tension / density),
    )


def _nominal(rng: np.random.Generator, recipe: Recipe) -> Drum:
    inches = {
        6: (10.0, 12.0, 13.0),
        8: (13.0, 14.0),
        10: (14.0,),
    }[recipe.rods]
    diameter = float(rng.choice(inches))
    snare = recipe.kind == "snare_side" or recipe.rods == 10
    depth = rng.choice((5.0, 5.5, 6.5)) if snare else round(diameter * rng.uniform(0.55, 0.75))
    second = "snare_side" if snare else "resonant"
    return load_drum(
        {
            "drum": {
                "name": f"truth {diameter:g}",
                "kind": "snare" if snare else "tom",
                "diameter_in": diameter,
                "depth_in": float(depth),
                "rods": recipe.rods,
            },
            "batter": {"film_mil": 10.0},
            second: {"film_mil": 3.0 if snare else 10.0},
        }
    )


def _off(rng: np.random.Generator, low: float = 1.15, high: float = 1.5) -> float:
    """A factor that is off from 1 by 15 to 50 %, up or down."""
    factor = np.exp(rng.uniform(np.log(low), np.log(high)))
    return float(factor if rng.random() < 0.5 else 1.0 / factor)


def _hardware(
    rng: np.random.Generator, nominal: Drum, stretch_n_m: float, poisson: float
) -> Hardware:
    return Hardware(
        radius_m=nominal.radius_m,
        stretch_n_m=stretch_n_m * _off(rng, 1.05, 1.10),
        poisson=poisson * rng.uniform(0.95, 1.05),
        collar_m=COLLAR_M * _off(rng),
        slip=rng.uniform(0.0, 0.8),
        hoop_bending_n_m2=HOOP_BENDING_N_M2 * _off(rng),
        hoop_torsion_n_m2=HOOP_TORSION_N_M2 * _off(rng),
        rod_compliance_m_n=ROD_COMPLIANCE_M_N * _off(rng),
        rods=nominal.rods,
    )


def _tension(
    rng: np.random.Generator, recipe: Recipe, nominal: Drum, density: float, air: outside.Air
) -> float:
    """Tension (N/m) that gives an open head its wanted (0,1)."""
    low, high = recipe.note_at_14_in_hz or _USUAL_NOTE_HZ["tom"]
    if recipe.note_at_14_in_hz is None and nominal.kind == "snare":
        low, high = _USUAL_NOTE_HZ[recipe.kind]
    wanted = rng.uniform(low, high) * 14.0 * 0.0254 / nominal.diameter_m
    kept, sums = head_parts.shapes(), outside.rayleigh_sums()
    one = np.ones(len(kept.disc.fine.weight))
    unit = head_parts.stiffness(kept, np.stack([one, one, 0.0 * one]))
    mass = head_parts.mass(kept, density * one, nominal.radius_m)
    tension = 4000.0 * density / 0.353
    for _ in range(3):
        head = OpenHead(tension * unit, mass, nominal.radius_m, air)
        found = open_head_modes(head, sums, 1.0).omega[0].real / (2.0 * np.pi)
        tension *= (wanted / found) ** 2
    return float(tension)


def _unevenness(
    rng: np.random.Generator, recipe: Recipe, response: FilmResponse, tension_n_m: float
) -> tuple[Array, Array]:
    """Pulls and seating offsets (m) that give the mean tension and the wanted rms."""
    n = recipe.rods
    rod_part = rng.normal(size=n)
    rod_part -= rod_part.mean()
    fall = np.repeat(np.arange(1.0, SEATING + 1.0), 2) ** -2.0
    seat_part = np.append(rng.normal(size=2 * SEATING) * fall, 0.0)
    if recipe.kind == "snare_side":
        seat_part[-1] = rng.uniform(1.0, 2.0)
    wanted = rng.uniform(*recipe.rms_range)
    even = response.around[:, :n].sum(axis=1).mean()
    by_rods = _deviations(response.at_rods[:, :n] @ rod_part, tension_n_m)
    by_seat = _deviations(response.at_rods[:, n:] @ seat_part, tension_n_m)
    around = response.around[:, n:] @ seat_part
    seat = recipe.seating_share * wanted * tension_n_m / _rms(around - around.mean())
    a, b = by_rods @ by_rods, seat * (by_rods @ by_seat)
    c = seat**2 * (by_seat @ by_seat) - n * wanted**2
    rod = (-b + np.sqrt(b * b - a * c)) / a
    moved = np.mean(response.around[:, n:] @ seat_part) * seat
    pull = (tension_n_m - moved) / even
    return pull + rod * rod_part, seat * seat_part


def _deviations(at_rods: Array, tension_n_m: float) -> Array:
    deviations: Array = (at_rods - at_rods.mean()) / tension_n_m
    return deviations


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _microphone(rng: np.random.Generator, radius_m: float) -> tuple[float, float, float]:
    """A few centimetres above the head, two thirds of the way out."""
    far, angle = radius_m * rng.uniform(0.55, 0.8), rng.uniform(0.0, 2.0 * np.pi)
    return float(far * np.cos(angle)), float(far * np.sin(angle)), float(rng.uniform(0.03, 0.07))


def _second(
    rng: np.random.Generator, recipe: Recipe, nominal: Drum, speed_squared: float
) -> SecondHead | None:
    """The head opposite: a snare's other head far off in pitch, a tom's near the batter."""
    if recipe.other_head == "off":
        return None
    snare = nominal.kind == "snare"
    other = nominal.second if recipe.kind == "batter" else nominal.batter
    assert other is not None
    ratio = rng.uniform(0.95, 1.5)
    if snare:
        ratio = rng.uniform(1.2, 1.7) if recipe.kind == "batter" else rng.uniform(0.6, 0.85)
    density = other.film.mass_kg_m2
    muted = recipe.other_head == "muted"
    return SecondHead(
        tension_n_m=float(speed_squared * ratio**2 * density),
        density_kg_m2=density + (0.3 if muted else 0.0),
        depth_m=nominal.depth_m * rng.uniform(0.95, 1.05),
        loss=0.4 if muted else 0.0,
    )
