"""Speed of the acoustics: `python -m benchmarks.acoustics_speed` prints each figure.

One function per figure, each giving milliseconds of processor time, best of several runs
(the machine may be busy); a new figure is a new function in FIGURES with its target.
"""

import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

import hoopwise as hw
from hoopwise.acoustics.air_stack import air_stack
from hoopwise.acoustics.air_table import air_table
from hoopwise.acoustics.free_field import free_ends
from hoopwise.acoustics.glide import pitch_glide
from hoopwise.acoustics.head_model import HeadModel, _head_model
from hoopwise.acoustics.head_modes import derivatives, head_model, solve
from hoopwise.acoustics.stretch import _rim_map, even_pull
from hoopwise.acoustics.wires import wire_bed
from hoopwise.drum import load_drum
from hoopwise.plan.two_head_chart import two_head_chart
from hoopwise.render.build import drum_voice
from hoopwise.render.practice import practice_drum
from hoopwise.render.strike import Take, render_hit

DRUM = load_drum("snare-14x5.5")


def best_ms(action: Callable[[], object], runs: int = 7, each: int = 5) -> float:
    """Processor time of one call (ms), the best of ``runs`` averages over ``each`` calls."""
    best = float("inf")
    for _ in range(runs):
        start = time.process_time()
        for _ in range(each):
            action()
        best = min(best, (time.process_time() - start) / each)
    return 1e3 * best


def uneven_pull() -> tuple[HeadModel, NDArray[np.float64]]:
    model = head_model(DRUM, "batter", slide=0.5)
    noise = np.random.default_rng(0).normal(size=model.rim.rods)
    return model, even_pull(model.rim, 3000.0) * (1 + 0.08 * noise)


def head_modes_for_new_rods() -> float:
    model, pull = uneven_pull()
    return best_ms(lambda: solve(model, pull), each=20)


def head_modes_with_full_air_load() -> float:
    model, pull = uneven_pull()
    added = np.diag(0.5 * model.mass)
    return best_ms(lambda: solve(model, pull, added), each=20)


def derivatives_to_every_rod() -> float:
    model, pull = uneven_pull()
    modes = solve(model, pull)
    return best_ms(lambda: derivatives(model, modes), each=20)


def rim_map_of_a_new_drum() -> float:
    def fresh() -> None:
        _rim_map.cache_clear()
        _rim_map(DRUM, "batter", 0.5, 0.012, 5e-8)

    return best_ms(fresh)


def head_model_of_a_new_drum() -> float:
    def fresh() -> None:
        _head_model.cache_clear()
        head_model(DRUM, "batter", slide=0.5)

    return best_ms(fresh, runs=5, each=2)


def pitch_glide_of_twelve_modes() -> float:
    model, pull = uneven_pull()
    modes = solve(model, pull)
    return best_ms(lambda: pitch_glide(model, modes), runs=3, each=2)


def one_second_of_a_hit() -> float:
    """Milliseconds for a second of sound: 20 ms is 50 times faster than real time."""
    voice, take = drum_voice(DRUM), Take(length_s=1.0)
    return best_ms(lambda: render_hit(voice, take=take), each=3)


def one_second_of_a_hit_on_one_head() -> float:
    voice, take = drum_voice(DRUM, other_head="off"), Take(length_s=1.0)
    return best_ms(lambda: render_hit(voice, take=take), each=3)


def one_second_of_a_hit_with_wires() -> float:
    assert DRUM.wires is not None
    voice, bed = drum_voice(DRUM), wire_bed(DRUM.wires)
    take = Take(length_s=1.0)
    return best_ms(lambda: render_hit(voice, wires=bed, take=take), runs=3, each=1)


def thirty_taps_of_a_practice_drum() -> float:
    practice, rng = practice_drum(DRUM), np.random.default_rng(0)
    return best_ms(lambda: [practice.tap(1 + i % 10, rng=rng) for i in range(30)], 3, 1)


def practice_drum_after_a_turn() -> float:
    practice, rng = practice_drum(DRUM), np.random.default_rng(0)
    return best_ms(lambda: practice.turned([0.05] * 10, rng=rng).voice, runs=5, each=3)


def coupled_modes_of_a_known_drum() -> float:
    """All 72 modes (m to 8, n to 4) of two heads at new tensions; air tables kept."""
    pulls = iter(np.linspace(2500.0, 4500.0, 1000))
    return best_ms(lambda: hw.couple(DRUM, float(next(pulls)), 2900.0))


def forget_air() -> None:
    """All that depends on the drum's size."""
    air_table.cache_clear()
    free_ends.cache_clear()
    air_stack.cache_clear()


def coupled_modes_of_a_new_drum() -> float:
    """The same on a drum of another size: its air tables made from the stored field."""

    def fresh() -> None:
        forget_air()
        hw.couple(DRUM, 3700.0, 2900.0)

    return best_ms(fresh, runs=5, each=1)


def first_coupled_modes_of_a_process() -> float:
    """The same in a fresh interpreter, after imports: stored tables are read from disk too."""
    code = (
        "import time; from hoopwise.acoustics.two_heads import couple; "
        "from hoopwise.drum import load_drum; drum = load_drum('snare-14x5.5'); "
        "start = time.process_time(); couple(drum, 3700.0, 2900.0); "
        "print(1e3 * (time.process_time() - start))"
    )
    runs = (subprocess.run([sys.executable, "-c", code], capture_output=True) for _ in range(7))
    return min(float(run.stdout) for run in runs)


def chart_60_by_60_of_a_new_drum() -> float:
    """Note and ring over both heads, processor time on one core."""

    def fresh() -> None:
        forget_air()
        two_head_chart(DRUM)

    return best_ms(fresh, runs=3, each=1)


def aim_at_a_note_and_ring() -> float:
    return best_ms(lambda: hw.aim(DRUM, note=180.0, ring=0.55), runs=3, each=1)


FIGURES: dict[Callable[[], float], float | None] = {
    head_modes_for_new_rods: 4.0,
    head_modes_with_full_air_load: 4.0,
    derivatives_to_every_rod: None,
    rim_map_of_a_new_drum: None,
    head_model_of_a_new_drum: None,
    pitch_glide_of_twelve_modes: None,
    one_second_of_a_hit: 20.0,
    one_second_of_a_hit_on_one_head: 20.0,
    one_second_of_a_hit_with_wires: None,
    thirty_taps_of_a_practice_drum: 1000.0,
    practice_drum_after_a_turn: None,
    coupled_modes_of_a_known_drum: 15.0,
    coupled_modes_of_a_new_drum: 25.0,
    first_coupled_modes_of_a_process: None,
    chart_60_by_60_of_a_new_drum: 12_000.0,
    aim_at_a_note_and_ring: None,
}
"""Figure to its target in ms; None where there is none."""


def main() -> None:
    """Print every figure beside its target."""
    for figure, target in FIGURES.items():
        aim = "" if target is None else f"  target {target:g} ms"
        print(f"{figure.__name__.replace('_', ' '):40s} {figure():9.2f} ms{aim}")


if __name__ == "__main__":
    main()
