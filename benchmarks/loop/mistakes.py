"""Rounds with a mistake in them: a wrong label, a double hit; and how long a round takes."""

import time
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

import hoopwise as hw
from benchmarks.loop.lines import Line
from benchmarks.truth import random_truth
from benchmarks.truth.rounds import round_of_taps
from hoopwise.errors import HoopwiseError

Mistake = Literal["one tap mislabelled", "a rod's taps mislabelled", "double hit"]
MISTAKES: tuple[Mistake, ...] = ("one tap mislabelled", "a rod's taps mislabelled", "double hit")


@dataclass(frozen=True)
class MistakePlayed:
    """One round with one mistake."""

    mistake: Mistake
    seed: int
    found: bool
    """Every tap concerned was left out, and no more than one other."""
    named: bool
    """The advice names the rod whose label is wrong, or the tap struck twice."""
    others_left_out: int
    error: NDArray[np.float64]
    """(N,) read less true deviations."""


def play_mistake(line: Line, mistake: Mistake, seed: int) -> MistakePlayed:
    """Make the mistake in a fresh round on the drum of a seed."""
    rng = np.random.default_rng(seed)
    truth = line.draw(rng)
    taps = round_of_taps(truth, rng, line.taps, line.halfway, contact_s=line.contact_s)
    rod = int(rng.integers(1, truth.rods + 1))
    mine = [i for i, (r, _, _) in enumerate(taps) if r == rod]
    wrong = mine if mistake == "a rod's taps mislabelled" else mine[:1]
    struck = 1 + (rod - 1 + int(rng.integers(1, truth.rods))) % truth.rods
    for i in wrong:
        samples = (
            truth.tap(rod, rng, contact_s=line.contact_s, double_hit=True)
            if mistake == "double hit"
            else truth.tap(struck, rng, contact_s=line.contact_s)
        )
        taps[i] = (rod, samples, float(truth.rate))
    try:
        reading = hw.HeadWork(truth.nominal, side=line.kind, other_head=line.other_head).read(taps)
    except HoopwiseError:
        return MistakePlayed(mistake, seed, False, False, 0, np.full(truth.rods, np.nan))
    left_out, words = set(reading.left_out), " ".join((*reading.advice, *reading.trust.sentences))
    extra = len(left_out - set(wrong))
    return MistakePlayed(
        mistake,
        seed,
        found=set(wrong) <= left_out and extra <= 1,
        named=any(f"{word} {rod}" in words for word in ("rod", "Rod")) and bool(words),
        others_left_out=extra,
        error=np.array([r.deviation for r in reading.rods]) - truth.deviations(),
    )


def seconds_of_thirty_taps(seed: int, repeats: int = 3) -> tuple[float, float]:
    """Best wall and processor seconds from 30 taps on 10 rods to the turn list."""
    rng = np.random.default_rng(seed)
    truth = random_truth(rng, 10)
    taps = round_of_taps(truth, rng, 3)
    wall, busy = [], []
    for _ in range(repeats):
        work = hw.HeadWork(truth.nominal)
        start, start_busy = time.perf_counter(), time.process_time()
        work.read(taps)
        work.advise()
        wall.append(time.perf_counter() - start)
        busy.append(time.process_time() - start_busy)
    return min(wall), min(busy)
