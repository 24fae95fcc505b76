"""Independent truth for the benchmarks: finite elements, Rayleigh's integral, own taps.

Nothing here imports the acoustics, rendering or inference under test; of hoopwise it
uses only the description of a drum.
"""

from benchmarks.truth.draw import random_truth
from benchmarks.truth.drum import TrueDrum

__all__ = ["TrueDrum", "random_truth"]
