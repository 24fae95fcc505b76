"""When the tip has left the head: from where on the taps ring freely.

While the tip is on the head the sound is not a sum of damped modes. The model, fitted to
sound well after the contact, is carried back; the first samples that it still explains
in all taps begin the free ringing. Soft tips stay for 8 ms, hard ones for 2 ms.
"""

import numpy as np

from hoopwise.listen.joint.data import Floats, Round
from hoopwise.listen.joint.refine import Fit
from hoopwise.listen.joint.tap import Waves

BLOCK = 4
"""Samples that are judged together."""
CHANCE_SIGMAS = 5.0
SETTLED_S = 0.01
MOST_DOUBT = 10.0
"""Times the noise power: a model more doubtful than that would explain a contact as well."""
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
    doubt = np.minimum(doubt, MOST_DOUBT * data.noise[:, None] ** 2)
    square = np.mean(left**2 / (data.noise[:, None] ** 2 + doubt), axis=0)
    loud = np.mean((data.samples[:, :end] / data.noise[:, None]) ** 2, axis=0)
    box = np.ones(BLOCK) / BLOCK
    usual = max(1.0, early_residual(data, fit, late))
    limit = usual * (1 + CHANCE_SIGMAS * np.sqrt(2 / (BLOCK * data.taps)))
    limit += MISFIT**2 * loud.max()
    bad = np.flatnonzero(np.convolve(square, box, mode="valid") > limit)
    first = int(bad[-1]) + BLOCK + 1 if len(bad) else 0
    return float(data.times_s[min(first, end)])


def early_residual(data: Round, fit: Fit, late: Round) -> float:
    """Mean square residual, in noise units, just after the late round's start.

    Modes left out of the fit are loudest then; they must not pass for contact.
    """
    count = max(BLOCK, int(SETTLED_S * late.rate_hz))
    left = np.array([tap.residual[:count] for tap in fit.taps])
    return float(np.mean((left * fit.scale[:, None] / data.noise[:, None]) ** 2))


def carried_back(data: Round, fit: Fit, late: Round, end: int) -> tuple[Floats, Floats]:
    """(T, end) model of the first samples by the amplitudes of a later fit; its variance."""
    early = data.times_s[:end]
    waves = Waves.at(early, fit.poles)
    grow = np.tile(np.exp(fit.poles.decay_per_s * (late.times_s[0] - early[0])), 2)[:, None]
    basis = np.empty((len(grow), end), dtype=np.float32)
    rows, doubts = [], []
    for i, (g, tap) in enumerate(zip(fit.poles.glide, fit.taps, strict=True)):
        waves.basis(fit.poles, float(g), end, basis)
        grown = basis * grow
        rows.append(np.concatenate([tap.amplitude.real, tap.amplitude.imag]) @ grown)
        doubts.append(np.sum(grown * (tap.gram_inverse @ grown), axis=0) * data.noise[i] ** 2)
    return np.array(rows), np.array(doubts)
