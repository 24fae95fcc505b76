"""The live protocol: messages, states, and which message is legal in which state.

Text frames carry one JSON object with ``v`` (protocol version) and ``kind``; binary
frames carry sound (see ``wire.py``). The server answers every accepted message with a
``state`` snapshot and every other one with ``refused``, which changes nothing.
"""

import json
from enum import StrEnum
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

VERSION: Final = 1
MAX_RODS: Final = 16


class State(StrEnum):
    """Where the work on one head stands."""

    BARE = "bare"
    """No drum chosen yet."""
    READY = "ready"
    """A drum is on the bench; nothing is being listened to."""
    LISTENING = "listening"
    """A round of taps is running."""
    SORTING = "sorting"
    """Taps from files wait for their rods."""
    READING = "reading"
    """The round is being worked out."""
    READ = "read"
    """The round's reading and turn list are on the table."""
    TURNING = "turning"
    """The turn list is being worked through."""


class _Message(BaseModel):
    """What every message from the page carries."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)
    v: Literal[1] = 1


Rod = Annotated[int, Field(ge=1, le=MAX_RODS)]
Place = Annotated[
    float,
    Field(
        ge=1,
        lt=MAX_RODS + 1,
        multiple_of=0.5,
        description="A rod's number; half more is halfway to the next rod clockwise.",
    ),
]
RodNumbers = Annotated[list[Rod], Field(min_length=1, max_length=MAX_RODS)]
Line = Annotated[str, Field(min_length=1, max_length=200)]


class Hello(_Message):
    """First message of a connection."""

    kind: Literal["hello"]
    page: Annotated[str, Field(max_length=64)] = ""
    """A name that the page keeps for as long as it is open."""


class SetDrum(_Message):
    """Put a drum on the bench; work on another drum or head is put away."""

    kind: Literal["set_drum"]
    drum: Annotated[dict[Line, Any], Field(max_length=8)]
    """The tables of a drum file."""
    side: Literal["batter", "snare_side", "resonant"]
    other_head: Literal["off", "muted", "ringing"]
    practice: bool = False
    """Practise on a simulated drum instead of a real one."""


class SetStage(_Message):
    """Go to a stage of the work."""

    kind: Literal["set_stage"]
    stage: Literal["mount", "even", "seat"]


class Mark(_Message):
    """Tick or untick an item of a stage's checklist."""

    kind: Literal["mark"]
    item: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[a-z0-9-]+$")]
    done: bool


class BeginRound(_Message):
    """Start a round of taps."""

    kind: Literal["begin_round"]
    source: Literal["microphone", "files"]
    order: Literal["around", "star", "halfway"] = "around"
    """``halfway``: around, at each rod and halfway to the next."""
    taps_per_rod: Annotated[int, Field(ge=1, le=4)] = 2
    """In order ``halfway`` each place gets half of it, at least one."""


class OpenEar(_Message):
    """A microphone stream begins; its settings are what the browser says they are."""

    kind: Literal["open_ear"]
    stream: Annotated[int, Field(ge=1, le=2**32 - 1)]
    rate: Annotated[int, Field(ge=8000, le=192000)]
    settings: dict[Line, bool | int | float | str | None] = Field(max_length=24)


class CloseEar(_Message):
    """The microphone stream ends."""

    kind: Literal["close_ear"]
    stream: Annotated[int, Field(ge=1, le=2**32 - 1)]


class Deafen(_Message):
    """The page beeps or speaks: strikes between these frames are its own sound."""

    kind: Literal["deafen"]
    stream: Annotated[int, Field(ge=1, le=2**32 - 1)]
    begin: Annotated[int, Field(ge=0, le=2**52)]
    end: Annotated[int, Field(ge=0, le=2**52)]


class PracticeTap(_Message):
    """Tap the practice drum at a place of the round."""

    kind: Literal["practice_tap"]
    rod: Place


class TakeBack(_Message):
    """Undo the last tap or turn."""

    kind: Literal["take_back"]


class GoTo(_Message):
    """The next tap comes from this place of the round."""

    kind: Literal["go_to"]
    rod: Place


class Assign(_Message):
    """A tap from a file belongs to this place of the round, or to none."""

    kind: Literal["assign"]
    take: Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
    rod: Place | None


class Declare(_Message):
    """How uploaded recordings were made."""

    kind: Literal["declare"]
    processing: Literal["raw", "unknown"]


class FinishRound(_Message):
    """Read the round with the taps that are there."""

    kind: Literal["finish_round"]


class DropRound(_Message):
    """Forget the round that is running."""

    kind: Literal["drop_round"]


class Retap(_Message):
    """Add a tap at each of these rods to the round that was read."""

    kind: Literal["retap"]
    rods: RodNumbers


class BeginTurning(_Message):
    """Work through the turn list, or make the trial turn that the reading asks for."""

    kind: Literal["begin_turning"]
    trial: bool = False


class TurnDone(_Message):
    """The turn that is due was made, or left out."""

    kind: Literal["turn_done"]
    made: bool = True


class FinishTurning(_Message):
    """Stop turning; what was made so far counts."""

    kind: Literal["finish_turning"]


class StartOver(_Message):
    """Put this drum's rounds away and start from nothing."""

    kind: Literal["start_over"]


Message = Annotated[
    Hello
    | SetDrum
    | SetStage
    | Mark
    | BeginRound
    | OpenEar
    | CloseEar
    | Deafen
    | PracticeTap
    | TakeBack
    | GoTo
    | Assign
    | Declare
    | FinishRound
    | DropRound
    | Retap
    | BeginTurning
    | TurnDone
    | FinishTurning
    | StartOver,
    Field(discriminator="kind"),
]
MESSAGE: Final[TypeAdapter[Any]] = TypeAdapter(Message)

_ANY_DRUM: Final = frozenset(State) - {State.BARE}
_STEADY: Final = _ANY_DRUM - {State.READING}

LEGAL: Final[dict[str, frozenset[State]]] = {
    "hello": frozenset(State),
    "set_drum": frozenset(State) - {State.READING},
    "set_stage": frozenset({State.READY, State.READ}),
    "mark": _STEADY,
    "begin_round": frozenset({State.READY, State.READ}),
    "open_ear": frozenset({State.LISTENING}),
    "close_ear": _ANY_DRUM,
    "deafen": _ANY_DRUM,
    "practice_tap": frozenset({State.LISTENING}),
    "take_back": frozenset({State.LISTENING, State.SORTING, State.TURNING}),
    "go_to": frozenset({State.LISTENING}),
    "assign": frozenset({State.SORTING}),
    "declare": frozenset({State.SORTING}),
    "finish_round": frozenset({State.LISTENING, State.SORTING}),
    "drop_round": frozenset({State.LISTENING, State.SORTING}),
    "retap": frozenset({State.READ}),
    "begin_turning": frozenset({State.READ}),
    "turn_done": frozenset({State.TURNING}),
    "finish_turning": frozenset({State.TURNING}),
    "start_over": _STEADY,
}
"""Message kind to the states in which it is a legal step."""


def schema() -> dict[str, Any]:
    """JSON schema of every message that the page may send."""
    described: dict[str, Any] = MESSAGE.json_schema()
    described["title"] = f"hoopwise bench, messages from the page, version {VERSION}"
    return described


if __name__ == "__main__":  # python -m hoopwise.bench.protocol > docs/bench-protocol.json
    print(json.dumps(schema(), indent=1))
