"""General pitch trackers as a technician might use them, to compare with on the same hits.

Each takes one hit and gives its frequency in Hz, or None. They get the same range and, as
is usual, the middle value of the frames that they trust.
"""

import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np
import soundfile
from numpy.typing import NDArray

LOW_HZ: Final = 40.0
HIGH_HZ: Final = 600.0
_STRONG_DB: Final = 12.0
_FRAME: Final = 4096
_HOP: Final = 512
_AUDIBLE: Final = 10.0 ** (-30.0 / 20.0)

Samples = NDArray[np.float64]
Tracker = Callable[[Samples, int], float | None]


def lowest_peak(samples: Samples, rate: int) -> float | None:
    """Lowest peak of the whole hit's spectrum within 12 dB of the highest, interpolated."""
    size = 1 << int(np.ceil(np.log2(4 * max(rate, samples.size))))
    fall = np.hanning(2 * samples.size)[-samples.size :]
    level = np.log(np.abs(np.fft.rfft(samples * fall, size)) + 1e-12)
    first, last = int(LOW_HZ * size / rate), int(HIGH_HZ * size / rate)
    part = level[first : last + 1]
    peaks = np.flatnonzero((part[1:-1] > part[:-2]) & (part[1:-1] >= part[2:])) + 1
    strong = peaks[part[peaks] > part.max() - _STRONG_DB * np.log(10.0) / 20.0]
    if strong.size == 0:
        return None
    k = int(strong[0])
    a, b, c = part[k - 1 : k + 2]
    return float((first + k + 0.5 * (a - c) / (a - 2.0 * b + c)) * rate / size)


def librosa_pyin(samples: Samples, rate: int) -> float | None:
    """librosa.pyin, median of the voiced frames."""
    import librosa

    f0, voiced, _ = librosa.pyin(
        samples, fmin=LOW_HZ, fmax=HIGH_HZ, sr=rate, frame_length=_FRAME, hop_length=_HOP
    )
    return float(np.median(f0[voiced])) if voiced.any() else None


def librosa_yin(samples: Samples, rate: int) -> float | None:
    """librosa.yin, median of the frames within 30 dB of the loudest."""
    import librosa

    f0 = librosa.yin(
        samples, fmin=LOW_HZ, fmax=HIGH_HZ, sr=rate, frame_length=_FRAME, hop_length=_HOP
    )
    rms = librosa.feature.rms(y=samples, frame_length=_FRAME, hop_length=_HOP)[0]
    loud = rms[: f0.size] > _AUDIBLE * rms.max()
    return float(np.median(f0[: rms.size][loud]))


def aubio_yinfft(samples: Samples, rate: int) -> float | None:
    """The program aubiopitch with its yinfft method, median of the frames in the range."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "hit.wav")
        soundfile.write(path, samples, rate)
        command = ["aubiopitch", "-i", str(path), "-p", "yinfft", "-B", str(_FRAME)]
        command += ["-H", str(_HOP), "-s", "-40"]
        told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    found = np.array([float(f) for f in re.findall(r"^[\d.]+ ([\d.]+)$", told, re.MULTILINE)])
    found = found[(found >= LOW_HZ) & (found <= HIGH_HZ)]
    return float(np.median(found)) if found.size else None


def trackers() -> dict[str, Tracker | None]:
    """Every tracker by name; None for one that is not installed."""
    return {
        "lowest spectral peak": lowest_peak,
        "librosa pyin": librosa_pyin,
        "librosa yin": librosa_yin,
        "aubio yinfft": aubio_yinfft if shutil.which("aubiopitch") else None,
    }
