"""The lines of the closed-loop benchmark: which drums, which taps."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from benchmarks.truth import TrueDrum, random_truth
from benchmarks.truth.draw import TIGHT_NOTE_HZ

FIRST_SEED = 70_000


@dataclass(frozen=True)
class Line:
    """One line: drums of one sort, tapped in one way."""

    name: str
    words: str
    rods: int = 10
    kind: Literal["batter", "snare_side"] = "batter"
    other_head: Literal["off", "muted", "ringing"] = "off"
    contact_s: float = 3e-3
    reverb_db: float | None = None
    taps: int = 2
    rounds: int = 3
    by_ear: bool = False
    tight: bool = False
    one_tip: bool = False
    """The player has no harder tip to take when asked for one, and taps halfway instead."""
    halfway: bool = False
    """Every other tap is made halfway to the next rod from the first round on."""

    def draw(self, rng: np.random.Generator) -> TrueDrum:
        """A random drum of this line."""
        note = TIGHT_NOTE_HZ if self.tight else None
        return random_truth(rng, self.rods, self.kind, self.other_head, note_at_14_in_hz=note)


LINES = {
    line.name: line
    for line in (
        Line("ten", "10 rods, 3 ms tip", by_ear=True),
        Line("ten_one_tip", "10 rods, 3 ms tip whatever is asked", one_tip=True),
        Line("ten_halfway", "10 rods, 3 ms tip, halfway too from the start", halfway=True),
        Line("eight", "8 rods, 3 ms tip", rods=8, by_ear=True),
        Line("six", "6 rods, 3 ms tip", rods=6, by_ear=True),
        Line("eight_tight", "8 rods, as tight as a snare", rods=8, tight=True),
        Line("six_tight", "6 rods, as tight as a snare", rods=6, tight=True),
        Line("hard", "10 rods, hard stick 2 ms", contact_s=2e-3),
        Line("soft6", "10 rods, soft mallet 6 ms", contact_s=6e-3, one_tip=True),
        Line("soft8", "10 rods, soft mallet 8 ms", contact_s=8e-3, one_tip=True),
        Line("room", "10 rods, direct to reverberant 30 dB", reverb_db=30.0),
        Line("reverberant", "10 rods, direct to reverberant 20 dB", reverb_db=20.0),
        Line("ringing", "10 rods, other head ringing", other_head="ringing"),
        Line("muted", "10 rods, other head muted", other_head="muted"),
        Line("snare_side", "10 rods, thin snare side with beds", kind="snare_side"),
    )
}
