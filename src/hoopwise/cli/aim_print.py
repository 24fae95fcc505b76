"""What ``hoopwise aim`` prints for people: heads, coupled modes, ways to a note."""

from collections.abc import Iterator
from typing import Final

import click

from hoopwise.acoustics.two_heads import CoupledMode
from hoopwise.cli.aim_picture import chart_picture
from hoopwise.cli.aim_types import Findings
from hoopwise.cli.read_print import Signs
from hoopwise.drum import Drum, Side
from hoopwise.plan.aim import Aim, HeadAim
from hoopwise.units import spoken_note

_MOST_RUNGS: Final = 14
_LONGEST_BAR: Final = 20
_SHARE_CELLS: Final = 10
_RING_NOTE: Final = (
    "Ring times hold for even heads in open air with a typical film loss; the shell, a stand "
    "and muffling shorten them. Trust which is longer more than the seconds."
)


def lines(found: Findings, signs: Signs) -> Iterator[str]:
    """Lines of the whole answer."""
    drum = found.drum
    size = f"{drum.diameter_m / 0.0254:.4g} x {drum.depth_m / 0.0254:.3g} in, {drum.rods} rods"
    yield f"{click.style(drum.name, bold=True)}  {size}"
    if found.aim is not None:
        yield from _aim_lines(drum, found.aim)
    if found.modes:
        yield ""
        yield from _head_lines(found)
        yield from _ladder(drum, found.modes, signs)
    if found.chart is not None:
        yield ""
        marked = () if found.aim is None else found.aim.pairs
        here = [found.heads] if len(found.heads) == 2 else []
        spots = [pair.heads for pair in marked] or here
        yield from chart_picture(drum, found.chart, spots, signs.unicode)
    if found.modes or found.chart is not None:
        yield ""
        yield from _wrapped(_RING_NOTE)


def spoken_side(side: Side) -> str:
    """``snare side``."""
    return {"batter": "batter", "snare_side": "snare side", "resonant": "resonant"}[side]


def _aim_lines(drum: Drum, found: Aim) -> Iterator[str]:
    wanted = f"{spoken_note(found.wanted_note_hz)} ({found.wanted_note_hz:.1f} Hz)"
    ring = "" if found.wanted_ring_s is None else f" ringing {found.wanted_ring_s:.2f} s"
    answer = "can be had:" if found.feasible else "cannot be had."
    colour = "green" if found.feasible else "yellow"
    yield f"  low note {wanted}{ring} {click.style(answer, fg=colour, bold=True)}"
    if found.ring_range_s is not None:
        low, high = found.ring_range_s
        yield f"  rings at this note, heads within an octave: {low:.2f} to {high:.2f} s"
    for pair in found.pairs:
        yield ""
        yield f"  {click.style(pair.why, bold=True)}"
        notes = ", ".join(
            f"{spoken_side(head.side)} {spoken_note(head.pitch_hz)} ({head.pitch_hz:.1f} Hz)"
            f"{' !' if head.safety == 'warn' else ''}"
            for head in pair.heads
        )
        yield f"    {notes}"
        note = f"{spoken_note(pair.note_hz)} ({pair.note_hz:.1f} Hz)"
        yield f"    gives {note}, ring {pair.ring_s:.2f} s"
    for sentence in found.sentences:
        yield from _wrapped(f"! {sentence}", colour="yellow")


def _head_lines(found: Findings) -> Iterator[str]:
    sides = {head.side for head in found.heads}
    for head in found.heads:
        yield _head_line(head)
    other: Side = found.drum.second_side
    if len(sides) == 1:
        off = other if "batter" in sides else "batter"
        yield f"  {spoken_side(off):<11} off, the shell open there"
    if found.drum.second is not None:
        yield "  (a head's own note is its (0,1) with the other head held still)"


def _head_line(head: HeadAim) -> str:
    warn = "  ! tight: small steps" if head.safety == "warn" else ""
    return (
        f"  {spoken_side(head.side):<11} {spoken_note(head.pitch_hz):<8}{head.pitch_hz:7.1f} Hz"
        f"  {head.tension_n_m:6.0f} N/m, {100 * head.load:.0f} % of its film's limit{warn}"
    )


def _ladder(drum: Drum, modes: tuple[CoupledMode, ...], signs: Signs) -> Iterator[str]:
    two = any(mode.motion != "alone" for mode in modes)
    carried = f"batter to {spoken_side(drum.second_side)}" if two else ""
    yield f"    shape      Hz  note       ring   {' ' * _LONGEST_BAR}{carried}".rstrip()
    shown = modes[:_MOST_RUNGS]
    longest = max(mode.t60_s for mode in shown)
    low = next((mode for mode in modes if mode.shape == (0, 1)), None)
    for mode in shown:
        cells = max(1, round(_LONGEST_BAR * mode.t60_s / longest))
        sign = signs.low if mode is low else signs.other
        yield (
            f"  {sign} ({mode.shape[0]},{mode.shape[1]})  {mode.frequency_hz:7.1f}  "
            f"{spoken_note(mode.frequency_hz):<8} {mode.t60_s:5.2f} s "
            f"{signs.bar * cells:<{_LONGEST_BAR}}  {_carried(mode, signs)}"
        ).rstrip()
    if len(modes) > len(shown):
        yield f"    … and {len(modes) - len(shown)} higher ones"


def _carried(mode: CoupledMode, signs: Signs) -> str:
    """A rail between the two heads, with a mark nearer to the one that carries the mode."""
    if mode.motion == "alone":
        return ""
    at = round((1.0 - mode.share[0]) * (_SHARE_CELLS - 1))
    rail, mark = ("─", "●") if signs.unicode else ("-", "o")
    return f"{rail * at}{mark}{rail * (_SHARE_CELLS - 1 - at)} {mode.motion}"


def _wrapped(text: str, colour: str | None = None) -> Iterator[str]:
    wrapped = click.wrap_text(text, width=78, initial_indent="  ", subsequent_indent="    ")
    yield from (click.style(line, fg=colour) for line in wrapped.splitlines())
