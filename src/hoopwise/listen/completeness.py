"""Tells whether a sound file is all there, which the decoders do not always say.

libsndfile reads a wav or aiff that lost its end as if it had been made that short, and an
ogg likewise; only the sizes in the headers and the mark of the last page tell.
"""

import re
from pathlib import Path
from typing import Any, Final

_UNKNOWN_SIZES: Final = (0, 0x7FFFFFFF, 0xFFFFFFFF)
"""Written by programs that stream and never learn the length."""
_OGG_END: Final = 0x04
_TAIL_BYTES: Final = 1 << 17


def missing_part(path: Path, handle: Any) -> str | None:
    """What is missing at the end, in words; None when the file is complete.

    ``handle`` is the open soundfile.SoundFile of ``path``.
    """
    if handle.format in ("WAV", "WAVEX", "AIFF"):
        return _short_chunk(handle.extra_info)
    if handle.format == "OGG" and not _has_last_page(path):
        return "its last page is missing"
    return None


def _short_chunk(log: str) -> str | None:
    """Compare the size that a header claims with what the file holds (libsndfile's log)."""
    for claimed, there in re.findall(r"(?:data|SSND) : (\d+) \(should be (\d+)\)", log):
        claim = int(claimed)
        # Streamed files claim the largest size, less the header in front of it.
        if claim not in _UNKNOWN_SIZES and not 0 <= 0xFFFFFFFF - claim < 4096 < claim:
            return f"it should hold {claim} bytes of sound and holds {there}"
    return None


def _has_last_page(path: Path) -> bool:
    """Whether the last Ogg page is marked as the end of its stream (RFC 3533, section 6)."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - _TAIL_BYTES))
        tail = file.read()
    start = tail.rfind(b"OggS")
    return start >= 0 and start + 5 < len(tail) and bool(tail[start + 5] & _OGG_END)
