"""All usable taps of a round heard together, without those that were struck twice.

One drum rings with the same modes wherever it is struck. A stick that comes down again starts
them anew, and then no strengths suit the sound before and after: of such a tap far more is left
over than of the others, however a bounce may hide from an ear that has the one tap alone.
"""

from collections.abc import Sequence

import numpy as np

from hoopwise.infer.taps.late import modes_over_muted
from hoopwise.infer.taps.one_line import lines_merged
from hoopwise.infer.taps.takes import TWICE, Take, Takes
from hoopwise.infer.types import OtherHead
from hoopwise.listen.joint.modes import MOST_MODES, joint_modes
from hoopwise.listen.types import JointModes

_PLACES = 14
"""With the other head off the groups that are used hold 12 modes, the lowest; two to spare."""
_LEFT = 0.15
"""Share of a tap's sound that its modes leave over when it was struck twice; ..."""
_LEFT_MORE = 5.0
"""... and so many times what they leave of the round's other taps. On simulated drums of ten rods,
tapped with a 3 ms tip, a second strike left 0.2 or more and 13 times as much; other taps up to 0.1
and 3.8 times. With other tips and drums one may spoil the modes of all and leave but 3 times."""
_WHY = f"{TWICE}, or another sound is in it"
_FEWEST = 4
"""Taps that must be left to be compared."""


def hear_together(takes: Takes, other_head: OtherHead) -> tuple[Takes, JointModes]:
    """The takes that were struck once, and the modes that they share."""
    joint = _heard(takes.usable, other_head)
    usual = float(np.median(joint.left_over))
    left = np.maximum(_LEFT, _LEFT_MORE * usual)
    twice = [int(t) for t in np.flatnonzero(joint.left_over > left)]
    if twice and len(takes.usable) - len(twice) >= _FEWEST:
        takes = takes.without(dict.fromkeys(twice, _WHY))
        joint = _heard(takes.usable, other_head)
    return takes, lines_merged(joint)


def _heard(usable: Sequence[Take], other_head: OtherHead) -> JointModes:
    if other_head == "muted":
        return modes_over_muted(usable)
    return joint_modes(
        [(t.samples, t.rate) for t in usable],
        onsets=[t.onset_s for t in usable],
        most_modes=_PLACES if other_head == "off" else MOST_MODES,
    )
