"""Why a hard hit starts sharp: a head that swings widely is stretched, and rings higher.

Berger's estimate, rim held: the film gains the tension

    N_extra = E h/(1 - nu^2) / (2 pi a^2)  integral of |grad w|^2 dA,

taken over a cycle as half its peak. A mode that lifts itself rises by 3/8 of the peak
over the standing tension, others by 2/8; since one mode nearly always leads, 3/8 is used
for all. The rise falls with the square of the swing, exp(-2 a t). The other head's
stretch is left out. Good while the rise is below about a quarter.
"""

import numpy as np

from hoopwise.acoustics.head_basis import masses_of, zeros_of
from hoopwise.errors import RangeError
from hoopwise.render.partials import Floats, Glide
from hoopwise.render.voice import Voice

LARGEST_RISE = 0.3
_SMALL = 1e-3


def stretch_glide(voice: Voice, swing: Floats) -> Glide:
    """Glide of the frequencies after a strike.

    Parameters
    ----------
    voice
        K modes.
    swing
        (K,) peak of each modal coordinate as the tip leaves, m sqrt(kg).

    Raises
    ------
    RangeError
        The head would swing so far that its pitch rises by more than 30 %.
    """
    film, radius = voice.drum.head(voice.side).film, voice.drum.radius_m
    slope = (zeros_of(voice.basis) / radius) ** 2 * masses_of(voice.basis, radius, 1.0)
    square = swing**2 * (slope @ voice.near**2)
    stiff = film.stretch_stiffness_n_m / (1 - film.poisson**2) / (2 * np.pi * radius**2)
    rise = 0.375 * stiff * square / voice.tension_n_m
    if rise.sum() > LARGEST_RISE:
        raise RangeError(
            f"this hit would lift the pitch by {100 * rise.sum():.0f} %, and the model of the "
            f"film's stretch holds to {100 * LARGEST_RISE:.0f} %; strike softer or tighten it."
        )
    kept = rise > _SMALL * rise.sum()
    return Glide(start=rise[kept], rate=-2.0 * voice.pole.real[kept])
