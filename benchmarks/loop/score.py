"""Scores of a line: reading errors, intervals, claims, and what the turns brought."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.loop.play import DrumPlayed, RoundPlayed, rms

Array = NDArray[np.float64]

Z90 = 1.6449
"""Half width of a 90 % interval of a normal distribution, in standard deviations."""
POOR_RMS = 0.04


@dataclass(frozen=True)
class ReadingScore:
    """How well the first rounds of a line were read."""

    drums: int
    error_median: float
    error_worst: float
    nothing_median: float
    """The same rms if nothing is claimed: that of the deviations themselves."""
    poor_unsaid: float
    """Share of drums beyond 4 % rms whose trust was high."""
    low_trust: float
    """Share of drums whose trust was not high."""
    coverage: float
    """Share of rods within their 90 % interval, readings without an answer left out."""
    coverage_all_rounds: float
    wrong_claims: float
    """Share of all rods read with high trust and off by more than 3 sd."""
    worse_than_nothing: float
    """Share of drums read worse than by claiming nothing."""
    left_out: float
    """Good taps left out, per round."""
    failures: int


def _read(rounds: Sequence[RoundPlayed]) -> list[RoundPlayed]:
    return [r for r in rounds if np.all(np.isfinite(r.sd))]


def _coverage(rounds: Sequence[RoundPlayed]) -> float:
    answered = _read(rounds)
    if not answered:
        return float("nan")
    inside = [np.abs(r.read - r.true) <= Z90 * r.sd for r in answered]
    return float(np.mean(np.concatenate(inside)))


def score_reading(played: Sequence[DrumPlayed]) -> ReadingScore:
    """Scores of the first readings of a line's drums."""
    first = [drum.rounds[0] for drum in played]
    error = np.array([rms(r.read - r.true) for r in first])
    nothing = np.array([rms(r.true) for r in first])
    high = np.array([r.trust == "high" for r in first])
    every = [r for drum in played for r in drum.rounds]
    claimed = [(np.abs(r.read - r.true) > 3.0 * r.sd) & (r.trust == "high") for r in every]
    return ReadingScore(
        drums=len(played),
        error_median=float(np.median(error)),
        error_worst=float(error.max()),
        nothing_median=float(np.median(nothing)),
        poor_unsaid=float(np.mean((error > POOR_RMS) & high)),
        low_trust=float(np.mean(~high)),
        coverage=_coverage(first),
        coverage_all_rounds=_coverage(every),
        wrong_claims=float(np.mean(np.concatenate(claimed))),
        worse_than_nothing=float(np.mean(error > nothing + 1e-12)),
        left_out=float(np.mean([r.left_out for r in first])),
        failures=sum(bool(r.failure) for r in every),
    )


@dataclass(frozen=True)
class LoopScore:
    """What the turns brought, round by round."""

    rms_by_round: list[float]
    """Median over drums: at the start, then after each round."""
    worst_after: float
    turns: float
    """Sum of all rods' turns over all rounds, median over drums."""
    within_3: float
    """Share of drums with every rod within 3 % after the last round."""
    within_5: float


def score_loop(played: Sequence[DrumPlayed]) -> LoopScore:
    """Scores of all rounds of a line's drums."""
    by_round = np.array(
        [[rms(d.rounds[0].true)] + [rms(r.after) for r in d.rounds] for d in played]
    )
    last = np.array([np.abs(d.rounds[-1].after).max() for d in played])
    turns = [sum(float(np.abs(r.turns).sum()) for r in d.rounds) for d in played]
    return LoopScore(
        rms_by_round=[float(m) for m in np.median(by_round, axis=0)],
        worst_after=float(by_round[:, -1].max()),
        turns=float(np.median(turns)),
        within_3=float(np.mean(last <= 0.03)),
        within_5=float(np.mean(last <= 0.05)),
    )


def score_by_ear(played: Sequence[DrumPlayed]) -> dict[str, list[float]]:
    """Policy to the median rms at the start and after each round."""
    names = played[0].by_ear if played else {}
    return {
        name: [float(m) for m in np.median([d.by_ear[name] for d in played], axis=0)]
        for name in names
    }
