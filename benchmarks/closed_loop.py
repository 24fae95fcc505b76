"""Closed loop on simulated drums whose rod tensions are known: read, turn, read again.

    python -m benchmarks.closed_loop [--line NAME ...] [--drums 30] [--jobs 2]

The truth (benchmarks.truth) shares no formula with the model under test. Prints Markdown
tables. A drum is the same in every run: its seed is its number in the line.
"""

import argparse
import multiprocessing
import os
import pickle
import sys
from collections import Counter
from collections.abc import Sequence
from multiprocessing.pool import Pool
from pathlib import Path
from typing import Any

from benchmarks.loop.lines import FIRST_SEED, LINES, Line
from benchmarks.loop.mistakes import MISTAKES, Mistake, MistakePlayed, play_mistake
from benchmarks.loop.mistakes import seconds_of_thirty_taps as _thirty_taps
from benchmarks.loop.play import DrumPlayed, play
from benchmarks.loop.table import loop_table, mistake_table, reading_table

Job = tuple[Line, Mistake | None, int]


def _do(job: Job) -> DrumPlayed | MistakePlayed:
    line, mistake, seed = job
    return play(line, seed) if mistake is None else play_mistake(line, mistake, seed)


def _jobs(asked: argparse.Namespace) -> list[Job]:
    lines = [LINES[name] for name in asked.line or LINES]
    jobs: list[Job] = [
        (line, None, asked.seed + drum) for line in lines for drum in range(asked.drums)
    ]
    if asked.mistakes:
        jobs += [
            (LINES["ten"], mistake, asked.seed + 500 + drum)
            for mistake in MISTAKES
            for drum in range(asked.drums)
        ]
    return jobs


def _workers(processes: int) -> Pool:
    """Processes whose linear algebra keeps to one core, as the command's own does."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    return multiprocessing.get_context("spawn").Pool(processes)


def _run(jobs: Sequence[Job], processes: int) -> list[DrumPlayed | MistakePlayed]:
    """All jobs, over processes that each keep to one core."""
    results = []
    with _workers(processes) as pool:
        for done, result in enumerate(pool.imap_unordered(_do, jobs), 1):
            results.append(result)
            print(f"\r{done} of {len(jobs)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return results


def _tables(results: Sequence[DrumPlayed | MistakePlayed]) -> list[str]:
    drums: dict[str, list[DrumPlayed]] = {name: [] for name in LINES}
    rounds: dict[str, list[MistakePlayed]] = {name: [] for name in MISTAKES}
    for result in results:
        if isinstance(result, DrumPlayed):
            drums[result.line].append(result)
        else:
            rounds[result.mistake].append(result)
    played = {name: found for name, found in drums.items() if found}
    wrong = {name: found for name, found in rounds.items() if found}
    lines = [*reading_table(played), "", *loop_table(played)] if played else []
    return [*lines, "", *mistake_table(wrong)] if wrong else lines


def _refusals(results: Sequence[DrumPlayed | MistakePlayed]) -> list[str]:
    drums = [result for result in results if isinstance(result, DrumPlayed)]
    return [r.failure for drum in drums for r in drum.rounds if r.failure]


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--line", action="append", choices=list(LINES), help="default: all")
    parser.add_argument("--drums", type=int, default=30, help="drums a line")
    parser.add_argument("--seed", type=int, default=FIRST_SEED, help="of the first drum")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--mistakes", action=argparse.BooleanOptionalAction, default=None)
    parser.add_argument("--time", action=argparse.BooleanOptionalAction, default=None)
    parser.add_argument("--keep", type=Path, help="write all results to this pickle")
    asked = parser.parse_args()
    everything = asked.line is None
    asked.mistakes = everything if asked.mistakes is None else asked.mistakes
    asked.time = everything if asked.time is None else asked.time
    return asked


def main() -> None:
    """Run the asked lines and print their tables."""
    asked = _arguments()
    results: list[Any] = _run(_jobs(asked), asked.jobs)
    if asked.keep:
        asked.keep.write_bytes(pickle.dumps(results))
    print("\n".join(_tables(results)))
    for reason, times in Counter(_refusals(results)).most_common():
        print(f"\n{times} rounds refused: {reason}")
    if asked.time:
        with _workers(1) as alone:
            wall, busy = alone.apply(_thirty_taps, (FIRST_SEED,))
        print(f"\n30 taps to the turn list: {wall:.2f} s, {busy:.2f} s of processor time")


if __name__ == "__main__":
    main()
