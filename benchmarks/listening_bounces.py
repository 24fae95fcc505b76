"""Double hits found and clean taps called double: bounces at half strength, 30 to 100 ms late.

``python -m benchmarks.listening_bounces [TAPS]`` prints a table. The bounce is the tap's own
sound, later and softer; synthetic taps have a sharp contact, practice drums a soft one of 3 ms.
"""

import sys
from collections.abc import Iterator

import numpy as np
import soundfile
from numpy.typing import NDArray

import hoopwise
from benchmarks.listening_taps import RATE, random_tap
from benchmarks.recordings import hit_sets

Real = NDArray[np.float64]
LEAD_S = 0.3


def is_double(x: Real, rate: float) -> bool:
    """Whether any tap in the samples is called a double hit."""
    return any("double hit" in tap.flaws for tap in hoopwise.find_taps(x, rate))


def bounced(x: Real, rate: float, onset_s: float, rng: np.random.Generator) -> Real:
    """The tap with its bounce; noise from before the onset is not repeated."""
    late = round(rng.uniform(0.03, 0.1) * rate)
    struck = np.where(np.arange(len(x)) >= onset_s * rate, x, 0.0)
    return np.asarray(x + 0.5 * np.concatenate([np.zeros(late), struck[:-late]]))


def synthetic(taps: int, rng: np.random.Generator) -> Iterator[tuple[Real, float, float]]:
    """Random taps with noise 20 to 60 dB down."""
    for _ in range(taps):
        x, truth = random_tap(rng, float(rng.choice([20.0, 40.0, 60.0])))
        yield x, RATE, truth.onset_s


def practice(name: str, taps: int, rng: np.random.Generator) -> Iterator[tuple[Real, float, float]]:
    """Taps at the rods of a simulated drum."""
    drum = hoopwise.practice_drum(hoopwise.load_drum(name), seed=1)
    for i in range(taps):
        x = drum.tap(1 + i % drum.drum.rods, rng=rng, noise_db=-50.0, length_s=1.0)
        yield x, float(drum.rate), LEAD_S


def real() -> Iterator[tuple[Real, float, float]]:
    """Hits of the two real kits."""
    for path in (path for one in hit_sets() for path in one.hits):
        x, rate = soundfile.read(path)
        yield x, float(rate), 0.0


def row(name: str, taps: Iterator[tuple[Real, float, float]], rng: np.random.Generator) -> str:
    """One table row; nothing for a kind of which there are none."""
    told = [(is_double(x, r), is_double(bounced(x, r, at, rng), r)) for x, r, at in taps]
    if not told:
        return f"| {name} | 0 | | |"
    clean, double = np.mean(told, axis=0) * 100.0
    return f"| {name} | {len(told)} | {clean:.1f} % | {double:.0f} % |"


def main(taps: int = 200) -> int:
    """Print the table."""
    rng = np.random.default_rng(5)
    print("| taps | number | clean, called double | with a bounce, called double |")
    print("|---|---|---|---|")
    print(row("synthetic", synthetic(taps, rng), rng), flush=True)
    for name in ("snare-14x5.5", "tom-12x8", "tom-16x16"):
        print(row(f"practice {name}", practice(name, taps // 4, rng), rng), flush=True)
    print(row("real hits of two kits", real(), rng))
    return 0


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
