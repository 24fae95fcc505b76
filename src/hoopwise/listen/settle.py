"""The settled note of a hit: its lowest strong mode, once the strike has died away."""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.errors import RecordingError
from hoopwise.listen.bands import peaks
from hoopwise.listen.tapfit import fit_tap
from hoopwise.listen.noise import Noise, noise_before
from hoopwise.listen.samples import as_samples
from hoopwise.listen.search import spectrum
from hoopwise.listen.taps import find_taps
from hoopwise.listen.track import Track, follow
from hoopwise.listen.types import Note, Tap
from hoopwise.listen.window import Window, cut
from hoopwise.units import DECAY_60_DB, cents

Real = NDArray[np.float64]

STRONG_DB: Final = 10.5
"""A mode this far below the loudest can still be the note, if it is the lowest."""
RIVAL_DB: Final = 6.0
LAW_SD: Final = 0.02
"""The law of the glide holds to about this fraction of the whole rise."""
FLOOR_SD: Final = 3e-4
"""No note of a real drum repeats better than this (half a cent)."""
PHASE_RAD: Final = 0.25
GLIDE_MOST: Final = 0.5
LONGEST_S: Final = 1.5


def settled_note(
    samples: ArrayLike, rate: float, low_hz: float = 40.0, high_hz: float = 600.0
) -> Note:
    """The note of the loudest hit in the samples, as it is once the glide has died away.

    Parameters
    ----------
    samples : (n,) numbers
        One channel, floats of full scale 1 or integers.
    rate : float
        Samples per second, 8000 to 400000 Hz.
    low_hz, high_hz : float
        The note is looked for in this range.

    Raises
    ------
    RecordingError
        Bad samples, no hit, or no mode that stands out in the range.
    """
    x = as_samples(samples, rate)
    if not 20.0 <= low_hz < high_hz <= 1400.0:
        raise RecordingError(
            f"a note range of {low_hz:g} to {high_hz:g} Hz is out of reach; "
            "choose a range between 20 and 1400 Hz"
        )
    hits = find_taps(x, rate)
    if not hits:
        raise RecordingError(
            f"no drum hit stands out in these {len(x) / rate:.2f} s of sound; "
            "record single hits, closer to the drum"
        )
    return note_of_hit(x, rate, max(hits, key=lambda tap: tap.strength_db), low_hz, high_hz)


def note_of_hit(x: Real, rate: float, hit: Tap, low_hz: float, high_hz: float) -> Note:
    """The note of one hit found by ``find_taps``; raises as ``settled_note`` does."""
    onset = hit.onset_s * rate
    last_s = min(LONGEST_S, hit.end_s - hit.onset_s)
    window = cut(x, rate, onset, 0.004, last_s)
    if window is None:
        raise RecordingError(
            f"the hit at {hit.onset_s:.2f} s lasts only {1000 * last_s:.0f} ms; "
            "let the drum ring for half a second before the next one"
        )
    strong = _strong_modes(window, noise_before(x, rate, onset), low_hz, high_hz)
    if not strong:
        raise RecordingError(
            f"the hit at {hit.onset_s:.2f} s holds no clear note between "
            f"{low_hz:g} and {high_hz:g} Hz; strike the drum's middle and let it ring"
        )
    lowest = min(f for f, db in strong if db >= -STRONG_DB)
    track = _tracked(window, lowest, [f for f, _ in strong])
    rivals = _rivals(strong, lowest)
    if track is not None and _believable(track):
        return _note_of_track(track, rivals)
    note = _note_of_modes(x, rate, onset, lowest, rivals)
    if note is None:
        raise RecordingError(
            f"the note near {lowest:.0f} Hz of the hit at {hit.onset_s:.2f} s dies too fast "
            "to be measured; take the damping off the head"
        )
    return note


def _strong_modes(
    window: Window, noise: Noise, low_hz: float, high_hz: float
) -> list[tuple[float, float]]:
    """Modes (Hz, dB against the loudest in the range) of the first 0.6 s."""
    count = min(len(window.y), round(0.6 * window.rate_hz))
    power, spacing = spectrum(window, window.y[:count])
    grid = np.asarray(spacing * np.arange(len(power)), dtype=np.float64)
    found = [f for f in peaks(power, spacing, 6.0, 30.0 * noise.at(grid)) if low_hz <= f <= high_hz]
    if not found:
        return []
    level = 10.0 * np.log10(np.interp(found, grid, power))
    return [(f, float(x)) for f, x in zip(found, level - level.max(), strict=True) if x > -20.0]


def _tracked(window: Window, f: float, others: list[float]) -> Track | None:
    gaps = [abs(f - other) for other in others if other != f]
    reach = float(np.clip(min([0.12 * f, *(0.6 * gap for gap in gaps)]), 6.0, 16.0))
    skip = len(window.edge)
    return follow(window.y[skip:], window.t_s[skip:], f, reach)


def _believable(track: Track) -> bool:
    """The law explains the phase, and the glide is one that a head can have."""
    weight = track.amplitude**2
    rms = float(np.sqrt(np.sum(weight * track.left_rad**2) / np.sum(weight)))
    return rms < PHASE_RAD and track.rise_hz < GLIDE_MOST * track.frequency_hz


def _note_of_track(track: Track, rivals: list[float]) -> Note:
    f0 = track.frequency_hz
    rise = max(track.rise_hz, 0.0)
    return Note(
        frequency_hz=f0,
        sd_hz=math.hypot(track.sd_hz, LAW_SD * rise, FLOOR_SD * f0),
        t60_s=DECAY_60_DB / track.decay,
        glide_cents=cents(f0 + rise, f0),
        rival_hz=rivals[0] if rivals else None,
    )


def _note_of_modes(
    x: Real, rate: float, onset: float, near_hz: float, rivals: list[float]
) -> Note | None:
    """The note from the joint fit of all modes: for a note too short or too crowded."""
    found = fit_tap(x, rate, onset)
    if found is None:
        return None
    fit = found.fit
    close = np.flatnonzero(np.abs(fit.f - near_hz) < max(8.0, 0.06 * near_hz))
    if len(close) == 0:
        return None
    k = int(close[np.argmax(np.abs(fit.c[close]))])
    f0, rise = float(fit.f[k]), max(fit.g, 0.0) * float(fit.f[k])
    sd = float(np.sqrt(found.cov[k, k]))
    return Note(
        frequency_hz=f0,
        sd_hz=math.hypot(sd, LAW_SD * rise, FLOOR_SD * f0),
        t60_s=DECAY_60_DB / float(fit.a[k]),
        glide_cents=cents(f0 + rise, f0),
        rival_hz=rivals[0] if rivals else None,
    )


def _rivals(strong: list[tuple[float, float]], note_hz: float) -> list[float]:
    """Other modes at most 6 dB below the note, loudest first."""
    own = next(db for f, db in strong if f == note_hz)
    others = [(db, f) for f, db in strong if f != note_hz and db >= own - RIVAL_DB]
    return [f for _, f in sorted(others, reverse=True)]
