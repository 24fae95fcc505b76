"""The part of ``hoopwise read`` that reads rounds: its options, and what it prints."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import click

from hoopwise.cli.head_note import NoteOrHertz

_FILE: Final = click.Path(dir_okay=False, path_type=Path)
_OPTIONS: Final = (
    click.option("--drum", help="Drum file or template: the recordings are taps at its rods."),
    click.option(
        "--rods", multiple=True,
        help="With --drum: rods in the order tapped (1,2,3; 1.5 is halfway to the next), or a TOML "
        "file that lists them.",
    ),
    click.option(
        "--side", type=click.Choice(["batter", "snare_side", "resonant"]), default="batter",
        show_default=True, help="With --drum: the head that was tapped.",
    ),
    click.option(
        "--other-head", type=click.Choice(["off", "muted", "ringing"]), default="off",
        show_default=True, help="With --drum: the head opposite.",
    ),
    click.option(
        "--note", "note_hz", type=NoteOrHertz(),
        help="With --drum: low note to bring the head to.",
    ),
    click.option("--after", type=_FILE, help="With --drum: go on after the turns in this file."),
    click.option("--save-turns", type=_FILE, help="With --drum: keep the turns for --after."),
)  # fmt: skip


def round_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of a round to a command."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def wants_round(wish: dict[str, Any]) -> bool:
    """Whether the recordings are a round.

    Raises
    ------
    click.UsageError
        An option of a round stands without the drum or the rods.
    """
    if (wish["drum"] is None) != (not wish["rods"]):
        raise click.UsageError("A round needs both --drum and --rods.")
    if wish["drum"] is not None:
        return True
    for key, option in (
        ("note_hz", "--note"),
        ("after", "--after"),
        ("save_turns", "--save-turns"),
    ):
        if wish[key] is not None:
            raise click.UsageError(f"{option} belongs to a round; give --drum and --rods too.")
    return False


def print_round(
    recordings: tuple[Path, ...],
    wish: dict[str, Any],
    channel: int | None,
    plot: Path | None,
    as_data: bool,
) -> None:
    """Read a round and print it; what could not be used leaves with code 2."""
    from hoopwise.cli.read_round import Wish, read_rods

    told = read_rods(recordings, Wish(channel=channel, **wish))
    if as_data:
        from hoopwise.cli.round_json import as_json

        click.echo(json.dumps(as_json(told), indent=2, allow_nan=False))
    else:
        from hoopwise.cli.round_print import round_lines, said

        click.echo(said(round_lines(told)))
    if plot is not None and told.reading.trust.level != "none":
        from hoopwise.cli.round_plot import save_plot

        save_plot(told, plot)
        click.echo(f"drawn: {plot}", err=True)
    elif plot is not None:
        click.echo(f"hoopwise: {plot} is not drawn; nothing is known of the rods.", err=True)
    for why in told.not_read.values():
        click.echo(f"hoopwise: {why}", err=True)
    kept = wish["save_turns"]
    if told.at_odds and kept is not None:
        click.echo(f"hoopwise: {kept} keeps this round without turns; go on after it.", err=True)
    elif told.advice.plan is None and kept is not None:
        click.echo(f"hoopwise: {kept} is not written; nothing is advised.", err=True)
    if told.not_read or told.advice.plan is None:
        sys.exit(2)
