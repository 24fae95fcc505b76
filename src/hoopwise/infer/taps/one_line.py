"""Two poles in the line of one mode are made one, lest they look like a pair.

The listening may mend what a glide or a room leaves over by a second pole inside a line. The two
are heard alike at every rod, where the modes of a pair take turns round the hoop. Or the other
mode of the pair lies beside them, which makes three.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.types import JointModes

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_ONE_LINE = 0.1
"""Poles nearer than this over their t60 (Hz) are one line."""
_INSIDE = 0.5
"""So are poles nearer than this over their t60 that their own errors do not tell apart."""
_BESIDE = 0.9
"""Poles nearer than this over their t60 (Hz) that are heard alike over the taps are one line."""
_ALIKE = 0.9
"""How alike: cosine between their amplitudes. On simulated drums pairs had up to 0.81, lines
with two poles 0.93 and more (other head off, no more room than 30 dB under the drum)."""
_PAIR = 0.03
"""The modes of a pair lie within this share of their pitch."""
_HEARD = 0.1
"""Size of a third pole against the line's, from where on it may be the pair's other mode."""


def lines_merged(joint: JointModes) -> JointModes:
    """The same modes, two poles of one line made one."""
    while (k := _first_line(joint)) is not None:
        joint = _merged(joint, k)
    return joint


def _first_line(joint: JointModes) -> int | None:
    """The lower of two poles to merge; None when there are none."""
    hz, level = joint.frequency_hz, np.sqrt(np.mean(np.abs(joint.amplitude) ** 2, axis=0))
    short = np.minimum(joint.t60_s[:-1], joint.t60_s[1:])
    unsure = np.hypot(joint.frequency_sd_hz[:-1], joint.frequency_sd_hz[1:])
    width = np.maximum(_ONE_LINE / short, np.minimum(_INSIDE / short, unsure))
    for k in np.flatnonzero(np.diff(hz) < _BESIDE / short):
        if _cosine(joint.amplitude[:, k], joint.amplitude[:, k + 1]) > _ALIKE:
            return int(k)
    for k in np.flatnonzero(np.diff(hz) < width):
        together = np.sqrt(np.mean(np.abs(joint.amplitude[:, k : k + 2].sum(axis=1)) ** 2))
        beside = (np.abs(hz / hz[k] - 1.0) < _PAIR) & (level > _HEARD * together)
        beside[k : k + 2] = False
        if beside.any():
            return int(k)
    return None


def _cosine(one: ComplexArray, other: ComplexArray) -> float:
    size = float(np.linalg.norm(one) * np.linalg.norm(other))
    return float(np.abs(np.vdot(one, other))) / max(size, 1e-300)


def _merged(joint: JointModes, k: int) -> JointModes:
    """Poles k and k + 1 made one: amplitudes add, what else they have is shared by size."""
    count = len(joint.frequency_hz)
    add = np.delete(np.eye(count), k + 1, axis=0)
    add[k, k + 1] = 1.0
    size = np.mean(np.abs(joint.amplitude) ** 2, axis=0)[k : k + 2]
    share = add.copy()
    share[k, k : k + 2] = size / size.sum()
    nought = np.zeros_like(share)
    both = np.block([[share, nought], [nought, share]])
    by_pole = np.block([[add, nought], [nought, add]])
    return replace(
        joint,
        frequency_hz=share @ joint.frequency_hz,
        frequency_sd_hz=share @ joint.frequency_sd_hz,
        t60_s=share @ joint.t60_s,
        t60_sd_s=share @ joint.t60_sd_s,
        amplitude=joint.amplitude @ add.T,
        amplitude_cov=add @ joint.amplitude_cov @ add.T,
        pole_cov=both @ joint.pole_cov @ both.T if joint.pole_cov.size else joint.pole_cov,
        amplitude_by_pole=(
            add @ joint.amplitude_by_pole @ by_pole.T
            if joint.amplitude_by_pole.size
            else joint.amplitude_by_pole
        ),
    )
