"""A pool of simulated drums with taps, written to one file for development.

    python -m benchmarks.truth.pool pool.pickle --drums 8 --rods 10 --taps 2

The file holds a list of ``benchmarks.truth.rounds.Pooled`` records.
"""

import argparse
import pickle
from pathlib import Path

from benchmarks.truth.rounds import pooled


def main() -> None:
    """Write a pool."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("path", type=Path)
    parser.add_argument("--drums", type=int, default=8)
    parser.add_argument("--rods", type=int, default=10)
    parser.add_argument("--taps", type=int, default=2)
    parser.add_argument("--kind", default="batter")
    parser.add_argument("--other-head", default="off")
    parser.add_argument("--contact-ms", type=float, default=3.0)
    parser.add_argument("--seed", type=int, default=1000)
    asked = parser.parse_args()
    pool = [
        pooled(
            asked.seed + i,
            asked.rods,
            asked.taps,
            asked.kind,
            asked.other_head,
            asked.contact_ms * 1e-3,
        )
        for i in range(asked.drums)
    ]
    asked.path.write_bytes(pickle.dumps(pool))
    print(f"{len(pool)} drums, {sum(len(p.taps) for p in pool)} taps in {asked.path}")


if __name__ == "__main__":
    main()
