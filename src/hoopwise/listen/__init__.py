"""Samples to taps to damped modes."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hoopwise.listen.joint.modes import joint_modes as joint_modes
    from hoopwise.listen.modes import modes_of_tap as modes_of_tap
    from hoopwise.listen.settle import settled_note as settled_note
    from hoopwise.listen.taps import find_taps as find_taps
    from hoopwise.listen.taps import find_taps_in_blocks as find_taps_in_blocks

_HOME = {
    "find_taps": "hoopwise.listen.taps",
    "find_taps_in_blocks": "hoopwise.listen.taps",
    "joint_modes": "hoopwise.listen.joint.modes",
    "modes_of_tap": "hoopwise.listen.modes",
    "settled_note": "hoopwise.listen.settle",
}
__all__ = ["find_taps", "find_taps_in_blocks", "joint_modes", "modes_of_tap", "settled_note"]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'hoopwise.listen' has no attribute {name!r}")
