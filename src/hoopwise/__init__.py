"""hoopwise hears a drum's taps and says which rods to turn.

The public names are loaded when first used, so that ``import hoopwise`` is quick.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hoopwise.acoustics.two_heads import CoupledMode as CoupledMode
    from hoopwise.acoustics.two_heads import couple as couple
    from hoopwise.drum import Drum as Drum
    from hoopwise.drum import load_drum as load_drum
    from hoopwise.listen import find_taps as find_taps
    from hoopwise.listen import joint_modes as joint_modes
    from hoopwise.listen import modes_of_tap as modes_of_tap
    from hoopwise.listen import settled_note as settled_note
    from hoopwise.plan.aim import aim as aim
    from hoopwise.plan.headwork import HeadWork as HeadWork
    from hoopwise.render.build import drum_voice as drum_voice
    from hoopwise.render.practice import practice_drum as practice_drum
    from hoopwise.render.strike import render_hit as render_hit
    from hoopwise.render.strike import render_tap as render_tap

__version__ = "0.1.0"

_HOME = {
    "CoupledMode": "hoopwise.acoustics.two_heads",
    "Drum": "hoopwise.drum",
    "HeadWork": "hoopwise.plan.headwork",
    "aim": "hoopwise.plan.aim",
    "couple": "hoopwise.acoustics.two_heads",
    "load_drum": "hoopwise.drum",
    "find_taps": "hoopwise.listen",
    "joint_modes": "hoopwise.listen",
    "modes_of_tap": "hoopwise.listen",
    "settled_note": "hoopwise.listen",
    "drum_voice": "hoopwise.render.build",
    "render_hit": "hoopwise.render.strike",
    "render_tap": "hoopwise.render.strike",
    "practice_drum": "hoopwise.render.practice",
}
__all__ = [
    "CoupledMode",
    "Drum",
    "HeadWork",
    "aim",
    "couple",
    "drum_voice",
    "find_taps",
    "joint_modes",
    "load_drum",
    "modes_of_tap",
    "practice_drum",
    "render_hit",
    "render_tap",
    "settled_note",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'hoopwise' has no attribute {name!r}")
