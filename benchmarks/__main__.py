"""Runs every benchmark: ``python -m benchmarks``, or some: ``python -m benchmarks NAME...``.

A benchmark is a module of this package with a function ``main()`` that prints markdown;
its line here gives it a title in docs/benchmarks.md.
"""

import sys
from importlib import import_module

BENCHMARKS = {
    "real_recordings": "The note of real drums over strike strengths",
    "long_recording": "Recordings of an hour",
}


def run(names: list[str]) -> int:
    """Run the named benchmarks in order; how many could not run."""
    failed = 0
    for name in names:
        print(f"## {BENCHMARKS[name]}\n\n`python -m benchmarks.{name}`\n", flush=True)
        failed += bool(import_module(f"benchmarks.{name}").main())
        print(flush=True)
    return failed


if __name__ == "__main__":
    chosen = sys.argv[1:] or list(BENCHMARKS)
    unknown = [name for name in chosen if name not in BENCHMARKS]
    if unknown:
        sys.exit(f"no benchmark {unknown[0]!r}; there are: {', '.join(BENCHMARKS)}")
    sys.exit(run(chosen))
