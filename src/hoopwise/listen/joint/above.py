"""Modes above those of interest, taken out of the sound before the joint fit.

A head has dozens of modes in the range of a stick; only the lowest groups tell about
the rods. The others are fitted once, linearly, and subtracted, so that they neither cost
time nor leak into the modes below.
"""

from dataclasses import replace

import numpy as np

from hoopwise.listen.joint.data import Floats, Round
from hoopwise.listen.joint.poles import Poles
from hoopwise.listen.joint.refine import keep_poles
from hoopwise.listen.joint.tap import Waves

ONE_PLACE_HZ = 2.5
"""Start values this close may be one mode."""
GUARD_HZ = 30.0
"""How far above the highest kept pole the sound is still carried unharmed."""


def cut_at(frequency_hz: Floats, most: int) -> int:
    """How many poles to keep: those at the lowest ``most`` places or a few less.

    Start values hold one mode several times over, so that places are counted and not
    poles; the widest gap decides how many less.
    """
    place = np.cumsum(np.diff(frequency_hz, prepend=-np.inf) > ONE_PLACE_HZ)
    if not len(place) or place[-1] <= most:
        return len(place)
    inside = np.searchsorted(place, [(4 * most + 4) // 5, most], side="right")
    first, last = int(inside[0]), int(inside[1])
    gaps = np.diff(frequency_hz[first - 1 : last + 1])
    return first + int(np.argmax(gaps))


def without_above(data: Round, poles: Poles, keep: int, fit_from_s: float) -> Round:
    """The round less all modes but the ``keep`` lowest, amplitudes from ``fit_from_s`` on."""
    waves = Waves.at(data.times_s, poles)
    first = int(np.searchsorted(data.times_s, fit_from_s - 1e-9))
    count = len(poles.frequency_hz)
    above = np.r_[keep:count, count + keep : 2 * count]

    def cleared(i: int) -> Floats:
        y, n = data.samples[i].copy(), int(data.lengths[i])
        rows = np.empty((2 * count, n), dtype=np.float32)
        waves.basis(poles, float(poles.glide[i]), n, rows)
        basis = rows.astype(np.float64)
        late = basis[:, first:]
        gram = late @ late.T
        gram.flat[:: 2 * count + 1] *= 1 + 1e-6
        size = np.linalg.solve(gram, late @ y[first:n])
        y[:n] -= size[above] @ basis[above]
        return np.asarray(y)

    return replace(data, samples=np.array([cleared(i) for i in range(data.taps)]))


def kept(poles: Poles, count: int) -> Poles:
    """The lowest ``count`` poles."""
    return keep_poles(poles, np.arange(count))
