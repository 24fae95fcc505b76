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

__version__ = "0.1.0"

_HOME = {
    "CoupledMode": "hoopwise.acoustics.two_heads",
    "Drum": "hoopwise.drum",
    "couple": "hoopwise.acoustics.two_heads",
    "load_drum": "hoopwise.drum",
}
__all__ = ["CoupledMode", "Drum", "couple", "load_drum"]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'hoopwise' has no attribute {name!r}")
