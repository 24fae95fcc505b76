"""One round's modes as the fit reads them: a pair of moments per tap and mode group."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.rod_model import Name
from hoopwise.listen.types import JointModes

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True)
class GroupData:
    """A mode group in a round of T taps."""

    name: Name
    poles: tuple[int, ...]
    """Indices in the joint fit."""
    moments: ComplexArray
    """(T, J): the summed amplitude, and with both of a pair found the frequency-weighted sum."""
    cov: ComplexArray
    """(T, J, J) E[e e^H]."""
    frequency_hz: FloatArray
    """(J,) growing."""
    frequency_sd_hz: FloatArray
    t60_s: float
    level: FloatArray
    """(J,) root mean square of each moment over the whole round."""

    @property
    def mean_hz(self) -> float:
        """Mean frequency of the poles found."""
        return float(self.frequency_hz.mean())

    @property
    def split_hz(self) -> float:
        """Distance of the pair; 0 with one pole."""
        return float(self.frequency_hz[-1] - self.frequency_hz[0])


def group_data(joint: JointModes, name: Name, poles: Sequence[int]) -> GroupData:
    """Moments of one or two poles of a joint fit, with their covariance."""
    index = np.array(sorted(poles, key=lambda k: float(joint.frequency_hz[k])), dtype=np.intp)
    hz = joint.frequency_hz[index]
    weights = np.ones((1, len(index)))
    if len(index) > 1:
        weights = np.stack([np.ones(len(index)), hz - hz.mean()])
    cov = joint.amplitude_cov[:, index][:, :, index]
    moments = joint.amplitude[:, index] @ weights.T
    return GroupData(
        name=name,
        poles=tuple(int(i) for i in index),
        moments=moments,
        cov=np.einsum("ja,tab,kb->tjk", weights, cov, weights),
        frequency_hz=hz,
        frequency_sd_hz=joint.frequency_sd_hz[index],
        t60_s=float(np.median(joint.t60_s[index])),
        level=np.sqrt(np.median(np.abs(moments) ** 2, axis=0)),
    )
