"""Everything that one recording tells: each hit's note, modes, and what an ear makes of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RecordingError
from hoopwise.listen.blocks import Stretch, choose_channel, stretches
from hoopwise.listen.dying import check_dies_away
from hoopwise.listen.ear import Roles, roles
from hoopwise.listen.files import open_recording
from hoopwise.listen.modes import modes_of_tap
from hoopwise.listen.settle import settled_note
from hoopwise.listen.spectrum import Spectrum, spectrum_of_hit
from hoopwise.listen.taps import find_taps
from hoopwise.listen.types import Mode, Note, Tap
from hoopwise.units import cents, cents_sd

PRE_ROLL_S: Final = 0.3
DEFAULT_LOW_HZ: Final = 40.0
DEFAULT_HIGH_HZ: Final = 600.0
_ONE_NOTE_CENTS: Final = 100.0
_VAGUE_CENTS: Final = 30.0
"""A note with a larger standard deviation could be its neighbour in the scale."""
_NEAR: Final = 0.02
_FAINT_DB: Final = -40.0


@dataclass(frozen=True)
class Hit:
    """One hit of a recording; times count from the recording's start."""

    tap: Tap
    note: Note | None
    """None when the hit has no note in the range."""
    no_note: str | None
    """Why it has none."""
    modes: tuple[Mode, ...]
    """Growing in frequency; empty for a hit without a note, which may be no drum."""
    roles: Roles
    spectrum: Spectrum


@dataclass(frozen=True)
class RecordingHits:
    """The hits of one recording and what was read of it."""

    path: Path
    rate_hz: int
    channels: int
    channel: int
    """The channel that was read, from 1."""
    duration_s: float
    hits: tuple[Hit, ...]


@dataclass(frozen=True)
class NoteGroup:
    """Hits that share a note: one drum struck several times."""

    frequency_hz: float
    """Median of their settled notes."""
    hits: tuple[Hit, ...]
    spread_cents: float
    """Highest less lowest settled note."""
    shortest_t60_s: float
    longest_t60_s: float


def read_hits(
    path: str | Path,
    low_hz: float = DEFAULT_LOW_HZ,
    high_hz: float = DEFAULT_HIGH_HZ,
    channel: int | None = None,
) -> RecordingHits:
    """Read every hit of a recording, however long, in bounded memory.

    Parameters
    ----------
    low_hz, high_hz : float
        Where the note may lie, Hz.
    channel : int, optional
        From 1; the loudest by default.

    Raises
    ------
    RecordingError
        The recording cannot be read or holds no hit with a note in the range.
    """
    with open_recording(path) as recording:
        chosen = choose_channel(recording, channel)
        hits: list[Hit] = []
        for stretch in stretches(recording, chosen):
            hits += _hits_of_stretch(stretch, recording.rate_hz, low_hz, high_hz)
    if not any(hit.note for hit in hits):
        raise RecordingError(_nothing(Path(path), hits, low_hz, high_hz))
    return RecordingHits(
        path=Path(path),
        rate_hz=recording.rate_hz,
        channels=recording.channels,
        channel=chosen,
        duration_s=recording.duration_s,
        hits=tuple(hits),
    )


def _hits_of_stretch(stretch: Stretch, rate: int, low_hz: float, high_hz: float) -> list[Hit]:
    taps = find_taps(stretch.samples, rate)
    hits = []
    for index, tap in enumerate(taps):
        if not stretch.from_s <= stretch.start_s + tap.onset_s < stretch.to_s:
            continue
        earliest = taps[index - 1].end_s if index else 0.0
        hit = read_hit(stretch.samples, rate, tap, earliest, low_hz, high_hz)
        moved = replace(
            tap, onset_s=tap.onset_s + stretch.start_s, end_s=tap.end_s + stretch.start_s
        )
        hits.append(replace(hit, tap=moved))
    return hits


def read_hit(
    samples: NDArray[np.float64],
    rate: float,
    tap: Tap,
    earliest_s: float = 0.0,
    low_hz: float = DEFAULT_LOW_HZ,
    high_hz: float = DEFAULT_HIGH_HZ,
) -> Hit:
    """Read one tap that ``find_taps`` found in samples; keeps 0.3 s of what came before it.

    ``earliest_s`` is where the tap before it ends.
    """
    start = max(0.0, earliest_s, tap.onset_s - PRE_ROLL_S)
    cut = samples[round(start * rate) : round(tap.end_s * rate)]
    spectrum = spectrum_of_hit(cut, rate, tap.onset_s - start)
    try:
        check_dies_away(samples, rate, tap)
        note = _checked_note(cut, rate, low_hz, high_hz)
        _check_stands_out(spectrum, note)
    except RecordingError as error:
        return Hit(tap, None, str(error).rstrip("."), (), roles((), None), spectrum)
    modes = tuple(modes_of_tap(cut, rate))
    return Hit(tap, note, None, modes, roles(modes, note), spectrum)


def _checked_note(cut: NDArray[np.float64], rate: float, low_hz: float, high_hz: float) -> Note:
    """The settled note, refused when it lies outside the range or is too vague to be one."""
    note = settled_note(cut, rate, low_hz=low_hz, high_hz=high_hz)
    if not low_hz <= note.frequency_hz <= high_hz:
        raise RecordingError(f"its note at {note.frequency_hz:.0f} Hz lies outside the range")
    within = cents_sd(note.frequency_hz, note.sd_hz)
    if within > _VAGUE_CENTS:
        raise RecordingError(
            f"its pitch near {note.frequency_hz:.0f} Hz is only known within {within:.0f} cents"
        )
    return note


def _check_stands_out(spectrum: Spectrum, note: Note) -> None:
    """Refuse a note that is the skirt of a far louder one outside the range."""
    near = np.abs(spectrum.frequency_hz / note.frequency_hz - 1.0) < _NEAR
    if near.any() and spectrum.level_db[near].max() < _FAINT_DB:
        raise RecordingError(
            f"nothing near {note.frequency_hz:.0f} Hz stands out beside what is louder "
            "outside the range"
        )


def _nothing(path: Path, hits: Sequence[Hit], low_hz: float, high_hz: float) -> str:
    if not hits:
        return (
            f"{path} holds no hit that rings: nothing in it starts with a strike and dies away "
            "as a drum does."
        )
    loudest = max(hits, key=lambda hit: hit.tap.strength_db)
    sounds = "1 sudden sound" if len(hits) == 1 else f"{len(hits)} sudden sounds"
    return (
        f"{path} holds {sounds}, none that rings as a drum does with a note between "
        f"{low_hz:.0f} and {high_hz:.0f} Hz (the loudest: {loudest.no_note})."
    )


def note_groups(hits: Sequence[Hit]) -> list[NoteGroup]:
    """Gather hits whose notes lie within 100 cents of their lowest, lowest note first."""
    noted = sorted((pitch_hz(h), index) for index, h in enumerate(hits) if h.note)
    groups: list[list[int]] = []
    lowest_hz = 0.0
    for frequency_hz, index in noted:
        if groups and cents(frequency_hz, lowest_hz) < _ONE_NOTE_CENTS:
            groups[-1].append(index)
        else:
            groups.append([index])
            lowest_hz = frequency_hz
    return [_group([hits[index] for index in sorted(members)]) for members in groups]


def pitch_hz(hit: Hit) -> float:
    """Settled note of a hit that has one, Hz."""
    assert hit.note is not None
    return hit.note.frequency_hz


def _group(hits: Sequence[Hit]) -> NoteGroup:
    notes_hz = [pitch_hz(hit) for hit in hits]
    t60_s = [hit.note.t60_s for hit in hits if hit.note]
    return NoteGroup(
        frequency_hz=float(np.median(notes_hz)),
        hits=tuple(hits),
        spread_cents=cents(max(notes_hz), min(notes_hz)),
        shortest_t60_s=min(t60_s),
        longest_t60_s=max(t60_s),
    )
