"""Memory and time for a recording of an hour at 96 kHz, with a hit a minute and without.

``python -m benchmarks.long_recording`` writes the files into a temporary folder and reads
them with the command line in a process of its own, whose highest memory is told.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

RATE = 96_000
MINUTES = 60


def write(path: Path, with_hits: bool) -> None:
    """Low noise for an hour, a damped 110 Hz hit in the middle of each minute."""
    rng = np.random.default_rng(0)
    t = np.arange(2 * RATE) / RATE
    hit = 0.5 * 10.0 ** (-3.0 * t / 1.2) * np.sin(2.0 * np.pi * 110.0 * t)
    hit += 0.05 * 10.0 ** (-3.0 * t / 0.5) * np.sin(2.0 * np.pi * 196.0 * t)
    with soundfile.SoundFile(path, "w", RATE, 1, "PCM_16") as file:
        for _ in range(MINUTES):
            minute = 1e-4 * rng.normal(size=60 * RATE)
            if with_hits:
                minute[30 * RATE : 32 * RATE] += hit
            file.write(minute)


def main() -> int:
    """Print a table row for each file; 1 when one was read wrongly."""
    print("| an hour at 96 kHz | hits found | exit code | highest memory | time |")
    print("|---|---|---|---|---|")
    wrong = 0
    for name, with_hits in (("with 60 hits", True), ("without hits", False)):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder, "hour.flac")
            write(path, with_hits)
            start = time.perf_counter()
            command = [sys.executable, "-m", "hoopwise", "read", str(path), "--json"]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            seconds = time.perf_counter() - start
        peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
        found = done.stdout.count('"onset_s"')
        wrong += (found, done.returncode) != ((MINUTES, 0) if with_hits else (0, 2))
        print(f"| {name} | {found} | {done.returncode} | {peak_mb:.0f} MB | {seconds:.0f} s |")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
