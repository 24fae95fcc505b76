"""The Cramer-Rao bound of a tap, from its Fisher matrix and nothing else.

The record is taken from the end of the contact to the end of the file. Every mode's
frequency, decay, amplitude and phase are unknown, and so are the glide and its rate;
what is known of these two beforehand (g 2 %, ln b 0.5) is added to the information,
which only makes the bound harder to reach.
"""

import numpy as np
from numpy.typing import NDArray

from benchmarks.listening_taps import Truth

Real = NDArray[np.float64]


def frequency_bound(truth: Truth, start_s: float, end_s: float) -> tuple[Real, Real]:
    """Least sd of each frequency (Hz), and the covariance of f, a, (c, s) by mode, g, ln b."""
    t = np.arange(start_s, end_s, 1.0 / truth.rate)
    g, b = truth.glide, truth.glide_rate
    tau = t + g * (1.0 - np.exp(-b * t)) / b
    rows: list[Real] = []
    by_g, by_b = np.zeros(len(t)), np.zeros(len(t))
    settle = (1.0 - np.exp(-b * t)) / b
    slope = t * np.exp(-b * t) - settle
    f_rows, a_rows, amp_rows = [], [], []
    for f, t60, size, phase in zip(
        truth.frequency_hz, truth.t60_s, truth.amplitude, truth.phase_rad, strict=True
    ):
        decay = size * np.exp(-np.log(1000.0) / t60 * t)
        angle = 2.0 * np.pi * f * tau + phase
        c, s = decay * np.cos(angle), decay * np.sin(angle)
        f_rows.append(-2.0 * np.pi * tau * s)
        a_rows.append(-t * c)
        amp_rows += [c / size, s / size]
        by_g -= 2.0 * np.pi * f * settle * s
        by_b -= 2.0 * np.pi * f * g * slope * s
    rows = [*f_rows, *a_rows, *amp_rows, by_g, by_b]
    jacobian = np.array(rows)
    scale = np.sqrt(np.sum(jacobian**2, axis=1) + 1e-30)
    information = jacobian @ jacobian.T / truth.noise_sd**2
    information[-2, -2] += 1.0 / 0.02**2
    information[-1, -1] += 1.0 / 0.5**2
    whitened = information / np.outer(scale, scale)
    covariance = np.linalg.inv(whitened) / np.outer(scale, scale)
    return np.sqrt(np.diag(covariance)[: len(truth.frequency_hz)]), covariance
