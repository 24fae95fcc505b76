"""One drum through the loop: read, advise, turn with a hand's errors, read again."""

import time
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

import hoopwise as hw
from benchmarks.loop.by_ear import POLICIES, rounds_by_ear
from benchmarks.loop.lines import Line
from benchmarks.truth import TrueDrum
from benchmarks.truth.rounds import round_of_taps
from hoopwise.errors import HoopwiseError

Array = NDArray[np.float64]

HARD_TIP_S = 2e-3
"""The stick that the player takes when asked for a harder tip."""


@dataclass(frozen=True)
class RoundPlayed:
    """One reading against the truth, and the turns that followed."""

    true: Array
    """(N,) deviations when the taps were made."""
    read: Array
    sd: Array
    trust: str
    left_out: int
    turns: Array
    """(N,) turns advised after the reading, zeros if there were none."""
    after: Array
    """(N,) true deviations after these turns."""
    tension_ratio: float
    """Mean tension read over the true one."""
    contact_ms: float
    seconds: float
    """Processor time of reading and advising."""
    failure: str = ""


@dataclass(frozen=True)
class DrumPlayed:
    """One drum of a line."""

    line: str
    seed: int
    rounds: list[RoundPlayed]
    by_ear: dict[str, list[float]] = field(default_factory=dict)
    """Policy to rms of the true deviations: at the start, then after each round."""


def rms(values: Array) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.asarray(values) ** 2)))


def play(line: Line, seed: int) -> DrumPlayed:
    """Play the line's rounds on the drum of a seed, and the same drum by ear."""
    rng = np.random.default_rng(seed)
    truth = line.draw(rng)
    start = truth
    work = hw.HeadWork(truth.nominal, side=line.kind, other_head=line.other_head)
    rounds = []
    contact_s, halfway = line.contact_s, line.halfway
    for _ in range(line.rounds):
        played, truth = _one_round(line, work, truth, rng, contact_s, halfway)
        rounds.append(played)
        asked = work.readings[-1].ask if work.readings else None
        if asked is None:
            continue
        if asked.kind == "harder tip" and not line.one_tip:
            contact_s = HARD_TIP_S
        elif asked.kind == "halfway" or asked.or_halfway:
            halfway = True
    by_ear = {}
    if line.by_ear:
        for name, policy in POLICIES.items():
            ear = np.random.default_rng(seed + 1)
            by_ear[name] = [rms(d) for d in rounds_by_ear(start, policy, ear)]
    return DrumPlayed(line.name, seed, rounds, by_ear)


def _one_round(
    line: Line,
    work: hw.HeadWork,
    truth: TrueDrum,
    rng: np.random.Generator,
    contact_s: float,
    halfway: bool,
) -> tuple[RoundPlayed, TrueDrum]:
    taps = round_of_taps(
        truth, rng, line.taps, halfway, contact_s=contact_s, reverb_db=line.reverb_db
    )
    n, true = truth.rods, truth.deviations()
    turns, read, sd = np.zeros(n), np.zeros(n), np.full(n, np.inf)
    trust, left_out, ratio, contact, failure = "none", 0, float("nan"), float("nan"), ""
    start = time.process_time()
    try:
        reading = work.read(taps)
        read = np.array([rod.deviation for rod in reading.rods])
        sd = np.array([rod.deviation_sd for rod in reading.rods])
        trust, left_out = reading.trust.level, len(reading.left_out)
        ratio = reading.mean_tension / truth.mean_tension()
        contact = reading.contact_ms or float("nan")
        plan = work.advise()
        turns = np.asarray(plan.rods, dtype=float)
    except HoopwiseError as error:
        failure = f"{type(error).__name__}: {error}"
    seconds = time.process_time() - start
    after = truth
    if np.any(turns != 0.0):
        after = truth.turned(turns, rng)
        work.turned(turns.tolist())
    played = RoundPlayed(
        true, read, sd, trust, left_out, turns, after.deviations(), ratio, contact, seconds, failure
    )
    return played, after
