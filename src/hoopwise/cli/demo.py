"""``hoopwise demo``: a simulated drum is read, turned and read again until it is even."""

import json
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from hoopwise.plan.advice import Advice
    from hoopwise.plan.headwork import HeadWork
    from hoopwise.render.practice import PracticeDrum

_DRUMS = {6: "tom-12x8", 8: "tom-14x14", 10: "snare-14x5.5"}
_TIP_S = 3e-3


@click.command()
@click.option(
    "--rods",
    type=click.Choice(["6", "8", "10"]),
    default="8",
    show_default=True,
    help="A 12 inch tom, a 14 inch floor tom or a 14 inch snare.",
)
@click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True,
    help="Another drum and hand.",
)  # fmt: skip
@click.option(
    "--rounds", type=click.IntRange(1, 8), default=4, show_default=True, help="At most so many."
)
@click.option("--json", "as_data", is_flag=True, help="Print JSON for programs to read.")
def demo(rods: str, seed: int, rounds: int, as_data: bool) -> None:
    """Follow a simulated drum from uneven to even: read, turn, read again.

    The drum is simulated, so its true tensions stand beside what the taps tell. The hand
    misses each turn by a tenth of it and up to 1/128 turn more.
    """
    import numpy as np

    from hoopwise.cli.demo_json import as_json, round_json
    from hoopwise.drum import load_drum
    from hoopwise.infer.fit.tip import HARD_STICK_S
    from hoopwise.plan.headwork import HeadWork
    from hoopwise.render.practice import practice_drum

    drum = load_drum(_DRUMS[int(rods)])
    rng = np.random.default_rng(seed)
    state = practice_drum(drum, "batter", seed)
    work = HeadWork(drum, "batter", "off")
    say = _silent if as_data else click.echo
    say(f"A simulated {drum.name}, batter side, other head off, unevenly tightened.")
    told: list[dict[str, Any]] = []
    contact_s, halfway = _TIP_S, False
    for number in range(1, rounds + 1):
        tip = ", with a hard stick" if contact_s == HARD_STICK_S else ""
        at = f"at each of {drum.rods} rods"
        taps = f"1 tap {at} and 1 halfway to the next" if halfway else f"2 taps {at}"
        say(f"\nRound {number}: {taps}{tip}")
        advice = _read(work, state, rng, contact_s, halfway)
        asked = advice.reading.ask
        if asked is not None and asked.kind == "harder tip":
            contact_s = HARD_STICK_S
        elif asked is not None and asked.kind == "halfway":
            halfway = True
        if not as_data:
            _print_round(advice, state)
        told.append(round_json(number, advice, state))
        plan = advice.plan
        if plan is None or (plan.done and advice.reading.trust.level == "high"):
            break
        if plan.done:
            continue  # a low trust is no proof of an even head: tap it once more
        state = state.turned(plan.rods, rng=rng)
        work.turned(plan)
    if as_data:
        click.echo(json.dumps(as_json(drum, seed, told, state), indent=2, allow_nan=False))
        return
    _print_end(state)


def _silent(text: str) -> None:
    """Say nothing: the data say it all."""


def _read(
    work: "HeadWork", state: "PracticeDrum", rng: Any, contact_s: float, halfway: bool
) -> "Advice":
    from hoopwise.plan.advice import next_step

    on = 0.5 if halfway else 0.0
    work.read(
        [
            (place, state.tap(place, rng=rng, contact_s=contact_s), float(state.rate))
            for rod in range(1, state.drum.rods + 1)
            for place in (rod, rod + on)
        ]
    )
    return next_step(work)


def _print_round(advice: "Advice", state: "PracticeDrum") -> None:
    from hoopwise.cli.round_print import advice_lines, reading_lines, said

    truth = [float(d) for d in state.deviations()]
    click.echo(said([*reading_lines(advice.reading, truth), *advice_lines(advice)]))


def _print_end(state: "PracticeDrum") -> None:
    from hoopwise.cli.cautions import cautions

    left = float((state.deviations() ** 2).mean() ** 0.5)
    click.echo(
        f"\nTrue unevenness now: {100 * left:.1f} % rms (it is a simulation, so it is known)."
    )
    film = state.drum.head("batter").film
    click.echo("With a real drum, take care. " + " ".join(cautions(film)))
