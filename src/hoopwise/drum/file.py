"""Drum files: TOML or the same keys in a dict, checked key by key, to a Drum.

A mistake is told in one sentence: file, key, value, and what is legal.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from hoopwise.drum import catalogue
from hoopwise.drum.model import Drum, Film, Head, Hoop, HoopKind, Kind, Wires
from hoopwise.errors import DrumError
from hoopwise.units import METRES_PER_INCH, METRES_PER_MIL

_KEYS = {
    "drum": {
        "name", "kind", "diameter_in", "diameter_mm", "depth_in", "depth_mm", "rods", "shell",
        "thread", "thread_pitch_mm", "vent_mm",
    },
    "batter": {"film_um", "film_mil", "film", "plies", "density", "modulus_gpa", "coating_g_m2"},
    "hoop": {"kind", "thickness_mm"},
    "wires": {"strands", "length_mm"},
}  # fmt: skip
_KEYS["snare_side"] = _KEYS["resonant"] = _KEYS["batter"]


@dataclass(frozen=True)
class _Table:
    """One table of a drum file, with the words for where it came from."""

    where: str
    name: str
    values: Mapping[str, Any]

    def fail(self, key: str, problem: str) -> DrumError:
        return DrumError(f"{self.where}: [{self.name}] {key} {problem}.")

    def number(
        self, key: str, low: float, high: float, unit: str, default: float | None = None
    ) -> float:
        if key not in self.values:
            if default is None:
                raise self.fail(key, f"is missing; give a number from {low:g} to {high:g} {unit}")
            return default
        value = self.values[key]
        good = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not good or not low <= value <= high:
            raise self.fail(key, f"= {value!r} must be a number from {low:g} to {high:g} {unit}")
        return float(value)

    def whole(self, key: str, low: int, high: int, default: int | None = None) -> int:
        value = self.values.get(key, default)
        if value is None:
            raise self.fail(key, f"is missing; give a whole number from {low} to {high}")
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise self.fail(key, f"= {value!r} must be a whole number from {low} to {high}")
        return value

    def text(self, key: str, default: str) -> str:
        value = self.values.get(key, default)
        if not isinstance(value, str):
            raise self.fail(key, f"= {value!r} must be text in quotes")
        return value

    def choice(self, key: str, legal: tuple[str, ...], default: str) -> str:
        value = self.values.get(key, default)
        if value not in legal:
            raise self.fail(key, f"= {value!r} must be one of {', '.join(legal)}")
        return cast(str, value)

    def length(self, stem: str, imperial: str, scale: float, low_m: float, high_m: float) -> float:
        """A length given either in inches (or mil) or in its metric key, in metres."""
        metric, per = (f"{stem}_mm", 1e-3) if imperial == "in" else (f"{stem}_um", 1e-6)
        inch = f"{stem}_{imperial}"
        if inch in self.values and metric in self.values:
            raise self.fail(inch, f"and {metric} are both given; keep one")
        if inch in self.values:
            return self.number(inch, low_m / scale, high_m / scale, imperial) * scale
        if metric in self.values:
            return self.number(metric, low_m / per, high_m / per, metric[-2:]) * per
        raise self.fail(
            inch,
            f"is missing; give {inch} from {low_m / scale:g} to {high_m / scale:g} "
            f"or {metric} from {low_m / per:g} to {high_m / per:g}",
        )


def load_drum(source: str | Path | Mapping[str, Any]) -> Drum:
    """A drum from a TOML file, a template's name, or a dict with the same keys.

    Raises
    ------
    DrumError
        The file cannot be read, or a key is unknown, missing or out of range.
    """
    if isinstance(source, Mapping):
        return _drum(source, "drum table")
    if isinstance(source, str) and source in catalogue.TEMPLATES:
        return _drum(catalogue.TEMPLATES[source], f"template {source}")
    path = Path(source)
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        names = ", ".join(catalogue.TEMPLATES)
        raise DrumError(
            f"{path}: there is no such drum file, nor a template of that name; templates: {names}."
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise DrumError(f"{path}: cannot be read as a drum file ({error}).") from None
    except tomllib.TOMLDecodeError as error:
        raise DrumError(f"{path}: is not valid TOML: {error}.") from None
    return _drum(data, str(path))


def _drum(data: Mapping[str, Any], where: str) -> Drum:
    for name, values in data.items():
        if name not in _KEYS:
            raise DrumError(f"{where}: unknown table [{name}]; legal are {', '.join(_KEYS)}.")
        if not isinstance(values, Mapping):
            raise DrumError(f"{where}: [{name}] = {values!r} must be a table of keys.")
        for key in values:
            if key not in _KEYS[name]:
                legal = ", ".join(sorted(_KEYS[name]))
                raise DrumError(f"{where}: [{name}] has no key {key!r}; legal are {legal}.")
    table = _Table(where, "drum", data.get("drum", {}))
    kind = cast(Kind, table.choice("kind", ("snare", "tom", "kick"), "tom"))
    thread = table.text("thread", "12-24 UNC")
    pitch_mm = table.number("thread_pitch_mm", 0.3, 2.5, "mm", _pitch_mm(table, thread))
    other = "snare_side" if kind == "snare" else "resonant"
    stranger = "resonant" if kind == "snare" else "snare_side"
    if stranger in data:
        raise DrumError(f"{where}: a {kind} has [{other}] opposite the batter, not [{stranger}].")
    if "wires" in data and kind != "snare":
        raise DrumError(f"{where}: [wires] belong on a snare; this drum's kind is {kind!r}.")
    return Drum(
        name=table.text("name", "drum"),
        kind=kind,
        diameter_m=table.length("diameter", "in", METRES_PER_INCH, *catalogue.DIAMETER_RANGE_M),
        depth_m=table.length("depth", "in", METRES_PER_INCH, *catalogue.DEPTH_RANGE_M),
        rods=table.whole("rods", *catalogue.ROD_RANGE),
        hoop=_hoop(_Table(where, "hoop", data.get("hoop", {})), kind),
        batter=Head(_film(_Table(where, "batter", data.get("batter", {"film_mil": 10})))),
        second=Head(_film(_Table(where, other, data[other]))) if other in data else None,
        wires=_wires(_Table(where, "wires", data["wires"])) if "wires" in data else None,
        shell=table.text("shell", ""),
        thread=thread,
        thread_pitch_m=pitch_mm * 1e-3,
        vent_diameter_m=table.number("vent_mm", 0, 60, "mm", 10.0) * 1e-3,
        source=where,
    )


def _pitch_mm(table: _Table, thread: str) -> float | None:
    """Pitch of a catalogued thread; an unknown thread needs its pitch beside it."""
    if thread in catalogue.THREAD_PITCH_M:
        return catalogue.THREAD_PITCH_M[thread] * 1e3
    if "thread_pitch_mm" in table.values:
        return None
    known = ", ".join(catalogue.THREAD_PITCH_M)
    raise table.fail(
        "thread", f"= {thread!r} must be one of {known}, or thread_pitch_mm must be given"
    )


def _film(table: _Table) -> Film:
    plies = table.whole("plies", 1, 3, 1)
    if "film" in table.values:
        name = table.choice("film", tuple(catalogue.FILMS), "")
        base = catalogue.film(name)
        thickness, plies = base.thickness_m, base.plies
    else:
        thickness = table.length("film", "mil", METRES_PER_MIL, 25e-6, 1.0e-3)
    return Film(
        thickness_m=thickness,
        plies=plies,
        density_kg_m3=table.number("density", 800, 2500, "kg/m3", 1390.0),
        modulus_pa=table.number("modulus_gpa", 0.5, 20, "GPa", 5.0) * 1e9,
        coating_kg_m2=table.number("coating_g_m2", 0, 500, "g/m2", 0.0) * 1e-3,
    )


def _hoop(table: _Table, kind: Kind) -> Hoop:
    default = "wood" if kind == "kick" else "flanged"
    made = cast(HoopKind, table.choice("kind", ("flanged", "cast", "wood"), default))
    if "thickness_mm" not in table.values:
        return catalogue.hoop(made)
    low, high = {"flanged": (1.0, 4.0), "cast": (2.0, 12.0), "wood": (6.0, 25.0)}[made]
    return catalogue.hoop(made, table.number("thickness_mm", low, high, f"mm ({made})") * 1e-3)


def _wires(table: _Table) -> Wires:
    return Wires(
        strands=table.whole("strands", 4, 50, 20),
        length_m=table.number("length_mm", 120, 500, "mm", 360.0) * 1e-3,
    )
