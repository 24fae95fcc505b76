"""Joint fit of many taps of one drum: shared poles, each tap's complex amplitudes.

One drum rings with the same frequencies and ring times wherever it is struck; only the
amplitudes, the strength and with it the glide change. Fitting all taps at once separates
pairs of modes that no single tap can: their proportions differ from tap to tap.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from hoopwise.errors import RecordingError
from hoopwise.listen.joint.begin import SHORT_S, SURE_START_S, begin
from hoopwise.listen.joint.contact import free_from
from hoopwise.listen.joint.data import Floats, Round, later, prepare, shorten, spread_out, take
from hoopwise.listen.joint.missed import with_missed
from hoopwise.listen.joint.order import Noise, local_noise, merge, prune, split
from hoopwise.listen.joint.poles import Complexes, Poles
from hoopwise.listen.joint.refine import Fit, Prior, evaluate, glide_prior, refine
from hoopwise.listen.joint.room import room_share
from hoopwise.listen.taps import find_taps
from hoopwise.listen.types import JointModes

START_S = 0.0025
"""First sample looked at: a hard tip's contact and half of the filter's length."""
LENGTH_S = 0.8
ENOUGH_TAPS = 12
"""So many taps, spread through the round, decide how many poles there are."""
EARLY_S = 0.1
"""A stick that comes down again does so by then."""
MOST_MODES = 24
"""Enough for eight groups; what rings above them is left in the residual."""


def joint_modes(
    taps: Sequence[tuple[ArrayLike, float]],
    *,
    onsets: Sequence[float] | None = None,
    low_hz: float = 50.0,
    high_hz: float = 1500.0,
    most_modes: int = MOST_MODES,
) -> JointModes:
    """Shared poles of taps struck at different places, heard by one microphone.

    Parameters
    ----------
    taps
        For each tap its samples (one channel) and rate (Hz); one rate for all.
    onsets
        Onset of each tap in its own samples, s, with 10 ms of sound before it or more;
        None takes the loudest tap that ``find_taps`` finds in each.
    low_hz, high_hz
        Range in which modes are sought.
    most_modes
        Only modes at about so many places are fitted, the lowest first; a close pair counts
        as one. Time grows with their square.

    Returns
    -------
    JointModes
        Frequencies grow. ``amplitude_cov`` holds the noise and the tap's own glide, not
        the uncertainty of the shared poles: ``pole_cov`` and ``amplitude_by_pole`` do.

    Raises
    ------
    RecordingError
        Fewer than two taps, rates that differ, too little sound, or no mode found.

    """
    if len(taps) < 2:
        raise RecordingError(f"a joint fit needs two taps or more, got {len(taps)}")
    if onsets is None:
        onsets = [loudest_onset(x, rate, k + 1) for k, (x, rate) in enumerate(taps)]
    data = prepare(taps, onsets, start_s=START_S, length_s=LENGTH_S, high_hz=high_hz)
    data, poles, prior = begin(data, low_hz, high_hz, most_modes, partial(room_share, taps, onsets))
    late = later(data, SURE_START_S)
    fit, scale = decide(late, poles, prior)
    data = later(data, free_from(data, fit, late))
    fit = refine(data, fit.poles, scale, prior, passes=6, settle=0.3)
    fit = prune(data, fit, scale, prior)
    return summary(data, fit, scale, prior, onsets)


def decide(data: Round, poles: Poles, prior: Prior) -> tuple[Fit, Floats]:
    """The fit of all taps once some of them have told how many poles there are.

    Returns the fit, and the residual's rms of each tap (T,).
    """
    if data.taps <= ENOUGH_TAPS:
        # So few do not tell a mode from a room well enough to look for more in what is left over.
        return explore(data, poles, prior)
    few = spread_out(data.taps, ENOUGH_TAPS)
    part = Prior(prior.share[few], prior.glide_rate)
    found, _ = explore(take(data, few), replace(poles, glide=poles.glide[few]), part)
    start = replace(found.poles, glide=poles.glide.copy())
    start.glide[few] = found.poles.glide
    fit = refine(data, start, data.noise, prior, passes=4, settle=0.5)
    fit = prune(data, fit, data.noise, prior)
    fit = with_missed(data, fit, data.noise, prior)
    return fit, residual_scale(data, fit, data.noise)


def explore(data: Round, poles: Poles, prior: Prior) -> tuple[Fit, Floats]:
    """Decide how many poles there are; the fit, and the residual's rms of each tap (T,)."""
    short = shorten(data, SHORT_S)
    fit = refine(short, poles, data.noise, prior, passes=5, settle=20.0)
    fit = prune(short, fit, data.noise, prior)
    fit = refine(data, fit.poles, data.noise, prior, passes=6, settle=0.5)
    fit = prune(data, fit, data.noise, prior)
    fit = split(data, fit, data.noise, prior)
    scale = residual_scale(data, fit, data.noise)
    fit = merge(data, evaluate(data, fit.poles, scale, prior), scale, prior)
    return fit, residual_scale(data, fit, scale)


def loudest_onset(samples: ArrayLike, rate: float, number: int) -> float:
    """Onset (s) of the loudest tap in one sound; ``number`` names it if there is none.

    Raises
    ------
    RecordingError
        No tap found.

    """
    found = find_taps(samples, rate)
    if not found:
        raise RecordingError(f"no tap heard in sound {number} of the round: tap again, louder")
    return max(found, key=lambda tap: tap.strength_db).onset_s


def residual_scale(data: Round, fit: Fit, scale: Floats) -> Floats:
    """(T,) rms of each tap's residual in units of the samples, from one fitted at ``scale``."""
    free = 2 * len(fit.poles.frequency_hz) + 1
    square = np.array([tap.square for tap in fit.taps])
    return np.asarray(scale * np.sqrt(square / (data.lengths - free)))


def left_over(data: Round, fit: Fit) -> Floats:
    """(T,) share of each tap's early sound that the modes leave over, rms over rms.

    A second strike starts the modes anew, so that no amplitudes suit what is before and after.
    """
    early = (data.times_s >= SURE_START_S) & (data.times_s < SURE_START_S + EARLY_S)
    pairs = zip(data.samples, fit.taps, fit.scale, strict=True)
    return np.array(
        [
            scale
            * np.std(tap.residual[early[: len(tap.residual)]])
            / max(float(np.std(sound[early])), 1e-300)
            for sound, tap, scale in pairs
        ]
    )


def summary(
    data: Round, fit: Fit, scale: Floats, prior: Prior, onsets: Sequence[float]
) -> JointModes:
    """The fit in the terms of the caller, with covariances from the noise near each mode."""
    count = len(fit.poles.frequency_hz)
    noise = local_noise(data, fit)
    louder = np.tile(np.sqrt(noise.ratio.mean(axis=0)), 2)
    pole_cov = np.linalg.inv(fit.curve)[:-1, :-1] * np.outer(louder, louder)
    sd = np.sqrt(np.diag(pole_cov))
    flip = np.repeat([1.0, -1.0], count)
    _, spread = glide_prior(fit.poles, prior)
    turn = np.array([_to_onset(data, fit, i) for i in range(data.taps)])
    cov = [_amplitude_cov(fit, i, noise, scale[i], spread[i]) for i in range(data.taps)]
    by_pole = [_amplitude_by_pole(fit, i, scale[i], spread[i]) for i in range(data.taps)]
    late = fit.poles.decay_per_s * data.times_s[0]
    amplitude = turn * np.array([tap.amplitude for tap in fit.taps])
    slope = turn[:, :, None] * np.array(by_pole)
    at = np.arange(count)
    slope[:, at, count + at] += amplitude * late
    t60 = np.log(1000) / fit.poles.decay_per_s
    return JointModes(
        frequency_hz=fit.poles.frequency_hz,
        frequency_sd_hz=sd[:count],
        t60_s=t60,
        t60_sd_s=t60 * sd[count:],
        amplitude=amplitude,
        amplitude_cov=turn[:, :, None] * np.array(cov) * turn[:, None, :].conj(),
        glide=fit.poles.glide,
        glide_rate=fit.poles.glide_rate,
        onset_s=np.asarray(onsets, dtype=float),
        residual_ratio=scale / data.noise,
        left_over=left_over(data, fit),
        pole_cov=np.asarray(pole_cov * np.outer(flip, flip)),
        amplitude_by_pole=slope * flip,
        room=data.room,
    )


def _to_onset(data: Round, fit: Fit, index: int) -> Complexes:
    """(K,) factors that carry amplitudes from the window's start back to the tap's onset."""
    late = float(data.offsets_s[index])
    grow = fit.poles.decay_per_s * (data.times_s[0] + late)
    turn = 2 * np.pi * fit.poles.frequency_hz * late * (1 + fit.poles.glide[index])
    through = data.gain(fit.poles.frequency_hz, fit.poles.decay_per_s)
    return np.asarray(np.exp(grow - 1j * turn) / through)


def _amplitude_cov(fit: Fit, index: int, noise: Noise, scale: float, spread: float) -> Complexes:
    """(K, K) covariance of one tap's amplitudes at the window's start, its glide unknown."""
    tap = fit.taps[index]
    count = len(tap.amplitude)
    sigma = np.tile(np.sqrt(noise.ratio[index]), 2) * scale
    drag = tap.normal.drag[:, -1] * scale
    variance = 1 / (tap.normal.curve[-1, -1] + spread**-2)
    real = tap.gram_inverse * np.outer(sigma, sigma) + variance * np.outer(drag, drag)
    xx, yy = real[:count, :count], real[count:, count:]
    yx, xy = real[count:, :count], real[:count, count:]
    return np.asarray(xx + yy + 1j * (yx - xy))


def _amplitude_by_pole(fit: Fit, index: int, scale: float, spread: float) -> Complexes:
    """(K, 2K) change of the window-start amplitudes with f and ln a; the glide follows."""
    tap = fit.taps[index]
    count = len(tap.amplitude)
    own = tap.normal
    follow = own.curve[-1, : 2 * count] / (own.curve[-1, -1] + spread**-2)
    real = -(own.drag[:, : 2 * count] - np.outer(own.drag[:, -1], follow)) * scale
    return np.asarray(real[:count] + 1j * real[count:])
