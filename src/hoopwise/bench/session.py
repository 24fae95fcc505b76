"""A bench session: everything that must survive a crash or a reload, as one record."""

from dataclasses import dataclass, field
from typing import Any, Literal

from hoopwise.bench.protocol import State
from hoopwise.bench.rounds import Round
from hoopwise.drum import Drum, Side, load_drum
from hoopwise.infer.types import OtherHead

Stage = Literal["mount", "even", "seat"]


@dataclass(frozen=True)
class Step:
    """One turn of the key that is due or made."""

    rod: int
    turns: float
    made: bool | None = None
    """None: still due."""


@dataclass(frozen=True)
class EarMark:
    """Which stream is being heard, and up to where everything is judged and stored."""

    stream: int
    rate: int
    judged_frame: int = 0


@dataclass(frozen=True)
class Notice:
    """Something that the person should know or do."""

    code: str
    sentence: str


@dataclass(frozen=True)
class Session:
    """The work on one head."""

    state: State = State.BARE
    drum: dict[str, Any] = field(default_factory=dict)
    """The tables of a drum file."""
    side: Side = "batter"
    other_head: OtherHead = "off"
    practice: bool = False
    seed: int = 0
    stage: Stage = "even"
    marks: tuple[str, ...] = ()
    rounds: tuple[Round, ...] = ()
    steps: tuple[Step, ...] = ()
    trial: bool = False
    """The steps are the trial turn that a reading asked for."""
    ear: EarMark | None = None
    notice: Notice | None = None
    practice_taps: int = 0

    @property
    def round(self) -> Round | None:
        """The latest round."""
        return self.rounds[-1] if self.rounds else None

    @property
    def known_drum(self) -> Drum:
        """The drum as a record.

        Raises
        ------
        DrumError
            The tables do not describe a drum.
        """
        return load_drum(self.drum)

    @property
    def rods(self) -> int:
        """Rods of the drum; 0 on a bare bench."""
        return int(self.drum["drum"]["rods"]) if self.drum else 0

    @property
    def step(self) -> Step | None:
        """The turn that is due."""
        return next((s for s in self.steps if s.made is None), None)
