"""What ``hoopwise read`` prints for people: hits, their ladders of modes, a summary."""

from collections.abc import Iterator, Sequence
from typing import Final

import click

from hoopwise.cli.picture import spectrum_picture
from hoopwise.listen.hits import Hit, NoteGroup, RecordingHits
from hoopwise.listen.types import Mode
from hoopwise.units import spoken_note

_BAR_S_PER_CELL: Final = 0.1
_LONGEST_BAR: Final = 22
_MOST_RUNGS: Final = 12
_ONE_NOTE_CENTS: Final = 25.0
_DISAGREE: Final = (
    "! These hits disagree by more than one drum's note does over strengths: they are drums "
    "tuned alike, or one drum without a clear note (wires on, or damped). Trust no single one."
)


class Signs:
    """Characters for the marks; plain ones where the terminal knows no others."""

    def __init__(self, encoding: str | None) -> None:
        try:
            "◆◇·━▁█│±−…".encode(encoding or "ascii")
        except (UnicodeEncodeError, LookupError):
            self.unicode = False
            self.low, self.edge, self.other, self.bar = "N", "E", "'", "="
        else:
            self.unicode = True
            self.low, self.edge, self.other, self.bar = "◆", "◇", "·", "━"

    def text(self, line: str) -> str:
        """Replace what the terminal cannot show."""
        if self.unicode:
            return line
        return line.replace("±", "+-").replace("−", "-").replace("…", "...")


def recording_lines(reading: RecordingHits, signs: Signs, pictures: bool) -> Iterator[str]:
    """Lines for one recording: its hits one below the other."""
    count = len(reading.hits)
    where = f"channel {reading.channel} of {reading.channels}, " if reading.channels > 1 else ""
    hits = "1 hit" if count == 1 else f"{count} hits"
    title = f"{reading.path}"
    yield click.style(title, bold=True)
    yield f"  {where}{reading.rate_hz} Hz, {reading.duration_s:.2f} s, {hits}"
    for number, hit in enumerate(reading.hits, start=1):
        yield ""
        yield from map(signs.text, _hit_lines(number, hit, signs, pictures))
    yield ""


def _hit_lines(number: int, hit: Hit, signs: Signs, pictures: bool) -> Iterator[str]:
    tap = hit.tap
    head = f"  Hit {number} at {tap.onset_s:.3f} s, peak {whole_db(tap.strength_db)}"
    yield f"{head}, {tap.quality}"
    yield from _note_lines(hit)
    yield from _ladder(hit, signs)
    if hit.roles.warning:
        yield from _wrapped(f"! {hit.roles.warning}", colour="yellow")
    if pictures:
        yield ""
        yield from (
            f"  {line}"
            for line in spectrum_picture(hit.spectrum, _marks(hit, signs), signs.unicode)
        )


def _note_lines(hit: Hit) -> Iterator[str]:
    note = hit.note
    if note is None:
        yield from _wrapped(f"no note: {hit.no_note}", colour=None)
        return
    error = f"{note.frequency_hz:.2f} ± {note.sd_hz:.2f} Hz"
    glide = f"starts {note.glide_cents:.0f} cents above" if note.glide_cents >= 1.0 else "no glide"
    name = click.style(spoken_note(note.frequency_hz), bold=True)
    yield f"  note {name}  {error}  rings {note.t60_s:.2f} s  {glide}"
    if note.rival_hz is not None:
        yield from _wrapped(
            f"! The mode near {note.rival_hz:.0f} Hz is about as strong: which of the two is the "
            "note is a choice, which may change from hit to hit. --note-range makes it.",
            colour="yellow",
        )


def _ladder(hit: Hit, signs: Signs) -> Iterator[str]:
    if not hit.modes:
        return
    yield "          Hz         note     heard     ring"
    shown = _loudest(hit)
    for index in shown:
        rung = _rung(hit.modes[index], hit.roles.ear_db[index], signs)
        yield f"  {_sign(hit, index, signs)} {rung}{_role(hit, index)}"
    if len(shown) < len(hit.modes):
        yield f"    … and {len(hit.modes) - len(shown)} that are hardly heard"


def _loudest(hit: Hit) -> list[int]:
    """Indices of the modes worth a line, by frequency."""
    keep = sorted(range(len(hit.modes)), key=lambda i: -hit.roles.ear_db[i])[:_MOST_RUNGS]
    named = [i for i in (hit.roles.low_note, hit.roles.edge_ring) if i is not None]
    return sorted({*keep, *named})


def _rung(mode: Mode, ear_db: float, signs: Signs) -> str:
    cells = max(1, min(_LONGEST_BAR, round(mode.t60_s / _BAR_S_PER_CELL)))
    ring = f"{mode.t60_s:5.2f} s {signs.bar * cells}"
    if mode.slow_t60_s is not None:
        ring += f" then {mode.slow_t60_s:.2f} s"
    error = f"±{mode.frequency_sd_hz:.2f}"
    frequency = f"{mode.frequency_hz:8.2f} {error:<7}"
    return f"{frequency} {spoken_note(mode.frequency_hz):<8} {whole_db(ear_db):>6}  {ring}"


def whole_db(level_db: float) -> str:
    """Whole decibels with a true minus, and never a minus zero."""
    whole = round(level_db)
    return f"{'−' if whole < 0 else ''}{abs(whole)} dB"


def _role(hit: Hit, index: int) -> str:
    if index == hit.roles.low_note:
        return "  low note"
    if index == hit.roles.edge_ring:
        return "  edge ring"
    pair = hit.modes[index].pair
    return f"  pair {pair + 1}" if pair is not None else ""


def _sign(hit: Hit, index: int, signs: Signs) -> str:
    if index == hit.roles.low_note:
        return signs.low
    return signs.edge if index == hit.roles.edge_ring else signs.other


def _marks(hit: Hit, signs: Signs) -> dict[float, str]:
    """Marks for the picture, the named modes first."""
    order = sorted(range(len(hit.modes)), key=lambda i: _sign(hit, i, signs) == signs.other)
    return {hit.modes[i].frequency_hz: _sign(hit, i, signs) for i in order}


def _wrapped(text: str, colour: str | None) -> Iterator[str]:
    lines = click.wrap_text(text, width=78, initial_indent="  ", subsequent_indent="    ")
    yield from (click.style(line, fg=colour) for line in lines.splitlines())


def summary_lines(groups: Sequence[NoteGroup], signs: Signs) -> Iterator[str]:
    """Lines on the hits as a whole: each note, how often, and how far its hits spread."""
    yield click.style("Notes of all hits", bold=True)
    for group in groups:
        rings = f"rings {group.shortest_t60_s:.2f} s"
        if len(group.hits) > 1:
            rings = f"rings {group.shortest_t60_s:.2f} to {group.longest_t60_s:.2f} s"
        count = "1 hit" if len(group.hits) == 1 else f"{len(group.hits)} hits"
        spread = f"spread {group.spread_cents:.1f} cents" if len(group.hits) > 1 else ""
        name = spoken_note(group.frequency_hz)
        yield signs.text(
            f"  {name:<8} {group.frequency_hz:7.2f} Hz  {count:<8} {rings}  {spread}".rstrip()
        )
        if group.spread_cents > _ONE_NOTE_CENTS:
            yield from map(signs.text, _wrapped(_DISAGREE, colour="yellow"))
