"""What ``hoopwise read --drum --json`` prints, as described by round.schema.json."""

import json
import math
from importlib.resources import files
from typing import Any

from hoopwise import __version__
from hoopwise.cli.cautions import cautions
from hoopwise.cli.read_round import RoundTold
from hoopwise.infer.types import Reading
from hoopwise.plan.advice import Advice
from hoopwise.plan.types import TurnPlan


def schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the output."""
    text = files("hoopwise.cli").joinpath("round.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def as_json(told: RoundTold) -> dict[str, Any]:
    """A round; fractions of the mean tension, Hz, N/m, turns. What is not known is null."""
    reading, plan = told.reading, told.advice.plan
    return {
        "hoopwise": __version__,
        "drum": told.drum.name,
        "side": told.side,
        "other_head": told.other_head,
        "round": told.number,
        **reading_json(reading),
        **plan_json(plan, told.advice),
        "wanted_note_hz": told.wanted_note_hz,
        "gain": None if told.gain is None else told.gain.value,
        "gain_sd": None if told.gain is None else told.gain.sd,
        "cautions": cautions(told.drum.head(told.side).film),
        "not_read": [{"file": file, "why": why} for file, why in told.not_read.items()],
    }


def reading_json(reading: Reading) -> dict[str, Any]:
    """What the taps tell."""
    return {
        "trust": reading.trust.level,
        "sentences": [*reading.trust.sentences, *reading.advice],
        "note_hz": known(reading.note.frequency_hz),
        "mean_tension_n_m": known(reading.mean_tension_n_m),
        "mean_tension_sd_n_m": known(reading.mean_tension_sd_n_m),
        "rods": [
            {
                "rod": rod.rod,
                "deviation": None if known(rod.deviation_sd) is None else known(rod.deviation),
                "deviation_sd": known(rod.deviation_sd),
                "taps": rod.taps,
                "heard_low_hz": known(rod.heard_low_hz),
                "heard_ring_hz": known(rod.heard_ring_hz),
            }
            for rod in reading.rods
        ],
    }


def plan_json(plan: TurnPlan | None, advice: Advice) -> dict[str, Any]:
    """What to turn, or null throughout with the reason."""
    if plan is None:
        why = advice.why_none or " ".join(advice.reading.trust.sentences)
        return {**dict.fromkeys(PLAN_FIELDS), "plan_sentences": [], "no_turns": why}
    return {
        "step": "trial turn" if advice.trial else "turns",
        "order": list(plan.order),
        "turns": list(plan.rods),
        "expected_deviation": [known(d) for d in plan.expected],
        "expected_note_hz": known(plan.expected_note_hz),
        "safety": plan.safety,
        "plan_sentences": list(plan.sentences),
        "no_turns": None,
    }


PLAN_FIELDS = (
    "step", "order", "turns", "expected_deviation", "expected_note_hz", "safety",
    "plan_sentences", "no_turns",
)  # fmt: skip


def known(value: float | None) -> float | None:
    """The value if it is a finite number, else None."""
    return value if value is not None and math.isfinite(value) else None
