"""Start of the joint fit: poles near enough to be refined, and the sound they are fitted to.

What rings above the modes of interest has to be known well before it is subtracted: its
remains would pass for partners of the modes below.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from hoopwise.errors import RecordingError
from hoopwise.listen.joint.above import GUARD_HZ, cut_at, kept, without_above
from hoopwise.listen.joint.data import Floats, Round, later, shorten, spread_out, take, thin
from hoopwise.listen.joint.order import drop_poor
from hoopwise.listen.joint.poles import Poles, all_poles, cut_bands, first_glide
from hoopwise.listen.joint.refine import LEAST_GLIDE, MOST_GLIDE, Prior, glide_prior, refine
from hoopwise.listen.joint.room import CROWD, LEAST_SHARE
from hoopwise.listen.joint.tap import Waves, all_taps, normals

SURE_START_S = 0.0105
"""By then the softest tip has left the head; modes are counted from here on."""
SHORT_S = 0.3
"""Sound used for the first, rough passes."""
RINGS = 0.65
"""Share of the longest ring time that holds 99 % of what tells its frequency."""
FEW_TAPS = 8
"""As many tell the poles well enough to subtract the high ones."""
STRONG_ROOM = 0.05
ROOM_S = 0.2
"""Sound used where so much of it is the room: the modes' own part comes first."""
GLIDE_S = 0.2
"""By then the glide is over."""
GLIDE_PASSES = 2


def begin(
    data: Round, low_hz: float, high_hz: float, most_modes: int, share_of_room: Callable[[], float]
) -> tuple[Round, Poles, Prior]:
    """Start values, and the sound at the lowest rate that carries their modes and no others.

    The reverberant share is asked for where so many start values are found that it matters.

    Raises
    ------
    RecordingError
        No mode found.
    """
    data = replace(data, room=LEAST_SHARE)
    late = later(data, SURE_START_S)
    bands = cut_bands(late, low_hz, high_hz)
    glide, rate, share = first_glide(late, bands)
    prior = Prior(share, rate)
    poles = all_poles(late, bands, glide, rate)
    if len(poles.frequency_hz) > CROWD:
        data = replace(data, room=share_of_room())
        late = replace(late, room=data.room)
        poles = all_poles(shorten(late, SHORT_S), bands, glide, rate)
    if not len(poles.frequency_hz):
        raise RecordingError(f"no ringing mode found between {low_hz:g} and {high_hz:g} Hz")
    if cut_at(poles.frequency_hz, most_modes) < len(poles.frequency_hz):
        poles = few_refined(shorten(late, SHORT_S), poles, prior)
        keep = cut_at(poles.frequency_hz, most_modes)
        lowest = kept(poles, keep)
        poles = replace(poles, glide=glides(shorten(late, GLIDE_S), lowest, prior))
        data = without_above(data, poles, keep, SURE_START_S)
        poles = kept(poles, keep)
    rings_s = float(np.log(1000) / poles.decay_per_s.min())
    data = shorten(data, max(SHORT_S, RINGS * rings_s) if data.room < STRONG_ROOM else ROOM_S)
    return thin(data, 1.03 * float(poles.frequency_hz.max()) + GUARD_HZ), poles, prior


def few_refined(data: Round, poles: Poles, prior: Prior) -> Poles:
    """The poles refined over a few taps spread through the round, without the poor ones.

    The glide of the other taps follows from their strength.
    """
    few = spread_out(data.taps, FEW_TAPS)
    part = take(data, few)
    share = Prior(prior.share[few], prior.glide_rate)
    start = replace(poles, glide=poles.glide[few])
    fit = refine(part, start, part.noise, share, passes=4, settle=50.0)
    best = drop_poor(part, fit)
    glide = prior.share * float(best.glide @ share.share / (share.share @ share.share))
    glide[few] = best.glide
    return replace(best, glide=glide)


def glides(data: Round, poles: Poles, prior: Prior) -> Floats:
    """(T,) glide of each tap at these poles; what they do not explain counts as noise."""
    waves = Waves.at(data.times_s, poles)
    for _ in range(GLIDE_PASSES):
        taps = all_taps(data, poles, waves, data.noise)
        mean, spread = glide_prior(poles, prior)
        variance = np.array([tap.square for tap in taps]) / data.lengths
        own = normals(taps)
        slope = np.array([tap.slope[-1] for tap in own]) / variance
        stiff = np.array([tap.curve[-1, -1] for tap in own]) / variance + spread**-2
        move = (slope - (poles.glide - mean) / spread**2) / stiff
        poles = replace(poles, glide=np.clip(poles.glide + move, LEAST_GLIDE, MOST_GLIDE))
    return poles.glide
