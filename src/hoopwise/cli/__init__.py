"""The command line: parse, call, print; it computes nothing itself."""

import os

# The matrices are small: a linear-algebra library that spreads each over all cores takes
# twice as long, and gets in the way of the taps that hoopwise itself spreads over them.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(_name, "1")

from hoopwise.cli.root import main as main  # noqa: E402
