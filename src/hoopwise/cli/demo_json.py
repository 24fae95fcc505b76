"""What ``hoopwise demo --json`` prints, as described by demo.schema.json."""

import json
from importlib.resources import files
from typing import Any

from hoopwise import __version__
from hoopwise.cli.cautions import cautions
from hoopwise.cli.round_json import plan_json, reading_json
from hoopwise.drum import Drum
from hoopwise.plan.advice import Advice
from hoopwise.render.practice import PracticeDrum


def schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the output."""
    text = files("hoopwise.cli").joinpath("demo.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def round_json(number: int, advice: Advice, state: PracticeDrum) -> dict[str, Any]:
    """One round of the demo, the truth beside the reading."""
    return {
        "round": number,
        **reading_json(advice.reading),
        "true_deviation": [float(d) for d in state.deviations()],
        "true_mean_tension_n_m": state.mean_tension,
        **plan_json(advice.plan, advice),
    }


def as_json(
    drum: Drum, seed: int, rounds: list[dict[str, Any]], state: PracticeDrum
) -> dict[str, Any]:
    """The whole demo; ``state`` is the drum after the last turns."""
    left = state.deviations()
    return {
        "hoopwise": __version__,
        "drum": drum.name,
        "side": state.side,
        "other_head": state.other_head,
        "seed": seed,
        "rounds": rounds,
        "true_deviation_now": [float(d) for d in left],
        "true_rms_now": float((left**2).mean() ** 0.5),
        "cautions": cautions(drum.head("batter").film),
    }
