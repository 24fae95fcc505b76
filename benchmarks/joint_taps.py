"""How well the joint fit of many taps does against the Cramer-Rao bound.

Run: ``python -m benchmarks.joint_taps [drums a line]``. Prints one row for each kind of
round: efficiency, pairs, false poles, coverage of 90 % intervals, processor time.
"""

import sys
import time
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.joint_synth import Bound, Truth, joint_bound, make_drum, sound
from hoopwise.listen import joint_modes
from hoopwise.listen.types import JointModes

START_S = 0.0055
Floats = NDArray[np.float64]


@dataclass
class Score:
    """What one row of the table is made of."""

    z: list[float] = field(default_factory=list)
    """Frequency errors over the bound's standard deviation, modes matched."""
    inside: list[bool] = field(default_factory=list)
    amplitude_inside: list[bool] = field(default_factory=list)
    """With the poles' own uncertainty added to ``amplitude_cov``."""
    amplitude_bare: list[bool] = field(default_factory=list)
    """With ``amplitude_cov`` alone."""
    modes: int = 0
    pairs: int = 0
    resolved: int = 0
    extra: int = 0
    extra_db: float = -200.0
    groups: int = 0
    missed: int = 0
    seconds: list[float] = field(default_factory=list)


def match(found: Floats, truth: Truth) -> dict[int, int]:
    """True mode to found pole, nearest first, each used once, at most 1.5 Hz or 2 % apart."""
    gap = np.abs(found[None, :] - truth.frequency_hz[:, None])
    pairs: dict[int, int] = {}
    for flat in np.argsort(gap, axis=None):
        i, j = divmod(int(flat), len(found))
        if i not in pairs and j not in pairs.values() and gap[i, j] < 1.5:
            pairs[i] = j
    return pairs


def judge(score: Score, truth: Truth, bound: Bound, found: JointModes) -> None:
    """Add one round to the row."""
    paired = match(found.frequency_hz, truth)
    level = np.sqrt(np.mean(np.abs(found.amplitude) ** 2, axis=0))
    extra = sorted(set(range(len(level))) - set(paired.values()))
    score.extra += len(extra)
    for j in extra:
        score.extra_db = max(score.extra_db, float(20 * np.log10(level[j] / level.max())))
    score.modes += len(truth.frequency_hz)
    score.groups += len(set(truth.group.tolist()))
    heard = {int(truth.group[i]) for i in paired}
    score.missed += len(set(truth.group.tolist()) - heard)
    alone = set()
    for i in range(len(truth.frequency_hz) - 1):
        width = truth.frequency_hz[i + 1] - truth.frequency_hz[i]
        if truth.group[i] != truth.group[i + 1]:
            continue
        allowed = width > 3 * bound.split_hz[i]
        both = i in paired and i + 1 in paired
        score.pairs += allowed
        score.resolved += bool(allowed and both)
        if not (allowed and both):
            alone |= {i, i + 1}
    good = [i for i in paired if i not in alone]
    at = [paired[i] for i in good]
    error = found.frequency_hz[at] - truth.frequency_hz[good]
    score.z += list(error / bound.frequency_hz[good])
    score.inside += list(np.abs(error) < 1.645 * found.frequency_sd_hz[at])
    judge_amplitudes(score, truth, found, good, at)


def judge_amplitudes(
    score: Score, truth: Truth, found: JointModes, good: list[int], at: list[int]
) -> None:
    """Whitened amplitude errors: |w|^2 is exponential, 90 % lie under ln 10."""
    for t in range(len(truth.amplitude)):
        error = found.amplitude[t, at] - truth.amplitude[t, good]
        bare = found.amplitude_cov[t][np.ix_(at, at)]
        lever = found.amplitude_by_pole[t][at]
        whole = bare + lever @ found.pole_cov @ lever.conj().T
        for cov, where in ((bare, score.amplitude_bare), (whole, score.amplitude_inside)):
            white = np.linalg.solve(np.linalg.cholesky(cov), error)
            where += list(np.abs(white) ** 2 < np.log(10))


def run(name: str, drums: int, *, taps: int = 30, length_s: float = 0.8, **drum: Any) -> Score:
    """One row: random drums of one kind."""
    score = Score()
    start_s = max(START_S, drum.get("contact_s", 0.003) + 0.0025)
    for seed in range(drums):
        rng = np.random.default_rng([seed, 7])
        truth = make_drum(rng, taps, **drum)
        heard, onsets = sound(truth, rng, length_s=length_s)
        began = time.process_time()
        found = joint_modes(heard, onsets=onsets)
        score.seconds.append(time.process_time() - began)
        judge(score, truth, joint_bound(truth, start_s, length_s - 0.005), found)
    print(row(name, score), flush=True)
    return score


def row(name: str, s: Score) -> str:
    """The row as text."""
    z2 = np.sort(np.square(s.z))
    efficiency = 0.4549 / np.median(z2) if len(z2) else np.nan
    # mean of the lowest 95 % of chi-squared(1) is 0.774 of 1
    trimmed = 0.774 / z2[: int(0.95 * len(z2))].mean() if len(z2) > 20 else np.nan
    return (
        f"{name:34s} {efficiency:5.2f} {trimmed:5.2f} {s.resolved:4d}/{s.pairs:<4d}"
        f" {s.extra:3d}/{s.modes:<4d} {s.extra_db:6.0f} {s.missed:3d}/{s.groups:<4d}"
        f" {np.mean(s.inside):5.2f} {np.mean(s.amplitude_inside):5.2f}"
        f" {np.mean(s.amplitude_bare):5.2f} {np.median(s.seconds):5.2f} {np.max(s.seconds):5.2f}"
    )


ROWS: dict[str, dict[str, Any]] = {
    "30 taps, 3 ms, -50 dB": {},
    "30 taps, no pairs": {"pairs": False},
    "30 taps, no glide": {"glide": 0.0},
    "30 taps, glide 2 %": {"glide": 0.02},
    "20 taps, 2 ms, ten groups": {"taps": 20, "contact_s": 0.002, "groups": 10},
    "20 taps, 5 ms": {"taps": 20, "contact_s": 0.005},
    "20 taps, 8 ms, seven groups": {"taps": 20, "contact_s": 0.008, "groups": 7},
    "30 taps, -35 dB": {"noise_db": -35.0},
    "4 taps, -50 dB": {"taps": 4},
    "20 taps of 0.4 s": {"taps": 20, "length_s": 0.4},
}


def main() -> None:
    drums = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    only = sys.argv[2] if len(sys.argv) > 2 else ""
    print(
        f"{'round':34s} {'eff':>5s} {'trim':>5s} {'resolved':>9s} {'extra':>8s} {'dB':>6s}"
        f" {'missed':>8s} {'f 90':>5s} {'A 90':>5s} {'bare':>5s} {'s':>5s} {'max':>5s}"
    )
    for name, options in ROWS.items():
        if only in name:
            run(name, drums, **options)


if __name__ == "__main__":
    main()
