"""What the room adds to a round: how much, and what of it lies near each mode.

A room answers every mode with a dense, ragged copy of it (see ``room``), which is the same
in all taps of a round. To a joint fit the copy is poles of its own beside the mode and below
it; they crowd out the modes unless they have to stand out of what the room may answer. As
a factor on a mode it does no harm: it is part of how the microphone hears that mode.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from hoopwise.listen.joint.data import Floats, Round
from hoopwise.listen.joint.refine import Fit
from hoopwise.listen.room import NOT_A_ROOM
from hoopwise.listen.samples import as_samples
from hoopwise.listen.tapfit import room_heard

LEAST_SHARE = 0.02
"""Of the sound's amplitude: no place is quite without reflections."""
MOST_SHARE = 0.1
CROWD = 35
"""So many start values make it worth asking how much of them is the room."""
ASKED = 8
"""Loudest taps that are asked, ..."""
ASKED_FIRST = 3
"""... but only so many where they hear no room."""
OF_LEFT_OVER = 1 / 3
"""Share of the room in what is left over near the modes; more, where that is strong."""
DECAY_PER_S = 14.0
"""Of a room that rings for half a second."""
RAGGED = 4.0
"""Power by which a pole must stand out of the room's mean answer, which is uneven."""
TWIN_HZ = 12.0
TWIN_DECAY = 1.6
"""A pole this near, and not much slower, is a mode's partner and not its echo."""


def room_share(taps: Sequence[tuple[ArrayLike, float]], onsets: Sequence[float]) -> float:
    """Reverberant share of a round, an amplitude ratio, from its loudest taps.

    The share goes with what a tap leaves over between its modes, as measured on simulated
    taps with 14 to 32 dB of direct sound over the room. One tap tells it within a factor of
    two, so more are asked where the first ones hear a room.
    """
    sounds = [as_samples(x, rate) for x, rate in taps]
    loudest = np.argsort([-float(np.abs(x).max(initial=0.0)) for x in sounds])[:ASKED]

    def near(k: int) -> float:
        rate = taps[k][1]
        heard = room_heard(sounds[k], rate, onsets[k] * rate)
        # in a strong room the glide of a first look is not to be believed, nor is asked for
        return heard[0].near if heard is not None and heard[0].far < NOT_A_ROOM else 0.0

    heard = [near(int(k)) for k in loudest[:ASKED_FIRST]]
    if any(heard):
        heard += [near(int(k)) for k in loudest[ASKED_FIRST:]]
    left = float(np.median(heard))
    return float(np.clip(max(left**2, OF_LEFT_OVER * left), LEAST_SHARE, MOST_SHARE))


def room_answer(data: Round, fit: Fit) -> Floats:
    """(K,) power of the room's answers near each mode, over the noise power assumed."""
    return np.asarray(room_lines(data, fit).sum(axis=1))


def room_lines(data: Round, fit: Fit) -> Floats:
    """(K, K) power of the room's answer near each mode to each of them, over the noise power.

    The answer to a mode has the shape of its line, widened by the room's own decay, and
    lasts as long as the room rings.
    """
    f, a = fit.poles.frequency_hz, fit.poles.decay_per_s
    size = np.array([tap.amplitude for tap in fit.taps]) / fit.scale[:, None]
    power = np.mean(np.abs(size) ** 2, axis=0)
    wide = a + DECAY_PER_S
    away = f[:, None] - f
    line = wide / (wide**2 + (2 * np.pi * away) ** 2) / a
    line[(np.abs(away) < TWIN_HZ) & (a[:, None] > a / TWIN_DECAY)] = 0.0
    return np.asarray(0.5 * data.room**2 * data.rate_hz * DECAY_PER_S * line * power)
