"""Modes that lose energy together: which of near neighbours rings, and which dies.

Modes of an uneven head share the losses of the even modes that they are made of. Where two
lie closer than their decays differ, the loss keeps them apart: neither takes on the mean of
both decays, and what one lends the other lags a quarter turn behind. Each is taken to swing
at its own frequency, which is right to a mode's decay over its angular frequency:

    (diag(w) + i A) z = (w' + i a) z,   A the decays (1/s) over the modes without loss.
"""

import numpy as np

from hoopwise.render.voice import Complexes, Floats

_APART = 1e-9


def damped_modes(omega: Floats, decay: Floats) -> tuple[Complexes, Complexes]:
    """Modes with their losses, from those without.

    Parameters
    ----------
    omega
        (K,) angular frequencies without loss (rad/s), growing.
    decay
        (K, K) symmetric, what mode j loses through mode i (1/s).

    Returns
    -------
    (K,) w + i a by growing w (a mode of pole -a + i w), and (K, K) their shapes in columns,
    whose squares (not of absolute values) sum to 1: so a strike's answer is a sum over modes.
    """
    # A trace of order among equal frequencies, or rounding would choose their mixture.
    apart = _APART * omega[-1] * np.arange(len(omega))
    turning, shapes = np.linalg.eig(np.diag(omega + apart) + 1j * decay)
    order = np.argsort(turning.real)
    picked = shapes[:, order]
    return turning[order], picked / np.sqrt(np.sum(picked**2, axis=0))
