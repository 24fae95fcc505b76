"""``hoopwise read``: recordings in, notes, modes and ring times out."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import click

from hoopwise.cli.note_range import NoteRange
from hoopwise.cli.round_options import print_round, round_options, wants_round
from hoopwise.errors import RecordingError
from hoopwise.listen.files import find_recordings
from hoopwise.listen.hits import RecordingHits, note_groups, read_hits

_MOST_PICTURES: Final = 6


@dataclass
class Outcome:
    """What could be read, and why the rest could not."""

    readings: list[RecordingHits] = field(default_factory=list)
    troubles: dict[Path, str] = field(default_factory=dict)


@click.command()
@click.argument("recordings", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--note-range",
    type=NoteRange(),
    default="40-600",
    show_default=True,
    help="Where the note may lie, in Hz or in notes (C2-E4).",
)
@click.option(
    "--channel",
    type=click.IntRange(min=1),
    help="Channel to read, from 1; the loudest by default.",
)
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, writable=True, path_type=Path),
    help="Draw spectra, modes and notes, or the rim strip of a round (svg, png or pdf).",
)
@click.option("--json", "as_data", is_flag=True, help="Print JSON for programs to read.")
@round_options
def read(
    recordings: tuple[Path, ...],
    note_range: tuple[float, float],
    channel: int | None,
    plot: Path | None,
    as_data: bool,
    **wish: Any,
) -> None:
    """Tell the notes, modes and ring times of recordings of drum hits.

    RECORDINGS are sound files (wav, flac, ogg, mp3, aiff, m4a), or folders of them. With
    --drum and --rods they are one round of taps: one file a rod, or rods one after the
    other in one file, one to three taps in a row at each.
    """
    if plot is not None and plot.suffix.lower() not in (".svg", ".png", ".pdf"):
        raise click.BadParameter(f"{plot} should end in .svg, .png or .pdf.", param_hint="--plot")
    if wants_round(wish):
        print_round(recordings, wish, channel, plot, as_data)
        return
    if not recordings:
        raise click.UsageError("Missing argument 'RECORDINGS...'.")
    low_hz, high_hz = note_range
    outcome = read_all(recordings, lambda path: read_hits(path, low_hz, high_hz, channel))
    if as_data:
        _print_json(outcome, note_range)
    else:
        _print_text(outcome)
    if plot is not None and outcome.readings:
        from hoopwise.cli.read_plot import save_plot

        save_plot(outcome.readings, plot)
        click.echo(f"drawn: {plot}", err=True)
    for why in outcome.troubles.values():
        click.echo(f"hoopwise: {why}", err=True)
    if outcome.troubles:
        sys.exit(2)


def read_all(paths: Iterable[Path], reader: Callable[[Path], RecordingHits]) -> Outcome:
    """Read every recording below the paths; one that cannot be read stops no other."""
    outcome = Outcome()
    found: list[Path] = []
    for path in paths:
        try:
            found += find_recordings([path])
        except RecordingError as error:
            outcome.troubles[path] = str(error)
    for path in _with_progress(list(dict.fromkeys(found))):
        try:
            outcome.readings.append(reader(path))
        except RecordingError as error:
            outcome.troubles[path] = str(error)
    return outcome


def _with_progress(paths: list[Path]) -> Iterator[Path]:
    """Show a bar on stderr while several files are read at a terminal."""
    if len(paths) < 2 or not sys.stderr.isatty():
        yield from paths
        return
    from rich.console import Console
    from rich.progress import track

    console = Console(stderr=True)
    yield from track(paths, "Reading", console=console, transient=True)


def _print_json(outcome: Outcome, note_range_hz: tuple[float, float]) -> None:
    from hoopwise.cli.read_json import as_json

    groups = note_groups([hit for reading in outcome.readings for hit in reading.hits])
    data = as_json(outcome.readings, groups, outcome.troubles, note_range_hz)
    click.echo(json.dumps(data, indent=2, allow_nan=False))


def _print_text(outcome: Outcome) -> None:
    from hoopwise.cli.read_print import Signs, recording_lines, summary_lines

    signs = Signs(getattr(sys.stdout, "encoding", None))
    hits = [hit for reading in outcome.readings for hit in reading.hits]
    pictures = len(hits) <= _MOST_PICTURES
    for reading in outcome.readings:
        click.echo("\n".join(recording_lines(reading, signs, pictures)))
    if len(hits) > 1:
        click.echo("\n".join(summary_lines(note_groups(hits), signs)))
    if not pictures:
        click.echo(f"  (no spectra for more than {_MOST_PICTURES} hits; --plot draws them)")
