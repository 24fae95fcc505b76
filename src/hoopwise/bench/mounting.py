"""The Mount step as the page sees it: planned passes over a fresh head, and where to stop."""

from dataclasses import asdict
from functools import lru_cache
from typing import Any

from hoopwise.drum import Drum, Side
from hoopwise.errors import HoopwiseError
from hoopwise.infer.types import OtherHead
from hoopwise.plan.first_pass import FirstPasses, first_passes
from hoopwise.units import spoken_note


@lru_cache(maxsize=16)
def _planned(drum: Drum, side: Side, other_head: OtherHead) -> FirstPasses | None:
    """Every snapshot shows the passes, so they are worked out once; None outside the model."""
    try:
        return first_passes(drum, side, other_head)
    except HoopwiseError:
        return None


def show_mounting(drum: Drum, side: Side, other_head: OtherHead) -> dict[str, Any] | None:
    """Passes, the note to stop at, and what to heed; None for a drum outside the model."""
    plan = _planned(drum, side, other_head)
    if plan is None:
        return None
    return {
        "passes": [
            {**asdict(p), "most_note_name": spoken_note(p.most_note_hz)} for p in plan.passes
        ],
        "seat_note_hz": plan.seat_note_hz,
        "seat_note_name": spoken_note(plan.seat_note_hz),
        "fine_turns": plan.fine_turns,
        "sentences": list(plan.sentences),
    }
