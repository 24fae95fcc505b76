"""Runs every benchmark: ``python -m benchmarks``, or some: ``python -m benchmarks NAME...``.

A benchmark is a module of this package that prints markdown when run; its line here gives
it a title in docs/benchmarks.md. Each runs in a process of its own.
"""

import subprocess
import sys

BENCHMARKS = {
    "listening_modes": "Modes, pairs and onsets of synthetic taps",
    "listening_rooms": "Noise and rooms",
    "listening_bounces": "Double hits",
    "joint_taps": "Many taps together",
    "real_recordings": "The note of real drums over strike strengths",
    "film_loss": "Loss factor of the film, from real drums",
    "long_recording": "Recordings of an hour",
    "acoustics_speed": "Speed of the acoustics",
    "closed_loop": "From uneven to even on simulated drums",
}


def run(names: list[str]) -> int:
    """Run the named benchmarks in order; how many failed."""
    failed = 0
    for name in names:
        print(f"## {BENCHMARKS[name]}\n\n`python -m benchmarks.{name}`\n", flush=True)
        done = subprocess.run([sys.executable, "-m", f"benchmarks.{name}"], check=False)
        failed += done.returncode != 0
        print(flush=True)
    return failed


if __name__ == "__main__":
    chosen = sys.argv[1:] or list(BENCHMARKS)
    unknown = [name for name in chosen if name not in BENCHMARKS]
    if unknown:
        sys.exit(f"no benchmark {unknown[0]!r}; there are: {', '.join(BENCHMARKS)}")
    sys.exit(run(chosen))
