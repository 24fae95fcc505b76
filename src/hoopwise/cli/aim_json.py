"""What ``hoopwise aim --json`` prints, as described by aim.schema.json."""

import json
from importlib.resources import files
from typing import Any

from hoopwise import __version__
from hoopwise.acoustics.two_heads import CoupledMode
from hoopwise.cli.aim_types import Findings
from hoopwise.plan.aim import Aim, AimPair, HeadAim
from hoopwise.plan.two_head_chart import TwoHeadChart
from hoopwise.units import note_name


def schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the output."""
    text = files("hoopwise.cli").joinpath("aim.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def as_json(found: Findings) -> dict[str, Any]:
    """Everything that was worked out; Hz, s, N/m and cents throughout."""
    drum = found.drum
    return {
        "hoopwise": __version__,
        "drum": {
            "name": drum.name,
            "kind": drum.kind,
            "diameter_m": drum.diameter_m,
            "depth_m": drum.depth_m,
            "rods": drum.rods,
        },
        "heads": [_head(head) for head in found.heads],
        "modes": [_mode(mode) for mode in found.modes],
        "aim": None if found.aim is None else _aim(found.aim),
        "chart": None if found.chart is None else _chart(found.chart),
    }


def _named(frequency_hz: float) -> dict[str, Any]:
    name, cents = note_name(frequency_hz)
    return {"frequency_hz": frequency_hz, "name": name, "cents": cents}


def _head(head: HeadAim) -> dict[str, Any]:
    return {
        "side": head.side,
        **_named(head.pitch_hz),
        "tension_n_m": head.tension_n_m,
        "load": head.load,
        "safety": head.safety,
    }


def _mode(mode: CoupledMode) -> dict[str, Any]:
    return {
        "diameters": mode.shape[0],
        "circles": mode.shape[1],
        **_named(mode.frequency_hz),
        "t60_s": mode.t60_s,
        "radiation_t60_s": mode.radiation_t60_s,
        "batter_share": mode.share[0],
        "motion": mode.motion,
    }


def _aim(found: Aim) -> dict[str, Any]:
    return {
        "wanted_note_hz": found.wanted_note_hz,
        "wanted_ring_s": found.wanted_ring_s,
        "feasible": found.feasible,
        "note_range_hz": list(found.note_range_hz),
        "ring_range_s": None if found.ring_range_s is None else list(found.ring_range_s),
        "pairs": [_pair(pair) for pair in found.pairs],
        "sentences": list(found.sentences),
    }


def _pair(pair: AimPair) -> dict[str, Any]:
    return {
        "why": pair.why,
        "heads": [_head(head) for head in pair.heads],
        **_named(pair.note_hz),
        "t60_s": pair.ring_s,
        "batter_share": pair.batter_share,
    }


def _chart(chart: TwoHeadChart) -> dict[str, Any]:
    return {
        "batter_tension_n_m": chart.batter_tension_n_m.tolist(),
        "second_tension_n_m": chart.second_tension_n_m.tolist(),
        "batter_note_hz": chart.batter_note_hz.tolist(),
        "second_note_hz": chart.second_note_hz.tolist(),
        "note_hz": chart.note_hz.tolist(),
        "t60_s": chart.ring_s.tolist(),
        "batter_share": chart.batter_share.tolist(),
    }
