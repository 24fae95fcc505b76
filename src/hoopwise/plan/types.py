"""What to turn: the plan that a reading leads to."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class TurnPlan:
    """Turns for every rod, the order to make them in, and what they should bring."""

    rods: tuple[float, ...]
    """(N,) turns of each rod, + tightens; 0 for a rod left alone."""
    order: tuple[int, ...]
    """Rod numbers in working order; the rod across follows right after."""
    expected: tuple[float, ...]
    """(N,) deviations expected after these turns."""
    expected_sd: tuple[float, ...]
    expected_mean_tension_n_m: float
    expected_note_hz: float
    safety: Literal["ok", "warn"] = "ok"
    sentences: tuple[str, ...] = ()
    """Cautions and reasons in plain words."""

    @property
    def done(self) -> bool:
        """Whether there is nothing left to turn."""
        return not self.order
