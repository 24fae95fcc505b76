"""What of a faint pole is its own, and no room's copy of the louder modes beside it.

A room answers a mode alike in all taps: as loudly as the mode itself was struck. A mode of the
head has its own lines of rest. So what of a pole's amplitudes over the taps runs as its louder
neighbours' do may be the room, and the rest is not.
"""

import numpy as np

from hoopwise.listen.joint.data import Floats, Round
from hoopwise.listen.joint.refine import Fit
from hoopwise.listen.joint.room import RAGGED, room_lines

NEIGHBOURS = 3
"""So many modes make up most of what the room answers at one pitch."""
FEWEST_TAPS = 8
OWN_SHARE = 0.4
"""Least share of a pole's power that is its own. On simulated drums modes beside a louder one had
0.5 to 0.8 (medians of lines of drums), what a room sets there 0.2."""


def own_evidence(data: Round, fit: Fit, noise: Floats) -> Floats:
    """(K,) sds by which what is a mode's own stands out of noise (T, K) and the rest of the room.

    Nothing where there are too few taps to tell, or little of it is.
    """
    taps, count = len(fit.taps), len(fit.poles.frequency_hz)
    if taps < FEWEST_TAPS or count <= NEIGHBOURS:
        return np.zeros(count)
    size = np.array([tap.amplitude for tap in fit.taps]) / fit.scale[:, None]
    spread = np.array(
        [tap.gram_inverse.diagonal().reshape(2, count).sum(axis=0) / 2 for tap in fit.taps]
    )
    lines = room_lines(data, fit)
    sigmas = np.empty(count)
    for k in range(count):
        near = np.argsort(-lines[k])[:NEIGHBOURS]
        rest = RAGGED * (lines[k].sum() - lines[k, near].sum())
        root = 1 / np.sqrt(spread[:, k] * (noise[:, k] + rest))
        heard, copies = size[:, k] * root, size[:, near] * root[:, None]
        found, *_ = np.linalg.lstsq(copies, heard, rcond=None)
        free = taps - NEIGHBOURS
        left = float(np.sum(np.abs(heard - copies @ found) ** 2))
        enough = left > OWN_SHARE * float(np.sum(np.abs(heard) ** 2))
        sigmas[k] = (left - 2 * free) / np.sqrt(4 * free) if enough else 0.0
    return sigmas
