"""``hoopwise demo``: a simulated drum is read, turned and read again until it is even."""

import click

from hoopwise.cli.round_print import plan_lines, reading_lines

_DRUMS = {6: "tom-12x8", 8: "tom-14x14", 10: "snare-14x5.5"}
_TAPS = 2


@click.command()
@click.option(
    "--rods",
    type=click.Choice(["6", "8", "10"]),
    default="8",
    show_default=True,
    help="A 12 inch tom, a 14 inch floor tom or a 14 inch snare.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Another drum and hand.")
@click.option(
    "--rounds", type=click.IntRange(1, 8), default=4, show_default=True, help="At most so many."
)
def demo(rods: str, seed: int, rounds: int) -> None:
    """Follow a simulated drum from uneven to even: read, turn, read again.

    The drum is simulated, so its true tensions stand beside what the taps tell. The hand
    misses each turn by a tenth of it and up to 1/128 turn more.
    """
    import numpy as np

    from hoopwise.drum import load_drum
    from hoopwise.errors import RoundError, SafetyError
    from hoopwise.plan.headwork import HeadWork
    from hoopwise.render.practice import practice_drum

    drum = load_drum(_DRUMS[int(rods)])
    rng = np.random.default_rng(seed)
    state = practice_drum(drum, "batter", seed)
    work = HeadWork(drum, "batter", "off")
    click.echo(f"A simulated {drum.name}, batter side, other head off, unevenly tightened.")
    for number in range(1, rounds + 1):
        click.echo(f"\nRound {number}: {_TAPS} taps at each of {drum.rods} rods")
        taps = [
            (rod, state.tap(rod, rng=rng), float(state.rate))
            for rod in range(1, drum.rods + 1)
            for _ in range(_TAPS)
        ]
        reading = work.read(taps)
        click.echo("\n".join(reading_lines(reading, [float(d) for d in state.deviations()])))
        try:
            plan = work.advise()
        except (RoundError, SafetyError) as error:
            click.echo(str(error))
            break
        click.echo("\n".join(plan_lines(plan, reading)))
        if plan.done and reading.trust.level == "high":
            break
        if plan.done:
            continue  # a low trust is no proof of an even head: tap it once more
        state = state.turned(plan.rods, rng=rng)
        work.turned(plan)
    left = float(np.sqrt(np.mean(state.deviations() ** 2)))
    click.echo(
        f"\nTrue unevenness now: {100 * left:.1f} % rms (it is a simulation, so it is known)."
    )
