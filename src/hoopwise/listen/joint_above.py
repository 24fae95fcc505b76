"""Modes above those of interest, taken out of the sound before the joint fit.

A head has dozens of modes in the range of a stick; only the lowest groups tell about
the rods. The others are fitted once, linearly, and subtracted, so that they neither cost
time nor leak into the modes below.
"""

from dataclasses import replace

import numpy as np

from hoopwise.listen.joint_data import Floats, Round
from hoopwise.listen.joint_poles import Poles
from hoopwise.listen.joint_refine import Waves, keep_poles

GUARD_HZ = 30.0
"""How far above the highest kept pole the sound is still carried unharmed."""


def cut_at(frequency_hz: Floats, most: int) -> int:
    """How many poles to keep, the lowest ``most`` or a few less: the widest gap decides."""
    if len(frequency_hz) <= most:
        return len(frequency_hz)
    first = max(1, (4 * most) // 5)
    gaps = np.diff(frequency_hz[first - 1 : most + 1])
    return first + int(np.argmax(gaps))


def without_above(data: Round, poles: Poles, keep: int, fit_from_s: float) -> Round:
    """The round less all modes but the ``keep`` lowest, amplitudes from ``fit_from_s`` on."""
    waves = Waves.at(data.times_s, poles)
    first = int(np.searchsorted(data.times_s, fit_from_s - 1e-9))
    count = len(poles.frequency_hz)
    above = np.r_[keep:count, count + keep : 2 * count]
    samples = data.samples.copy()
    for i, n in enumerate(data.lengths):
        basis = np.empty((2 * count, n))
        waves.basis(poles, float(poles.glide[i]), int(n), basis)
        late = basis[:, first:]
        gram = late @ late.T
        gram.flat[:: 2 * count + 1] *= 1 + 1e-6
        size = np.linalg.solve(gram, late @ samples[i, first:n])
        samples[i, :n] -= size[above] @ basis[above]
    return replace(data, samples=samples)


def kept(poles: Poles, count: int) -> Poles:
    """The lowest ``count`` poles."""
    return keep_poles(poles, np.arange(count))
