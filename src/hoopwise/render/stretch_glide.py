"""Why a hard hit starts sharp: a head that swings widely is stretched, and rings higher.

`acoustics.glide` tells how far each mode lifts itself, 3/8 N_peak / N0 by Berger's estimate,

    N_peak = E h/(1 - nu^2) / (2 pi a^2)  integral of |grad w|^2 dA,

times a factor (0.72 for (0,1) of a snare) by which film and rim give way. After a strike
all modes swing at once; the rises that they make are added, and each mode follows the sum
by the share of its stiffness that lies in the struck head. One mode nearly always leads;
the others are lifted by about two thirds of that, so their rise is put too high by up to
a third. The rise falls with the square of the swing, exp(-2 a t). The other head's stretch
is left out.
"""

from functools import lru_cache

import numpy as np

from hoopwise.acoustics.glide import berger_rise, pitch_glide
from hoopwise.acoustics.head_basis import Name, masses_of, zeros_of
from hoopwise.acoustics.head_modes import head_model, label, solve
from hoopwise.acoustics.stretch import even_pull
from hoopwise.drum import Drum, Side
from hoopwise.errors import RangeError
from hoopwise.render.partials import Floats, Glide
from hoopwise.render.voice import Voice

LARGEST_RISE = 0.25
_SMALL = 1e-3
_MODES = 12
_OTHERS = 0.9
_SMALL_SWING_M = 1e-5


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
        The head would swing so far that its pitch rises by more than a quarter.
    """
    film, radius = voice.drum.head(voice.side).film, voice.drum.radius_m
    slope = (zeros_of(voice.basis) / radius) ** 2 * masses_of(voice.basis, radius, 1.0)
    slope = slope * _give_way(voice.drum, voice.side, voice.basis)
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


@lru_cache(maxsize=32)
def _give_way(drum: Drum, side: Side, basis: tuple[Name, ...]) -> Floats:
    """(B,) rise over Berger's estimate of each basis function, on the elastic rim."""
    film, radius = drum.head(side).film, drum.radius_m
    model = head_model(drum, side, slide=0.5)
    tension = 0.05 * film.stretch_stiffness_n_m / 5.0  # any will do: the ratio has none in it
    modes = solve(model, even_pull(model.rim, tension))
    glide = pitch_glide(model, modes, count=_MODES)
    ratio: dict[tuple[int, int], float] = {}
    for i, (m, n) in enumerate(label(modes)[:_MODES]):
        own = glide.rise_hz_m2[i] * _SMALL_SWING_M**2 / glide.frequency_hz[i]
        ratio.setdefault(
            (m, n), float(own / berger_rise(m, n, film, radius, tension, _SMALL_SWING_M))
        )
    return np.array([ratio.get((m, n), _OTHERS) for m, n, _ in basis])
