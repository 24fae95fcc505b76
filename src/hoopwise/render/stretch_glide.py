"""Why a hard hit starts sharp: a head that swings widely is stretched, and rings higher.

`acoustics.glide` tells how far each mode lifts itself, and how far it lifts the others. It
does so by the film's energy of stretch on its elastic rim; that energy is worked out for the
lowest shapes of the even head, as a factor on Berger's estimate 3/8 N_peak / N0 with

    N_peak = E h/(1 - nu^2) / (2 pi a^2)  integral of |grad w|^2 dA,

and uneven heads, whose shapes are mixtures, take the factors of what they are made of
(0.72 for (0,1) of a snare). After a strike all modes swing at once; the two of a pair
start in step and count as one swing. What they lift is added, and each mode follows by the
share of its stiffness that lies in the struck head. A rise falls with the square of the
swing that makes it, exp(-2 a t). The other head's stretch is left out.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.glide import berger_rise, mutual_lift, pitch_glide
from hoopwise.acoustics.head_basis import Name, masses_of, zeros_of
from hoopwise.acoustics.head_modes import head_model, label, solve
from hoopwise.acoustics.stretch import even_pull
from hoopwise.drum import Drum, Side
from hoopwise.errors import RangeError
from hoopwise.render.partials import Floats, Glide
from hoopwise.render.voice import Voice

LARGEST_RISE = 0.25
_SMALL = 1e-3
_MODES = 14
_OTHERS = 0.9
"""Rise over Berger's of shapes that are not worked out."""
_BERGER_LIFT = 2.0 / 3.0
"""Lift of one mode by another over its own, by Berger's estimate."""
_SMALL_SWING_M = 1e-5

Which = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Lift:
    """How the modes rise after a strike: shares (K, J) of the J parts of a glide."""

    glide: Glide
    share: Floats


def stretch_glide(voice: Voice, swing: Floats) -> Lift:
    """Rise of the frequencies after a strike.

    Parameters
    ----------
    voice
        K modes.
    swing
        (K,) peak of each modal coordinate as the tip leaves, m sqrt(kg).

    Raises
    ------
    RangeError
        The head would swing so far that a pitch rises by more than a quarter.
    """
    film, radius = voice.drum.head(voice.side).film, voice.drum.radius_m
    factors = _factors(voice.drum, voice.side, voice.basis)
    weight = masses_of(voice.basis, radius, 1.0)
    slope = (zeros_of(voice.basis) / radius) ** 2 * weight * factors.own
    power = np.abs(voice.near_shape) ** 2
    square = swing**2 * (slope @ power)
    stiff = film.stretch_stiffness_n_m / (1 - film.poisson**2) / (2 * np.pi * radius**2)
    rise = 0.375 * stiff * square / voice.tension_n_m
    kept = np.flatnonzero(rise > _SMALL * rise.sum())
    main = factors.shape[(weight[:, None] * power).argmax(axis=0)]
    share = factors.lift[main[:, None], main[kept]]
    highest = float((share @ rise[kept]).max()) if kept.size else 0.0
    if not highest <= LARGEST_RISE:
        raise RangeError(
            f"this hit would lift the pitch by {100 * highest:.0f} %, and the model of the "
            f"film's stretch holds to {100 * LARGEST_RISE:.0f} %; strike softer or tighten it."
        )
    glide = Glide(start=rise[kept], rate=-2.0 * voice.pole.real[kept])
    return Lift(glide, voice.follow[:, None] * share)


@dataclass(frozen=True, eq=False)
class _Factors:
    """What the elastic rim makes of the even head's lowest shapes; B functions, S shapes."""

    own: Floats
    """(B,) rise over Berger's estimate."""
    shape: Which
    """(B,) number of each function's shape (m, n)."""
    lift: Floats
    """(S, S) rise of the first shape by the second, over what the second lifts itself."""


@lru_cache(maxsize=32)
def _factors(drum: Drum, side: Side, basis: tuple[Name, ...]) -> _Factors:
    film, radius = drum.head(side).film, drum.radius_m
    model = head_model(drum, side, slide=0.5)
    tension = 0.05 * film.stretch_stiffness_n_m / 5.0  # any will do: the ratios have none in it
    modes = solve(model, even_pull(model.rim, tension))
    shapes = list(dict.fromkeys((m, n) for m, n, _ in basis))
    first: dict[tuple[int, int], int] = {}
    for i, shape in enumerate(label(modes)[:_MODES]):
        first.setdefault(shape, i)
    glide = pitch_glide(model, modes, count=_MODES)
    own = np.full(len(shapes), _OTHERS)
    for (m, n), i in first.items():
        berger = berger_rise(m, n, film, radius, tension, _SMALL_SWING_M)
        rise = glide.rise_hz_m2[i] * _SMALL_SWING_M**2 / glide.frequency_hz[i]
        own[shapes.index((m, n))] = rise / berger
    lift = np.where(np.eye(len(shapes)) > 0.0, 1.0, _BERGER_LIFT)
    known = np.array([shapes.index(shape) for shape in first])
    lift[known[:, None], known] = mutual_lift(model, modes, list(first.values()))
    number = np.array([shapes.index((m, n)) for m, n, _ in basis])
    return _Factors(own[number], number, lift)
