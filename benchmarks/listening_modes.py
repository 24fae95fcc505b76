"""Modes of random synthetic taps against the Cramer-Rao bound, pairs, onsets, time.

``python -m benchmarks.listening_modes [TAPS]`` prints the tables; TAPS per noise level.
The onset is never given. A trimmed figure leaves out the worst 2 % and is divided by what
trimming does to a normal error, so that 1 is an efficient estimator.
"""

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from benchmarks.listening_bound import frequency_bound
from benchmarks.listening_taps import RATE, Truth, random_tap
from hoopwise.listen import find_taps, modes_of_tap
from hoopwise.listen.types import Mode

Real = NDArray[np.float64]

SNRS_DB: Final = (20.0, 40.0, 60.0)
LENGTH_S: Final = 1.1
TRIM: Final = 0.98
ALLOWED: Final = 8.0
"""The bound allows a pair when its distance is this many of its least standard deviations."""


@dataclass
class Isolated:
    """What was found of taps whose modes are all apart."""

    over_bound: list[float] = field(default_factory=list)
    """Error over the bound's standard deviation."""
    over_own: list[float] = field(default_factory=list)
    """Error over the mode's own error bar."""
    missed: int = 0
    invented: int = 0
    onset_ms: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def efficiency(self) -> float:
        """Bound variance over trimmed error variance."""
        squares = np.sort(np.square(self.over_bound))[: int(TRIM * len(self.over_bound))]
        limit = chi2.ppf(TRIM, 1)
        return float(chi2.cdf(limit, 3) / TRIM / np.mean(squares))

    def coverage(self) -> float:
        """Share of truths inside the mode's own 90 % interval."""
        return float(np.mean(np.abs(self.over_own) < 1.645))


def bound_of(truth: Truth) -> tuple[Real, Real]:
    """The bound for all the sound from the end of the contact to the end of the file."""
    return frequency_bound(truth, truth.contact_s, LENGTH_S - truth.onset_s)


def isolated(snr_db: float, taps: int, seed: int) -> Isolated:
    """Measure isolated modes over random taps."""
    rng = np.random.default_rng(seed)
    told = Isolated()
    for _ in range(taps):
        x, truth = random_tap(rng, snr_db, length_s=LENGTH_S)
        begin = time.process_time()
        modes = modes_of_tap(x, RATE)
        told.seconds.append(time.process_time() - begin)
        onsets = [tap.onset_s for tap in find_taps(x, RATE)]
        told.onset_ms += [1e3 * (onset - truth.onset_s) for onset in onsets]
        _match(told, modes, truth, bound_of(truth)[0])
    return told


def _match(told: Isolated, modes: Sequence[Mode], truth: Truth, bound: Real) -> None:
    used: set[int] = set()
    for f, sd in zip(truth.frequency_hz, bound, strict=True):
        free = [i for i in range(len(modes)) if i not in used]
        near = min(free, key=lambda i: abs(modes[i].frequency_hz - f), default=None)
        if near is None or abs(modes[near].frequency_hz - f) > max(1.0, 8.0 * sd):
            told.missed += 1
            continue
        used.add(near)
        error = modes[near].frequency_hz - f
        told.over_bound.append(float(error / sd))
        told.over_own.append(error / modes[near].frequency_sd_hz)
    told.invented += len(modes) - len(used)


def pair_ratio(truth: Truth) -> float:
    """Distance of the pair over the least standard deviation of that distance."""
    cov = bound_of(truth)[1]
    sd = np.sqrt(cov[0, 0] + cov[1, 1] - 2.0 * cov[0, 1])
    return float(abs(truth.frequency_hz[0] - truth.frequency_hz[1]) / sd)


def is_resolved(modes: Sequence[Mode], truth: Truth) -> bool:
    """Exactly two modes near the pair, each nearer its own truth than half their distance."""
    low, high = sorted(truth.frequency_hz[:2])
    near = [m.frequency_hz for m in modes if low - 20.0 < m.frequency_hz < high + 20.0]
    if len(near) != 2:
        return False
    reach = max(0.5 * (high - low), 4.0 * float(np.max(bound_of(truth)[0][:2])))
    return bool(abs(near[0] - low) < reach and abs(near[1] - high) < reach)


def pairs(snr_db: float, taps: int, seed: int) -> list[tuple[float, bool]]:
    """Ratio to the bound, and whether it was resolved, for each random pair."""
    rng = np.random.default_rng(seed)
    told = []
    for _ in range(taps):
        x, truth = random_tap(rng, snr_db, pair=True, length_s=LENGTH_S)
        told.append((pair_ratio(truth), is_resolved(modes_of_tap(x, RATE), truth)))
    return told


def isolated_table(taps: int) -> None:
    """Print one row per noise level."""
    print("| noise | modes | efficiency | missed | invented | own 90 % interval holds | ", end="")
    print("onset bias ms | onset sd ms | ms a tap, median | 95th |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    for snr in SNRS_DB:
        told = isolated(snr, taps, seed=int(snr))
        count = len(told.over_bound)
        onset = np.array(told.onset_ms)
        milliseconds = 1e3 * np.array(told.seconds)
        print(
            f"| {snr:.0f} dB | {count} | {told.efficiency():.2f} | {told.missed} "
            f"| {told.invented} ({100.0 * told.invented / max(count, 1):.1f} %) "
            f"| {100.0 * told.coverage():.0f} % | {onset.mean():+.3f} | {onset.std():.3f} "
            f"| {np.median(milliseconds):.0f} | {np.percentile(milliseconds, 95):.0f} |",
            flush=True,
        )


def pairs_table(taps: int) -> None:
    """Print the share of pairs resolved, by how far the bound lets them be told apart."""
    told = [one for snr in SNRS_DB for one in pairs(snr, taps, seed=300 + int(snr))]
    edges = (0.0, 4.0, ALLOWED, 20.0, 100.0, np.inf)
    print("\n| distance over its least sd | pairs | resolved |\n|---|---|---|")
    for low, high in pairwise(edges):
        part = [ok for ratio, ok in told if low <= ratio < high]
        share = f"{100.0 * np.mean(part):.0f} %" if part else ""
        print(f"| {low:.0f} to {high:.0f} | {len(part)} | {share} |")
    allowed = [ok for ratio, ok in told if ratio >= ALLOWED]
    print(f"| **{ALLOWED:.0f} and more** | {len(allowed)} | {100.0 * np.mean(allowed):.1f} % |")


def main(taps: int = 100) -> int:
    """Print all tables."""
    isolated_table(taps)
    pairs_table(taps)
    return 0


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
