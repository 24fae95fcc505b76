"""The joint fit of one tap, from its onset to poles, amplitudes and their covariance.

The quick way goes from peak to peak. A split pair beats, and its beat can be taken for a
glide; when what is left over or crowded modes make that likely, the glide is looked for
again in narrow bands that allow for pairs, and the cheaper account of the sound is kept.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.listen.bands import peaks
from hoopwise.listen.fit import Fit, refine, start, with_modes
from hoopwise.listen.glide import band_glide, coarse_glide
from hoopwise.listen.hard import loudest_track
from hoopwise.listen.noise import noise_before, noise_level
from hoopwise.listen.quality import last_clipped
from hoopwise.listen.room import SPOILT, Room, is_room, room_of, with_room
from hoopwise.listen.search import Floor, search, spectrum
from hoopwise.listen.simplify import judged, simplify
from hoopwise.listen.split import PRICE, groups, split, thin_out
from hoopwise.listen.window import Window, cut

Real = NDArray[np.float64]

START_S: Final = 0.0035
"""The stick has left the head by then."""
LENGTH_S: Final = 0.5
MANY: Final = 14
"""With more modes than this a crowd is the drum's own."""
CROWD_HZ: Final = 8.0
MISFIT: Final = 0.005
"""No model of a real drum is better than this fraction of the sound (-46 dB)."""
HARD_GLIDE: Final = 0.04
"""A glide above this (68 cents) is that of a hit, not of a tap."""
CLEAN_RAD: Final = 0.1
"""A beating pair leaves more phase over than this; a single gliding mode does not."""
ECHOES: Final = (0.01, 0.05)
"""Reverberant share of the sound, tried until no echo passes for a mode."""
DOMINANT: Final = 0.3
"""Share of the sound's energy that makes a mode the one to judge the glide by."""
KEPT_BYTES: Final = 8 << 20
ROUGH: Final = 0.1
"""More than this left over (-20 dB): the model does not hold from the start on."""


@dataclass(frozen=True)
class TapFit:
    """Everything known of one tap."""

    window: Window
    fit: Fit
    floor: Floor
    onset: float
    """Sample index at which the tap begins."""
    cov: Real
    """(4 K + 2,) square covariance of f, a, Re c, Im c, g, ln b."""
    rough: bool
    """The model leaves much over: a hard hit, or a crowd of modes."""


def fit_tap(x: Real, rate: float, onset: float, last_s: float = math.inf) -> TapFit | None:
    """Fit the modes of the tap that begins at sample ``onset``.

    ``last_s`` is where the next tap begins, counted from the onset. None when no mode
    stands out or too little sound is left.
    """
    _keep_memory()
    begin = max(START_S, last_clipped(x, rate, onset) + 0.0005)
    window = cut(x, rate, onset, begin, min(last_s, begin + LENGTH_S))
    if window is None:
        return None
    floor = floor_of(x, rate, onset, window)
    fit = first_look(window, floor, coarse_glide(window.y, window.t_s))
    room = room_of(window, fit, floor)
    if is_room(room, fit.g):
        floor = with_room(window, floor, room.near)
        fit = first_look(window, floor, (fit.g, fit.b))
    fit = best_account(window, floor, fit)
    if fit.modes == 0:
        return None
    for share in ECHOES:
        if not _is_overfitted(fit) or is_rough(window, fit, floor):
            break
        if share > ECHOES[0] and room.near == 0.0:
            break  # nothing between the modes speaks of a room: a dense head, not echoes
        floor = with_room(window, floor, max(share, room.near))
        fit = peaks_first(window, floor, first_look(window, floor, (fit.g, fit.b)))
    cov = judged(window, fit, floor)[2]
    return TapFit(window, fit, floor, onset, cov, is_rough(window, fit, floor))


def _keep_memory() -> None:
    """Let the process keep a few megabytes that it frees, for the next array of the fit.

    The C library (glibc, mallopt(3), M_MMAP_THRESHOLD) raises its threshold for giving
    memory back when a large block is freed; without that every step of a fit has its arrays
    paged in anew, which takes longer than the arithmetic. The block itself is never touched.
    """
    np.empty(KEPT_BYTES, dtype=np.uint8)


def is_too_reverberant(x: Real, rate: float, onset: float, last_s: float = math.inf) -> bool:
    """Whether the room spoils the tap that begins at sample ``onset``; no without a pre-roll."""
    heard = room_heard(x, rate, onset, last_s)
    return heard is not None and is_room(*heard) and heard[0].near > SPOILT


def room_heard(
    x: Real, rate: float, onset: float, last_s: float = math.inf
) -> tuple[Room, float] | None:
    """What a first look at the tap that begins at sample ``onset`` leaves over, and its glide.

    None without a pre-roll, which tells the noise.
    """
    begin = max(START_S, last_clipped(x, rate, onset) + 0.0005)
    window = cut(x, rate, onset, begin, min(last_s, begin + LENGTH_S))
    if window is None:
        return None
    floor = floor_of(x, rate, onset, window)
    if not floor.noise.known:
        return None
    fit = first_look(window, floor, coarse_glide(window.y, window.t_s))
    return room_of(window, fit, floor), fit.g


def glides_hard(window: Window) -> bool:
    """Whether the loudest mode starts further above its settled pitch than taps do."""
    skip = len(window.edge)
    track = loudest_track(window, window.y[skip:], window.t_s[skip:])
    if track is None or track.phase_rms() > CLEAN_RAD:
        return False
    heard = 0.5 * float(np.mean(track.amplitude**2)) * len(track.t_s)
    share = heard * float(track.t_s[1] - track.t_s[0]) * window.rate_hz
    if share < DOMINANT * float(np.sum(window.y**2)):
        return False
    return track.rise_hz > HARD_GLIDE * track.frequency_hz


def floor_of(x: Real, rate: float, onset: float, window: Window) -> Floor:
    """Noise before the tap; without any, the noise that its last third allows for."""
    noise = noise_before(x, rate, onset)
    if not noise.known:
        guess = noise_level(window.y[-len(window.y) // 3 :], window.rate_hz)
        noise = replace(guess, known=False)
    least = max(1e-9 * float(np.mean(window.y**2)), 1e-30)
    return Floor(noise, max(float(np.median(noise.level)), least))


def first_look(window: Window, floor: Floor, glide: tuple[float, float]) -> Fit:
    """One mode for each of the strong peaks, and the glide, from a first guess of it."""
    fit = search(window, start(window, *glide, glide[1]), floor, rounds=2)
    return refine(window, _centred(fit), floor.typical, steps=15) if fit.modes else fit


def best_account(window: Window, floor: Floor, first: Fit) -> Fit:
    """The cheapest of the accounts that the first look and other starts lead to."""
    fit = peaks_first(window, floor, first)
    if fit.modes == 0 or not _is_suspicious(window, fit, floor):
        return fit
    if is_rough(window, fit, floor) and glides_hard(window):
        return fit
    skip = len(window.edge)
    glide = band_glide(window.y[skip:], window.t_s[skip:], _loudest(window), floor.typical)
    fit = _cheaper(fit, splits_first(window, floor, glide))
    if is_rough(window, fit, floor):
        return fit
    if _is_crowded(fit) and fit.modes <= MANY:
        f, a = thin_out(window, fit, CROWD_HZ)
        other = with_modes(window, fit, f, a, floor.typical)
        other = refine(window, other, floor.typical, steps=15)
        other = simplify(window, search(window, other, floor, rounds=2), floor)
        fit = _cheaper(fit, other)
    if _is_suspicious(window, fit, floor):
        for f, a in (thin_out(window, fit, CROWD_HZ, least=2), split(window, fit, floor)):
            other = with_modes(window, fit, f, a, floor.typical)
            other = refine(window, other, floor.typical, steps=25)
            fit = _cheaper(fit, simplify(window, other, floor))
    return fit


def peaks_first(window: Window, floor: Floor, first: Fit) -> Fit:
    """One mode per peak, then the glide, then the splits."""
    typical = floor.typical
    fit = search(window, first, floor)
    if fit.modes == 0:
        return fit
    if fit is not first:
        fit = refine(window, _centred(fit), typical, steps=15)
    if is_rough(window, fit, floor):
        return fit
    f, a = split(window, fit, floor)
    if len(f) > fit.modes:
        fit = refine(window, with_modes(window, fit, f, a, typical), typical)
    fit = search(window, fit, floor, rounds=2)
    return simplify(window, fit, floor)


def splits_first(window: Window, floor: Floor, glide: tuple[float, float]) -> Fit:
    """The given glide is held until every peak has been split; then all is set free."""
    typical = floor.typical
    fit = search(window, start(window, *glide, glide[1]), floor, rounds=3, hold_glide=True)
    if fit.modes == 0:
        return fit
    f, a = split(window, fit, floor)
    fit = refine(window, with_modes(window, fit, f, a, typical), typical, steps=15)
    fit = search(window, fit, floor, rounds=3)
    fit = refine(window, _centred(fit), typical)
    return simplify(window, fit, floor)


def _centred(fit: Fit) -> Fit:
    """The glide's rate is expected where the loudest mode's energy decays."""
    loudest = int(np.argmax(np.abs(fit.c)))
    return replace(fit, centre_b=2.0 * float(fit.a[loudest]))


def _loudest(window: Window) -> list[float]:
    power, spacing = spectrum(window, window.y)
    return peaks(power, spacing, 45.0, np.full(len(power), 1e-3 * float(power.max())))[:4]


def _is_crowded(fit: Fit) -> bool:
    return any(len(members) > 2 for members in groups(fit.f, CROWD_HZ))


def _is_overfitted(fit: Fit) -> bool:
    """Three modes in one place, or more than a head shows: echoes are being modelled."""
    return _is_crowded(fit) or fit.modes > MANY


def _is_suspicious(window: Window, fit: Fit, floor: Floor) -> bool:
    expected = max(floor.typical, MISFIT**2 * float(np.mean(window.y**2)))
    return _is_crowded(fit) or float(np.mean(fit.residual**2)) > 1.3 * expected


def is_rough(window: Window, fit: Fit, floor: Floor) -> bool:
    """Whether much more is left over than noise and a drum's usual misfit."""
    left = float(np.mean(fit.residual**2))
    return left > ROUGH**2 * float(np.mean(window.y**2)) and left > 5.0 * floor.typical


def _cheaper(one: Fit, other: Fit) -> Fit:
    return min(one, other, key=lambda fit: fit.cost + 0.5 * PRICE * fit.modes)
