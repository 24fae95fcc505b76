"""``hoopwise read --drum``: recordings of one round of taps to tension at each rod."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hoopwise.cli.round_files import parts_of
from hoopwise.cli.round_taps import Gathered, gather
from hoopwise.cli.turns_file import load_turns, save_turns
from hoopwise.drum import Drum, Side, load_drum
from hoopwise.errors import RoundError
from hoopwise.infer.taps.places import on_hoop
from hoopwise.infer.types import OtherHead, Reading
from hoopwise.listen.files import find_recordings
from hoopwise.plan.advice import Advice, next_step
from hoopwise.plan.headwork import HeadWork
from hoopwise.plan.turns import Gain


@dataclass(frozen=True)
class Wish:
    """What ``hoopwise read`` was asked about a round."""

    drum: str
    rods: tuple[str, ...]
    side: Side = "batter"
    other_head: OtherHead = "off"
    channel: int | None = None
    note_hz: float | None = None
    after: Path | None = None
    save_turns: Path | None = None


@dataclass(frozen=True)
class RoundTold:
    """A round as it is to be told."""

    drum: Drum
    side: Side
    other_head: OtherHead
    number: int
    """Which round of the head this is, from 1."""
    advice: Advice
    gain: Gain | None
    """Share of the turns that arrives, once learned."""
    wanted_note_hz: float | None
    not_read: dict[str, str]
    at_odds: bool = False
    """The round is at odds with those before it."""

    @property
    def reading(self) -> Reading:
        """The reading."""
        return self.advice.reading


def read_rods(recordings: Sequence[Path], wish: Wish) -> RoundTold:
    """Read a round, and say what to do next.

    Where taps and rods do not fit together only the low note is told, with the reason.

    Raises
    ------
    RoundError
        The rods or the turns file cannot be understood, or no tap can be used.
    DrumError, RecordingError
        The drum file, or every recording, cannot be read.
    """
    drum = load_drum(wish.drum)
    drum.head(wish.side)
    parts = parts_of(_files(recordings), wish.rods)
    work = HeadWork(drum, wish.side, wish.other_head)
    if wish.after is not None:
        work.resume(load_turns(wish.after))
    gathered = gather(parts, wish.channel)
    lacking = sorted({r for part in parts for r in part.rods if not on_hoop(r, drum.rods)})
    refusal = gathered.unclear
    if lacking:
        refusal = (
            f"Rod {lacking[0]:g} is named, but this drum has rods 1 to {drum.rods}; "
            "check the list of rods and the drum file."
        )
    if refusal:
        advice, number = Advice(_only_note(drum, wish, gathered, refusal), None), 1
    else:
        advice, number = _advised(work, gathered, wish), work.rounds
    learned = work.gain if work.gain != Gain() else None
    # A round at odds with those before it is kept without turns, for the next one to agree with.
    if wish.save_turns is not None and (advice.plan is not None or work.at_odds):
        save_turns(wish.save_turns, work.memory(advice.plan))
    return RoundTold(
        drum, wish.side, wish.other_head, number, advice, learned, wish.note_hz, gathered.not_read,
        work.at_odds,
    )  # fmt: skip


def _files(recordings: Sequence[Path]) -> list[Path]:
    """Recordings, folders unfolded; a missing file is told with its rod later."""
    return [
        f for path in recordings for f in (find_recordings([path]) if path.is_dir() else [path])
    ]


def _advised(work: HeadWork, gathered: Gathered, wish: Wish) -> Advice:
    work.read(gathered.taps)
    advice = next_step(work, wish.note_hz)
    reading = advice.reading
    return replace(advice, reading=replace(reading, advice=(*gathered.sentences, *reading.advice)))


def _only_note(drum: Drum, wish: Wish, gathered: Gathered, why: str) -> Reading:
    """What taps at unknown rods still tell."""
    work = HeadWork(drum, wish.side, wish.other_head)
    try:
        reading = work.read([(1, samples, rate) for _, samples, rate in gathered.taps])
    except RoundError:
        raise RoundError(why) from None
    rods = tuple(
        replace(rod, taps=0, heard_low_hz=None, heard_ring_hz=None) for rod in reading.rods
    )
    return replace(reading, rods=rods, trust=replace(reading.trust, sentences=(why,)), advice=())
