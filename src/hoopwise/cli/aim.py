"""``hoopwise aim``: head pitches to coupled modes, and a wanted note to head pitches."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hoopwise.cli.head_note import NoteOrHertz

if TYPE_CHECKING:
    from hoopwise.acoustics.two_heads import CoupledMode
    from hoopwise.cli.aim_types import Findings
    from hoopwise.drum import Side


@click.command()
@click.argument("drum", metavar="DRUM")
@click.option("--batter", type=NoteOrHertz(), help="The batter's own note.")
@click.option(
    "--snare-side", "--resonant", "second", type=NoteOrHertz(),
    help="The other head's own note; without it that head is off.",
)  # fmt: skip
@click.option("--note", type=NoteOrHertz(), help="The low note you want from the drum.")
@click.option("--ring", type=click.FloatRange(0.01, 60.0), help="How long it should ring, s.")
@click.option("--chart", is_flag=True, help="Map note and ring over both heads.")
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, writable=True, path_type=Path),
    help="Draw the modes or the chart into this file (svg, png or pdf).",
)
@click.option("--json", "as_data", is_flag=True, help="Print JSON for programs to read.")
def aim(
    drum: str,
    batter: float | None,
    second: float | None,
    note: float | None,
    ring: float | None,
    chart: bool,
    plot: Path | None,
    as_data: bool,
) -> None:
    """Find head pitches for a wanted note and ring, or what two head pitches give.

    DRUM is a drum file or a template's name. A head's own note is its lowest (0,1) with the
    other head held still.
    """
    heads = batter is not None or second is not None
    if ring is not None and note is None:
        raise click.UsageError("--ring needs --note: a ring is aimed at for one low note.")
    if note is not None and heads:
        raise click.UsageError("give head notes or a wanted --note, not both.")
    if not heads and note is None and not chart:
        raise click.UsageError("say --batter and --snare-side, or --note, or --chart.")
    if plot is not None and plot.suffix.lower() not in (".svg", ".png", ".pdf"):
        raise click.BadParameter(f"{plot} should end in .svg, .png or .pdf.", param_hint="--plot")
    found = work_out(drum, batter, second, note, ring, chart)
    if as_data:
        from hoopwise.cli.aim_json import as_json

        click.echo(json.dumps(as_json(found), indent=2, allow_nan=False))
    else:
        from hoopwise.cli.aim_print import lines
        from hoopwise.cli.read_print import Signs

        signs = Signs(getattr(sys.stdout, "encoding", None))
        click.echo("\n".join(signs.text(line) for line in lines(found, signs)))
    if plot is not None:
        from hoopwise.cli.aim_plot import save_plot

        save_plot(found, plot)
        click.echo(f"drawn: {plot}", err=True)


def work_out(
    source: str,
    batter_hz: float | None,
    second_hz: float | None,
    note_hz: float | None,
    ring_s: float | None,
    chart: bool,
) -> "Findings":
    """Load the drum and solve whatever was asked for."""
    from hoopwise.acoustics.low_note import tension_for_note
    from hoopwise.acoustics.two_heads import couple
    from hoopwise.cli.aim_types import Findings
    from hoopwise.drum import load_drum
    from hoopwise.plan.aim import aim as aim_at
    from hoopwise.plan.aim import head_aim
    from hoopwise.plan.two_head_chart import two_head_chart

    drum = load_drum(source)
    mapped = two_head_chart(drum) if chart else None
    aimed = None if note_hz is None else aim_at(drum, note=note_hz, ring=ring_s)
    if aimed is not None:
        heads = aimed.pairs[0].heads if aimed.pairs else ()
    else:
        wanted: tuple[tuple[Side, float | None], ...] = (
            ("batter", batter_hz),
            (drum.second_side, second_hz),
        )
        heads = tuple(
            head_aim(drum, side, tension_for_note(drum, side, hz))
            for side, hz in wanted
            if hz is not None
        )
    pulls = {head.side: head.tension_n_m for head in heads}
    modes: tuple[CoupledMode, ...] = ()
    if pulls:
        pair = pulls.get("batter"), pulls.get(drum.second_side)
        modes = tuple(couple(drum, *pair, n_max=2))
    return Findings(drum, heads, modes, aimed, mapped)
