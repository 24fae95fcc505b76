"""The usual cautions, short: ears, rods under load, thin heads."""

from hoopwise.drum import Film
from hoopwise.plan.turns import THIN_FILM_M

EARS = "Taps at arm's length add up: wear ear protection."
RODS = (
    "Turn slowly, eyes away from the rods, and stop if a rod feels hard or the head creaks: "
    "the film figures are not a maker's rating of the head."
)
THIN = "This film is thin: never more than a quarter turn at once."


def cautions(film: Film) -> list[str]:
    """What to heed while tapping and turning a head of this film."""
    return [EARS, RODS, *([THIN] if film.thickness_m < THIN_FILM_M else [])]
