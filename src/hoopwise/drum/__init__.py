"""What is known of a drum, and the files it is kept in."""

from hoopwise.drum.catalogue import FILMS, TEMPLATES, safe_tension_n_m
from hoopwise.drum.file import load_drum
from hoopwise.drum.model import Drum, Film, Head, Hoop, Side, Wires

__all__ = [
    "FILMS",
    "TEMPLATES",
    "Drum",
    "Film",
    "Head",
    "Hoop",
    "Side",
    "Wires",
    "load_drum",
    "safe_tension_n_m",
]
