"""When the tip has left the head: from where on the taps ring freely.

While the tip is on the head the sound is not a sum of damped modes. The model, fitted to
sound well after the contact, is carried back; the first samples that it still explains
in all taps begin the free ringing. Soft tips stay for 8 ms, hard ones for 2 ms.
"""

import numpy as np

from hoopwise.listen.joint_data import Floats, Round
from hoopwise.listen.joint_poles import Complexes, Poles
from hoopwise.listen.joint_refine import Fit, shared_model, tap_model

BLOCK = 4
"""Samples that are judged together."""
CHANCE_SIGMAS = 5.0
MISFIT = 0.003
"""Share of the sound that the model may miss."""


def free_from(data: Round, fit: Fit, late: Round) -> float:
    """Time (s after the onset) from which the fit of the ``late`` round explains ``data``.

    Never later than the start of ``late``, which must lie on the grid of ``data``.
    """
    end = int(np.searchsorted(data.times_s, late.times_s[0] - 1e-9))
    if end < BLOCK:
        return float(late.times_s[0])
    model, doubt = carried_back(data, fit, late, end)
    left = data.samples[:, :end] - model
    square = np.mean(left**2 / (data.noise[:, None] ** 2 + doubt), axis=0)
    loud = np.mean((data.samples[:, :end] / data.noise[:, None]) ** 2, axis=0)
    box = np.ones(BLOCK) / BLOCK
    limit = 1 + CHANCE_SIGMAS * np.sqrt(2 / (BLOCK * data.taps)) + MISFIT**2 * loud.max()
    bad = np.flatnonzero(np.convolve(square, box, mode="valid") > limit)
    first = int(bad[-1]) + BLOCK + 1 if len(bad) else 0
    return float(data.times_s[min(first, end)])


def carried_back(data: Round, fit: Fit, late: Round, end: int) -> tuple[Floats, Floats]:
    """(T, end) model of the first samples by the amplitudes of a later fit; its variance."""
    early = data.times_s[:end]
    shared = early_model(early, fit.poles, float(late.times_s[0]))
    rows, doubts = [], []
    for i, (g, tap) in enumerate(zip(fit.poles.glide, fit.taps, strict=True)):
        phi = tap_model(early, fit.poles, float(g), shared)[0]
        rows.append((tap.amplitude @ phi).real)
        basis = np.vstack([phi.real, -phi.imag])
        doubts.append(np.sum(basis * (tap.gram_inverse @ basis), axis=0) * data.noise[i] ** 2)
    return np.array(rows), np.array(doubts)


def early_model(times_s: Floats, poles: Poles, zero_s: float) -> Complexes:
    """(K, n) glide-free modes at ``times_s`` whose decay is counted from ``zero_s``."""
    grow = np.exp(poles.decay_per_s * (zero_s - times_s[0]))
    return np.asarray(shared_model(times_s, poles) * grow[:, None])
