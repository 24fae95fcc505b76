"""What ``hoopwise aim`` found, as its printing, drawing and JSON take it."""

from dataclasses import dataclass

from hoopwise.acoustics.two_heads import CoupledMode
from hoopwise.drum import Drum
from hoopwise.plan.aim import Aim, HeadAim
from hoopwise.plan.two_head_chart import TwoHeadChart


@dataclass(frozen=True)
class Findings:
    """Everything that one call worked out."""

    drum: Drum
    heads: tuple[HeadAim, ...] = ()
    """The heads asked for; the modes are theirs."""
    modes: tuple[CoupledMode, ...] = ()
    aim: Aim | None = None
    chart: TwoHeadChart | None = None
