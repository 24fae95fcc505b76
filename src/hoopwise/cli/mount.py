"""``hoopwise mount``: the first passes over a fresh head, from finger-tight."""

import json
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import click

from hoopwise import __version__

if TYPE_CHECKING:
    from hoopwise.drum import Drum, Side
    from hoopwise.plan.first_pass import FirstPasses


@click.command()
@click.argument("drum_file", metavar="DRUM")
@click.option(
    "--side", type=click.Choice(["batter", "snare_side", "resonant"]), default="batter",
    show_default=True, help="Head that is mounted.",
)  # fmt: skip
@click.option(
    "--other-head", type=click.Choice(["off", "muted", "ringing"]), default="off",
    show_default=True, help="The head opposite.",
)  # fmt: skip
@click.option("--json", "as_data", is_flag=True, help="Print JSON for programs to read.")
def mount(drum_file: str, side: "Side", other_head: Any, as_data: bool) -> None:
    """Plan the first passes over a fresh head: star order, how far, where to stop.

    DRUM is a drum file, or a template's name such as snare-14x5.5.
    """
    from hoopwise.cli.round_print import said
    from hoopwise.drum import load_drum
    from hoopwise.plan.first_pass import first_passes

    drum = load_drum(drum_file)
    plan = first_passes(drum, side, other_head)
    if as_data:
        click.echo(json.dumps(_as_json(drum, side, plan), indent=2, allow_nan=False))
    else:
        click.echo(said(_lines(drum, side, plan)))


def schema() -> dict[str, Any]:
    """JSON Schema of what ``--json`` prints."""
    text = files("hoopwise.cli").joinpath("mount.schema.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def _as_json(drum: "Drum", side: "Side", plan: "FirstPasses") -> dict[str, Any]:
    from dataclasses import asdict

    from hoopwise.cli.cautions import cautions

    return {
        "hoopwise": __version__,
        "drum": drum.name,
        "side": side,
        "order": list(plan.order),
        "passes": [asdict(one) for one in plan.passes],
        "seat_note_hz": plan.seat_note_hz,
        "seat_tension_n_m": plan.seat_tension_n_m,
        "fine_turns": plan.fine_turns,
        "sentences": list(plan.sentences),
        "cautions": cautions(drum.head(side).film),
    }


def _lines(drum: "Drum", side: "Side", plan: "FirstPasses") -> list[str]:
    from hoopwise.cli.cautions import cautions
    from hoopwise.cli.round_print import fraction
    from hoopwise.units import spoken_note

    def named(hertz: float) -> str:
        return f"{spoken_note(hertz)} ({hertz:.0f} Hz)"

    order = ", ".join(map(str, plan.order))
    lines = [
        f"{drum.name}, {side.replace('_', ' ')}: {drum.rods} rods in star order {order}",
        "",
        "pass  each rod   note at most       film at most",
    ]
    for number, one in enumerate(plan.passes, start=1):
        lines.append(
            f"{number:4d}  {fraction(one.turns):>8}   {named(one.most_note_hz):<16}   "
            f"{100 * one.most_load:3.0f} % of its stress at 5 % strain"
        )
    return [
        *lines,
        "",
        f"Stop at {named(plan.seat_note_hz)}, a middling note for such a head.",
        f"If it is still lower after these passes, go on by {fraction(plan.fine_turns)} turn a "
        "pass, note by note.",
        *plan.sentences,
        "",
        "Take care. " + " ".join(cautions(drum.head(side).film)),
    ]
