"""hoopwise hears a drum's taps and says which rods to turn.

The public names are loaded when first used, so that ``import hoopwise`` is quick.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hoopwise.drum import Drum as Drum
    from hoopwise.drum import load_drum as load_drum

__version__ = "0.1.0"

_HOME = {
    "Drum": "hoopwise.drum",
    "load_drum": "hoopwise.drum",
}
__all__ = ["Drum", "load_drum"]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'hoopwise' has no attribute {name!r}")
