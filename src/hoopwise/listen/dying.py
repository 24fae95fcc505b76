"""Whether a sudden sound can be a drum's: struck loudest, dying away, and no voice."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RecordingError
from hoopwise.listen.types import Tap

Samples = NDArray[np.float64]

SHORTEST_S: Final = 0.08
"""Eight periods of a 100 Hz note; less leaves its frequency open."""
_FRAME_S: Final = 0.025
_STRIKE_FRAMES: Final = 4

_VOICE_FRAME_S: Final = 0.064
_VOICE_WITHIN_S: Final = 1.0
_VOICE_TOP_HZ: Final = 4000.0
_VOICE_PERIODS_S: Final = (0.0028, 0.0125)
"""Pitch periods of speech, 80 to 360 Hz."""
_AROUND_S: Final = (0.001, 0.02)
_LOUD: Final = 0.1
_FLOOR: Final = 1e-6
_VOICED: Final = 3.8
"""Prominence of a voice: real speech reaches 4 to 6, real drum hits stay below 3.4."""


def check_dies_away(samples: Samples, rate: float, tap: Tap) -> None:
    """Refuse a tap whose sound is too short, swells again, or is a voice.

    ``tap`` counts from the first sample. A voice swells with its syllables; a drum may beat,
    yet never gets louder than in the 0.1 s after the strike.

    Raises
    ------
    RecordingError
        The reason, in words that follow a colon.
    """
    if tap.end_s - tap.onset_s < SHORTEST_S:
        raise RecordingError(f"its sound lasts only {1e3 * (tap.end_s - tap.onset_s):.0f} ms")
    sound = samples[round(tap.onset_s * rate) : round(tap.end_s * rate)]
    size = round(_FRAME_S * rate)
    power = sound[: sound.size // size * size].reshape(-1, size).var(axis=1)
    if power[_STRIKE_FRAMES:].size and power[_STRIKE_FRAMES:].max() > power[:_STRIKE_FRAMES].max():
        raise RecordingError("it swells after its start, as a voice does")
    if is_voice(sound, rate):
        raise RecordingError("its overtones are evenly spaced, as a voice's are")


def is_voice(sound: Samples, rate: float) -> bool:
    """Whether evenly spaced overtones stand out in two frames or more of the first second.

    The overtones of a voice repeat at its pitch, so the spectrum of its logarithmic spectrum,
    the cepstrum, has a peak at the pitch period (Noll 1967, Cepstrum pitch determination,
    JASA 41, 293); the modes of a drum are not evenly spaced.
    """
    size = round(_VOICE_FRAME_S * rate)
    part = sound[: max(size, round(_VOICE_WITHIN_S * rate))]
    if part.size < size:
        return False
    frames = np.lib.stride_tricks.sliding_window_view(part, size)[:: size // 2]
    level = frames.std(axis=1)
    loud = frames[level > _LOUD * level.max()]
    return int(np.count_nonzero(_prominence(loud, rate) > _VOICED)) >= 2


def _prominence(frames: Samples, rate: float) -> Samples:
    """Cepstral peak of each frame in the range of voices over the rms around it."""
    size = 4 * frames.shape[1]
    bins = int(_VOICE_TOP_HZ * size / rate)
    power = np.abs(np.fft.rfft(frames * np.hanning(frames.shape[1]), size)[:, :bins]) ** 2
    level = np.log(power + _FLOOR * power.max(axis=1, keepdims=True) + 1e-300)
    level -= level.mean(axis=1, keepdims=True)
    cepstrum = np.abs(np.fft.rfft(level * np.hanning(bins), 4 * bins))
    period = np.arange(cepstrum.shape[1]) * size / (4 * bins * rate)
    near = cepstrum[:, (period > _AROUND_S[0]) & (period < _AROUND_S[1])]
    low, high = _VOICE_PERIODS_S
    peak = cepstrum[:, (period > low) & (period < high)].max(axis=1)
    return np.asarray(peak / np.sqrt(np.mean(near**2, axis=1) + 1e-300))
