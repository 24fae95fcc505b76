"""How far the note of one drum moves with the strength of the hit, on real recordings.

``python -m benchmarks.real_recordings`` prints two tables: the spread of the note over the
strengths of each set, for hoopwise and for general pitch trackers in the same run; and the
error for a known shift, each hit resampled to sound 50.2 cents higher.
"""

import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

import hoopwise
from benchmarks.recordings import HitSet, hit_sets
from benchmarks.rivals import Samples, trackers
from hoopwise.errors import RecordingError
from hoopwise.units import cents

SHIFT_CENTS: Final = 50.2
_NINETY: Final = 1.645


@dataclass
class Heard:
    """What one way of hearing told of every hit: by set, None where it told nothing."""

    name: str
    hz: dict[str, list[float | None]] = field(default_factory=dict)
    seconds: float = 0.0

    def spread_cents(self, name: str) -> float | None:
        """Highest less lowest note of a set; None with fewer than two notes."""
        told = [f for f in self.hz[name] if f is not None]
        return cents(max(told), min(told)) if len(told) > 1 else None


def load(sets: Sequence[HitSet]) -> dict[str, list[tuple[Samples, int]]]:
    """Samples and rate of every hit, by set."""
    return {s.name: [soundfile.read(path) for path in s.hits] for s in sets}


def hoopwise_note(samples: Samples, rate: int) -> float | None:
    """The settled note, Hz."""
    note = settled(samples, rate)
    return note[0] if note else None


def settled(samples: Samples, rate: int) -> tuple[float, float] | None:
    """Settled note and its standard deviation, Hz."""
    try:
        note = hoopwise.settled_note(samples, rate)
    except RecordingError:
        return None
    return note.frequency_hz, note.sd_hz


def hear(
    name: str,
    tracker: Callable[[Samples, int], float | None],
    hits: dict[str, list[tuple[Samples, int]]],
) -> Heard:
    """Run one tracker over every hit, and time it."""
    heard = Heard(name)
    first = next(iter(hits.values()))[0]
    tracker(*first)  # imports and compilation are not the tracker's speed
    start = time.process_time()
    heard.hz = {key: [tracker(*hit) for hit in members] for key, members in hits.items()}
    heard.seconds = time.process_time() - start
    return heard


def spread_row(heard: Heard, keys: Sequence[str]) -> str:
    """``median / worst`` of the spreads of some sets, and how many hits told nothing."""
    spreads = [s for key in keys if (s := heard.spread_cents(key)) is not None]
    missing = sum(f is None for key in keys for f in heard.hz[key])
    if not spreads:
        return "no notes"
    text = f"{np.median(spreads):.1f} / {max(spreads):.1f}"
    return f"{text} ({missing} missed)" if missing else text


def spread_table(everyone: Sequence[Heard], groups: dict[str, list[str]]) -> list[str]:
    """Markdown: spread over strengths in cents, median / worst over the sets of a group."""
    count = sum(len(notes) for notes in everyone[0].hz.values())
    titles = " | ".join(f"{group} ({len(keys)} sets)" for group, keys in groups.items())
    lines = [
        f"| heard by | {titles} | ms a hit |",
        "|---|" + "---|" * (len(groups) + 1),
    ]
    for heard in everyone:
        cells = [spread_row(heard, keys) for keys in groups.values()]
        lines.append(f"| {heard.name} | {' | '.join(cells)} | {1e3 * heard.seconds / count:.0f} |")
    return lines


def coverage(notes: Sequence[tuple[float, float]]) -> list[bool]:
    """Whether each note's 90 % interval agrees with the mean of the set's other notes."""
    inside = []
    for i, (f, sd) in enumerate(notes):
        rest = np.array([n for j, n in enumerate(notes) if j != i])
        weight = 1.0 / rest[:, 1] ** 2
        mean, mean_sd = float(np.average(rest[:, 0], weights=weight)), float(weight.sum() ** -0.5)
        inside.append(abs(f - mean) <= _NINETY * float(np.hypot(sd, mean_sd)))
    return inside


def shift_errors(hits: Sequence[tuple[Samples, int]]) -> NDArray[np.float64]:
    """Error in cents of the rise that resampling gives to each hit that has a note."""
    ratio = 2.0 ** (SHIFT_CENTS / 1200.0)
    errors = []
    for samples, rate in hits:
        before = hoopwise_note(samples, rate)
        after = hoopwise_note(soxr.resample(samples, rate * ratio, rate, "VHQ"), rate)
        if before is not None and after is not None:
            errors.append(cents(after, before) - SHIFT_CENTS)
    return np.asarray(np.abs(errors), dtype=np.float64)


def group_sets(sets: Sequence[HitSet]) -> dict[str, list[str]]:
    """Names of the sets in each row of the table."""
    return {
        "toms, centre": [s.name for s in sets if s.place in ("tom", "floor-tom")],
        "toms, edge": [s.name for s in sets if s.place in ("tom-edge", "floor-tom-edge")],
        "all toms": [s.name for s in sets if "tom" in s.place],
        "snares": [s.name for s in sets if "snare" in s.place],
        "kicks": [s.name for s in sets if s.place == "kick"],
    }


def main() -> int:
    """Print the tables; 1 when the recordings are not there."""
    sets = hit_sets()
    if not sets:
        print("The real recordings are not there; sh scripts/recordings.sh fetches them.")
        return 1
    hits, groups = load(sets), group_sets(sets)
    everyone = [hear("hoopwise, settled note", hoopwise_note, hits)]
    everyone += [hear(n, t, hits) for n, t in trackers().items() if t is not None]
    print("\n".join(spread_table(everyone, groups)))
    for name in (name for name, tracker in trackers().items() if tracker is None):
        print(f"\n{name}: not installed (Debian's aubio-tools), so not compared.")
    toms = groups["all toms"]
    errors = shift_errors([hit for key in toms for hit in hits[key]])
    print(
        f"\nKnown shift of {SHIFT_CENTS} cents, {errors.size} tom hits: error median "
        f"{np.median(errors):.2f}, 90th percentile {np.percentile(errors, 90):.2f}, worst "
        f"{errors.max():.2f} cents."
    )
    notes = [[note for hit in hits[key] if (note := settled(*hit))] for key in toms]
    inside = [ok for of_set in notes for ok in coverage(of_set)]
    print(
        f"\n90 % intervals over strengths: {100.0 * np.mean(inside):.0f} % of {len(inside)} tom "
        "notes agree with the others of their set."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
