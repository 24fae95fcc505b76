"""From the usable taps of a round to every set of deviations that explains them."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Drum, Side
from hoopwise.errors import RoundError
from hoopwise.infer.fit.answers import Answers, answers, evidence, unexplained
from hoopwise.infer.fit.outliers import Stray, settle_round
from hoopwise.infer.fit.rod_state import Setting
from hoopwise.infer.fit.tip import CONTACTS_S, KNOWN_TO
from hoopwise.infer.head.even_head import EvenHead, even_head
from hoopwise.infer.head.head_stack import stack_heads
from hoopwise.infer.head.prior import Belief, fresh_belief
from hoopwise.infer.taps.identify import Identified, identify
from hoopwise.infer.taps.likeness import most_alike_places
from hoopwise.infer.taps.places import angle_of
from hoopwise.infer.taps.round_data import group_data, unexplained_variance
from hoopwise.infer.taps.takes import Take
from hoopwise.infer.trust import surprise_of
from hoopwise.infer.types import OtherHead
from hoopwise.listen.types import JointModes

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

TAP_FROM_HOOP_M = 0.025
"""About an inch in from the hoop, in line with the rod (common practice, no source)."""
FIRST_GUESS_N_M = 3000.0
_DOUBTED = 2.0
"""Mean square of an answer in its expected scatter from where on that expectation is doubted."""
_BELIEF_WRONG = float(np.log(0.02))
"""Log odds that what is believed of a head is wrong (no source)."""


@dataclass(frozen=True)
class FittedRound:
    """What was made of the usable taps."""

    joint: JointModes
    found: Identified
    answers: Answers
    astray: tuple[Stray, ...]
    by_itself: bool = False
    """The round speaks against what was believed before it, which was set aside."""


class NoRodsError(RoundError):
    """The modes are heard, but tell nothing of the rods."""

    def __init__(self, reason: str, joint: JointModes) -> None:
        super().__init__(reason)
        self.joint = joint


def fit_round(
    drum: Drum,
    side: Side,
    usable: tuple[Take, ...],
    joint: JointModes,
    other_head: OtherHead,
    belief: Belief | None,
) -> FittedRound:
    """Name the modes that usable taps share, and fit the rods to them.

    Raises
    ------
    NoRodsError
        The taps are of too few rods, or do not sound like this drum.
    """
    if len({t.place for t in usable}) < 3:
        raise NoRodsError("it takes taps at three rods or more to compare", joint)
    angle = angle_of([t.place for t in usable], drum.rods)
    try:
        head, found = _find_head(drum, side, joint, angle, other_head)
    except RoundError as error:
        raise NoRodsError(str(error), joint) from error
    groups = tuple(group_data(joint, name, poles) for name, poles in found.poles.items())
    names = [g.name for g in groups]
    heads = [
        even_head(drum, side, head.tension_n_m, other_head, round(g.mean_hz, 1)) for g in groups
    ]
    loudness = np.abs(found.anchor) / np.median(np.abs(found.anchor))
    loudness = np.clip(loudness, 0.1, 10.0)
    setting = Setting(
        head=head,
        heads=stack_heads(heads, names),
        groups=groups,
        angle_rad=angle,
        radius_m=np.full(len(usable), drum.radius_m - TAP_FROM_HOOP_M),
        contact_s=CONTACTS_S[0],  # until `settle` has tried them all
        known_to=KNOWN_TO,
        widen=np.ones(len(groups)),
        tap_weight=np.ones((len(usable), len(groups))),
        floor=tuple(unexplained_variance(g, loudness, angle) for g in groups),
        prior=belief or fresh_belief(head.model.rim),
    )
    try:
        result, astray = _settled(setting, found.anchor, usable)
    except np.linalg.LinAlgError as error:
        raise NoRodsError("no tensions were found that explain the taps", joint) from error
    # What rings along is not in the model: such a round cannot speak against those before it.
    heard_out = belief is not None and other_head != "ringing"
    if heard_out and (surprise_of(result) > _DOUBTED or unexplained(result)):
        fresh = replace(setting, prior=fresh_belief(head.model.rim))
        alone, astray_alone = _settled(fresh, found.anchor, usable)
        # Evidence counts every tap that is kept, so leaving more out must not help.
        no_fewer = len(astray_alone) <= len(astray)
        if no_fewer and evidence(alone) + _BELIEF_WRONG > evidence(result):
            return FittedRound(joint, found, alone, astray_alone, by_itself=True)
    return FittedRound(joint, found, result, astray)


def _settled(
    setting: Setting, anchor: ComplexArray, usable: tuple[Take, ...]
) -> tuple[Answers, tuple[Stray, ...]]:
    found, astray = settle_round(setting, anchor, lambda: most_alike_places(usable))
    return answers(found.setting, found.fit, found.rivals), astray


def _find_head(
    drum: Drum, side: Side, joint: JointModes, angle: FloatArray, other_head: OtherHead
) -> tuple[EvenHead, Identified]:
    """The even head at the tension that the round is at, and its poles named."""
    tension = FIRST_GUESS_N_M
    for _ in range(2):
        head = even_head(drum, side, round(tension, -1), other_head)
        found = identify(joint, angle, head)
        tension *= float(np.exp(2 * found.log_shift))
    head = even_head(drum, side, round(tension, -1), other_head)
    return head, identify(joint, angle, head)
