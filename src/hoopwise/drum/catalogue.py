"""Generic films, hoops, threads and common drum sizes, by what they are, without brand.

Film thicknesses by use and the rod counts by size are common practice, no source.
Hoop stiffnesses are estimates from the section named beside them (no source).
"""

from typing import Any, Final

from hoopwise.drum.model import Film, Hoop, HoopKind
from hoopwise.units import METRES_PER_MIL

THREAD_PITCH_M: Final[dict[str, float]] = {
    "12-24 UNC": 25.4e-3 / 24.0,  # Unified thread table
    "10-24 UNC": 25.4e-3 / 24.0,
    "M5": 0.8e-3,  # ISO 261 coarse
    "M6": 1.0e-3,
}

FILMS: Final[dict[str, tuple[float, int]]] = {
    "single 10 mil": (10.0, 1),
    "single 7.5 mil": (7.5, 1),
    "double 7 mil": (14.0, 2),
    "double 10 mil": (20.0, 2),
    "snare side 3 mil": (3.0, 1),
    "snare side 2 mil": (2.0, 1),
    "snare side 5 mil": (5.0, 1),
}
"""Name to (total thickness in mil, plies)."""

_DEFAULT_HOOP_MM: Final[dict[HoopKind, float]] = {"flanged": 2.3, "cast": 5.0, "wood": 15.0}


def film(name: str) -> Film:
    """A generic film by name; KeyError when there is none of that name."""
    mil, plies = FILMS[name]
    return Film(thickness_m=mil * METRES_PER_MIL, plies=plies)


def hoop(kind: HoopKind, thickness_m: float | None = None) -> Hoop:
    """A hoop of a kind, its stiffness scaled from a typical section.

    flanged: steel sheet, 39 mm high, developed width 40 mm, E 200 GPa, G 77 GPa.
    cast: light alloy, 42 mm high, developed width 60 mm, E 75 GPa, G 28 GPa.
    wood: maple plies, 38 mm high, E 12 GPa, G 0.8 GPa. All from memory.
    """
    t = _DEFAULT_HOOP_MM[kind] * 1e-3 if thickness_m is None else thickness_m
    if kind == "flanged":
        bending, torsion = 200e9 * t * 0.039**3 / 12.0, 77e9 * 0.040 * t**3 / 3.0
    elif kind == "cast":
        bending, torsion = 75e9 * t * 0.042**3 / 12.0, 28e9 * 0.060 * t**3 / 3.0
    else:
        bending = 12e9 * t * 0.038**3 / 12.0
        torsion = 0.8e9 * 0.038 * t**3 / 3.0 * (1.0 - 0.63 * t / 0.038)
    return Hoop(kind=kind, thickness_m=t, bending_n_m2=bending, torsion_n_m2=torsion)


def safe_tension_n_m(sheet: Film) -> tuple[float, float]:
    """Tension (N/m) from which to warn, and beyond which to refuse advice.

    Half and 0.7 of the stress at 5 % strain, 97 MPa for polyester film
    (bulletin H-37232-3). These are film figures, not a maker's rating of a head.
    """
    return 0.5 * 97e6 * sheet.thickness_m, 0.7 * 97e6 * sheet.thickness_m


def _template(
    kind: str, inches: float, depth: float, rods: int, batter: float, second: float
) -> dict[str, Any]:
    other = "snare_side" if kind == "snare" else "resonant"
    table: dict[str, Any] = {
        "drum": {
            "name": f"{kind} {inches:g} x {depth:g}",
            "kind": kind,
            "diameter_in": inches,
            "depth_in": depth,
            "rods": rods,
        },
        "batter": {"film_mil": batter},
        other: {"film_mil": second},
        "hoop": {"kind": "wood" if kind == "kick" else "flanged"},
    }
    if kind == "snare":
        table["wires"] = {"strands": 20, "length_mm": round(inches * 25.4 * 1.01)}
    return table


TEMPLATES: Final[dict[str, dict[str, Any]]] = {
    "snare-14x5.5": _template("snare", 14, 5.5, 10, 10, 3),
    "snare-14x6.5": _template("snare", 14, 6.5, 10, 10, 3),
    "snare-13x6": _template("snare", 13, 6, 8, 10, 3),
    "snare-12x5": _template("snare", 12, 5, 6, 10, 3),
    "tom-10x7": _template("tom", 10, 7, 6, 10, 10),
    "tom-12x8": _template("tom", 12, 8, 6, 10, 10),
    "tom-13x9": _template("tom", 13, 9, 6, 10, 10),
    "tom-14x14": _template("tom", 14, 14, 8, 10, 10),
    "tom-16x16": _template("tom", 16, 16, 8, 10, 10),
    "kick-20x16": _template("kick", 20, 16, 8, 10, 10),
    "kick-22x16": _template("kick", 22, 16, 10, 10, 10),
    "kick-24x14": _template("kick", 24, 14, 10, 10, 10),
}
"""Ready drum tables by name, the same keys as a drum file."""

DIAMETER_RANGE_M: Final = (6 * 0.0254, 26 * 0.0254)
DEPTH_RANGE_M: Final = (0.05, 0.61)
ROD_RANGE: Final = (4, 16)
