"""The settled note of a hit: its lowest strong mode, once the strike has died away."""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hoopwise.errors import RecordingError
from hoopwise.listen.bands import band, peaks
from hoopwise.listen.hard import decay_sd
from hoopwise.listen.noise import Noise, noise_before
from hoopwise.listen.poles import esprit, polish, signal_space
from hoopwise.listen.samples import as_samples
from hoopwise.listen.search import spectrum
from hoopwise.listen.taps import find_taps
from hoopwise.listen.track import Track, follow
from hoopwise.listen.types import Note, Tap
from hoopwise.listen.window import Window, cut
from hoopwise.units import DECAY_60_DB, cents, cents_sd

Real = NDArray[np.float64]

STRONG_DB: Final = 10.5
"""A mode this far below the loudest can still be the note, if it is the lowest."""
RIVAL_DB: Final = 6.0
LAW_SD: Final = 0.02
"""The law of the glide holds to about this fraction of the whole rise."""
FLOOR_SD: Final = 3e-4
"""No note of a real drum repeats better than this (half a cent)."""
NEAR: Final = 0.08
"""A note is looked for this fraction around its spectral peak; a glide moves it further."""
UNSETTLED_SD: Final = 0.01
"""A note whose glide is unknown may lie this fraction off (17 cents)."""
VAGUE_CENTS: Final = 60.0
"""A standard deviation above this leaves open which note of the scale it is."""
SHORT_NOTE_S: Final = 0.35
PHASE_RAD: Final = 0.25
GLIDE_MOST: Final = 0.3
"""No track starts this fraction above its settled note."""
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
    hits = find_taps(x, rate, judge="none")
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
    candidates = sorted(f for f, db in strong if db >= -STRONG_DB)
    for peak in candidates:
        track = _tracked(window, peak, [f for f, _ in strong])
        if track is not None and _believable(track, peak):
            return _sure(_note_of_track(track, _rivals(strong, peak)), hit)
        note = _note_of_band(window, peak, _rivals(strong, peak))
        if note is not None:
            return _sure(note, hit)
    raise RecordingError(
        f"the hit at {hit.onset_s:.2f} s has no single note near {candidates[0]:.0f} Hz: "
        "several modes of much the same pitch, or a sound too short; take the damping off "
        "the head, or switch the wires off"
    )


def _sure(note: Note, hit: Tap) -> Note:
    """The note, unless it is so vague that it is none."""
    within = cents_sd(note.frequency_hz, note.sd_hz)
    if within > VAGUE_CENTS:
        raise RecordingError(
            f"the hit at {hit.onset_s:.2f} s has a pitch near {note.frequency_hz:.0f} Hz that is "
            f"only known within {within:.0f} cents; let the drum ring longer, take the damping "
            "off the head, or switch the wires off"
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


def _believable(track: Track, peak_hz: float) -> bool:
    """The law explains the phase, and a head can glide from the peak to this note."""
    fair = track.first_rise_hz < GLIDE_MOST * track.frequency_hz
    return fair and track.phase_rms() < PHASE_RAD and track.frequency_hz > 0.85 * peak_hz


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


def _note_of_band(window: Window, near_hz: float, rivals: list[float]) -> Note | None:
    """A note too short or too crowded to be tracked: one damped mode in a narrow band.

    Its glide cannot be told, so its error is that of a mode that may still be gliding.
    """
    skip = len(window.edge)
    count = min(len(window.y), round(SHORT_NOTE_S * window.rate_hz))
    y, t = window.y[skip:count], window.t_s[skip:count]
    slow = band(y, t, near_hz, t)
    if slow is None:
        return None
    start = esprit(signal_space(slow.z, 2), 2, 1.0 / slow.rate_hz)
    poles = polish(slow.z, slow.t_s, start)
    near = np.abs(poles.s.imag) < 2.0 * np.pi * NEAR * near_hz
    if not near.any():
        poles = polish(slow.z, slow.t_s, np.array([-15.0 + 0.0j]))
        near = np.abs(poles.s.imag) < 2.0 * np.pi * NEAR * near_hz
    if not near.any():
        return None
    energy = np.abs(poles.amplitude) / np.sqrt(-poles.s.real)
    loudest = int(np.argmax(np.where(near, energy, 0.0)))
    sd, decay = float(decay_sd(slow, poles)[loudest]), -float(poles.s[loudest].real)
    f0 = near_hz + float(poles.s[loudest].imag) / (2.0 * np.pi)
    return Note(
        frequency_hz=f0,
        sd_hz=math.hypot(sd / (2.0 * np.pi), UNSETTLED_SD * f0),
        t60_s=DECAY_60_DB / decay,
        glide_cents=0.0,
        rival_hz=rivals[0] if rivals else None,
    )


def _rivals(strong: list[tuple[float, float]], note_hz: float) -> list[float]:
    """Other modes at most 6 dB below the note, loudest first."""
    own = next(db for f, db in strong if f == note_hz)
    others = [(db, f) for f, db in strong if f != note_hz and db >= own - RIVAL_DB]
    return [f for _, f in sorted(others, reverse=True)]
