"""One round's modes as the fit reads them: a pair of moments per tap and mode group."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.infer.head.rod_model import Name
from hoopwise.listen.joint.room import LEAST_SHARE
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
    room: float = 0.0
    """Share of the room in each mode (an amplitude ratio) where it is heard."""

    @cached_property
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
        room=joint.room if joint.room > LEAST_SHARE else 0.0,
    )


_FLOOR = {(0, 1): 0.009, (1, 1): 0.015, (0, 2): 0.054, (1, 2): 0.054}
_FLOOR_ABOVE = 0.036
"""What the model leaves unexplained at a rod, against a group's usual amplitude."""
_OWN_FLOOR = 0.01
"""The same against the tap's own amplitude."""
_LINE_SHARE = 0.05
"""How well the inside of a line is heard: error of a pair's second moment, over the first,
in units of 1/t60. A pair closer than its lines are wide hides its split behind whatever the
two do not share (ring time, glide), which a share of that small moment cannot cover."""


def unexplained_variance(
    group: GroupData, loudness: FloatArray, angle_rad: FloatArray
) -> FloatArray:
    """(T, J) variance of the moments beyond their noise, for taps of given loudness (T,).

    It is the same error at every tap of a rod, so repeats must not average it away.
    """
    repeats = np.sum(angle_rad[:, None] == angle_rad, axis=1).astype(np.float64)
    usual = np.sqrt(np.median(np.abs(group.moments / loudness[:, None]) ** 2, axis=0))
    off = _FLOOR.get(group.name, _FLOOR_ABOVE) * usual
    off[1:] = np.hypot(off[1:], _LINE_SHARE / group.t60_s * usual[0])
    rod = repeats[:, None] * (off * loudness[:, None]) ** 2
    return np.asarray(rod + (_OWN_FLOOR * np.abs(group.moments)) ** 2)


@dataclass(frozen=True, eq=False)
class Moments:
    """All G groups of a round as arrays; a lone pole's second moment is nought."""

    values: ComplexArray
    """(G, T, 2)"""
    cov: ComplexArray
    """(G, T, 2, 2); 1 where there is no second moment."""
    floor: FloatArray
    """(G, T, 2) variance that the model leaves unexplained."""
    mean_hz: FloatArray
    """(G,)"""
    level: FloatArray
    """(G,) usual size of the summed amplitude."""
    there: NDArray[np.bool_]
    """(G, 2) whether a moment was measured."""
    mean_sd_hz: FloatArray
    """(G,)"""
    split_hz: FloatArray
    """(G,) distance within a pair; 0 where only one pole was found."""
    split_sd_hz: FloatArray


def stack_moments(groups: Sequence[GroupData], floor: Sequence[FloatArray]) -> Moments:
    """The moments of several groups and the floors (T, J) under them."""
    taps = len(groups[0].moments)
    values = np.zeros((len(groups), taps, 2), dtype=np.complex128)
    cov = np.zeros((len(groups), taps, 2, 2), dtype=np.complex128)
    cov[:, :, 1, 1] = 1.0
    floors = np.zeros((len(groups), taps, 2))
    for g, (group, under) in enumerate(zip(groups, floor, strict=True)):
        count = group.moments.shape[1]
        values[g, :, :count] = group.moments
        cov[g, :, :count, :count] = group.cov
        floors[g, :, :count] = under
    return Moments(
        values=values,
        cov=cov,
        floor=floors,
        mean_hz=np.array([g.mean_hz for g in groups]),
        level=np.array([g.level[0] for g in groups]),
        there=np.array([[True, g.moments.shape[1] > 1] for g in groups]),
        mean_sd_hz=np.array([_mean_sd(g) for g in groups]),
        split_hz=np.array([g.split_hz for g in groups]),
        split_sd_hz=np.array([_split_sd(g) for g in groups]),
    )


def _mean_sd(group: GroupData) -> float:
    """Standard deviation (Hz) of a group's mean frequency."""
    sd = max(2e-5 * group.mean_hz, float(np.mean(group.frequency_sd_hz)))
    if group.name[0] > 0 and len(group.frequency_hz) == 1:
        sd = max(sd, 0.3 / group.t60_s)
    return sd


def _split_sd(group: GroupData) -> float:
    """Standard deviation (Hz) of a pair's distance."""
    if len(group.frequency_hz) == 2:
        # The room's answer moves a line by its share of the line's width.
        moved = np.sqrt(2.0) * group.room * np.log(1000) / (2 * np.pi * group.t60_s)
        apart = float(np.hypot(*group.frequency_sd_hz)) + 0.002 * group.split_hz + 0.01
        return float(np.hypot(apart, moved))
    return 0.5 / group.t60_s  # a pair closer than this leaves one pole
