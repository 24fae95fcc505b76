"""Decodes what soundfile cannot (phones' m4a) with ffmpeg, if the machine has it."""

import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hoopwise.errors import RecordingError

_LONGEST_S = 600.0


def is_mp4(path: Path) -> bool:
    """Whether the content, not the name, is an MP4 container (ISO/IEC 14496-12, ftyp box)."""
    with path.open("rb") as file:
        return file.read(12)[4:8] == b"ftyp"


@contextmanager
def decoded(path: Path) -> Iterator[Path]:
    """Yield a temporary lossless copy of a file; it is removed afterwards.

    Raises
    ------
    RecordingError
        ffmpeg is not installed, or cannot decode the file.
    """
    ffmpeg = shutil.which("ffmpeg")
    if ffmpeg is None:
        raise RecordingError(
            f"{path} is an m4a file, which needs ffmpeg to be read; install ffmpeg, "
            "or save the recording as wav or flac."
        )
    with tempfile.TemporaryDirectory(prefix="hoopwise-") as folder:
        target = Path(folder, "sound.w64")  # unlike wav it has no limit of 4 GB
        command = [ffmpeg, "-nostdin", "-v", "error", "-i", str(path.resolve())]
        command += ["-vn", "-map", "0:a:0", "-c:a", "pcm_f32le", str(target)]
        try:
            done = subprocess.run(
                command, capture_output=True, text=True, timeout=_LONGEST_S, check=False
            )
        except subprocess.TimeoutExpired as error:
            raise RecordingError(f"{path} took ffmpeg over ten minutes; cut it.") from error
        if done.returncode != 0 or not target.is_file():
            raise RecordingError(
                f"{path} cannot be decoded; it is damaged or cut short. Copy it again from "
                "where it was recorded, or save it as wav."
            )
        yield target
