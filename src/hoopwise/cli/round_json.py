"""What ``hoopwise read --drum --json`` prints, as described by round.schema.json."""

import json
import math
from importlib.resources import files
from typing import Any

from hoopwise import __version__
from hoopwise.infer.types import Reading
from hoopwise.plan.types import TurnPlan


def schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the output."""
    text = files("hoopwise.cli").joinpath("round.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def as_json(reading: Reading, plan: TurnPlan | None, why: str) -> dict[str, Any]:
    """A round; fractions of the mean tension, Hz, N/m, turns. What is not known is null."""
    return {
        "hoopwise": __version__,
        "trust": reading.trust.level,
        "sentences": [*reading.trust.sentences, *reading.advice],
        "note_hz": reading.note.frequency_hz,
        "mean_tension_n_m": _known(reading.mean_tension_n_m),
        "mean_tension_sd_n_m": _known(reading.mean_tension_sd_n_m),
        "rods": [
            {
                "rod": rod.rod,
                "deviation": rod.deviation if _known(rod.deviation_sd) is not None else None,
                "deviation_sd": _known(rod.deviation_sd),
                "taps": rod.taps,
                "heard_low_hz": rod.heard_low_hz,
                "heard_ring_hz": rod.heard_ring_hz,
                "turns": None if plan is None else plan.rods[rod.rod - 1],
            }
            for rod in reading.rods
        ],
        "order": None if plan is None else list(plan.order),
        "no_turns": why or None,
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None
