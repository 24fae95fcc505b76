"""Sound on the wire: one binary frame is a header and a block of float32 samples.

Little-endian: bytes 0-3 the letters ``HWA1``, 4-7 stream number (uint32), 8-15 number
of the block's first frame on the audio clock (float64, a whole number), then one
float32 per frame, full scale 1.
"""

import struct
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RecordingError

HEADER: Final = struct.Struct("<4sId")
MAGIC: Final = b"HWA1"
MAX_FRAMES: Final = 16384
MAX_BYTES: Final = HEADER.size + 4 * MAX_FRAMES


@dataclass(frozen=True)
class Block:
    """A block of sound with its place on the audio clock."""

    stream: int
    frame: int
    samples: NDArray[np.float32]

    @property
    def end(self) -> int:
        """Number of the frame after the last."""
        return self.frame + len(self.samples)


def unpack(data: bytes) -> Block:
    """The block in a binary frame.

    Raises
    ------
    RecordingError
        It is not sound as this protocol sends it.
    """
    if len(data) < HEADER.size or len(data) > MAX_BYTES or (len(data) - HEADER.size) % 4:
        raise RecordingError(
            f"A sound block has {len(data)} bytes; {HEADER.size} to {MAX_BYTES}, "
            "a header and whole float32 samples, are legal."
        )
    magic, stream, frame = HEADER.unpack_from(data)
    if magic != MAGIC:
        raise RecordingError("A sound block does not begin with HWA1.")
    if not (0.0 <= frame < 2.0**52 and frame == int(frame)):
        raise RecordingError(f"A sound block's frame number {frame!r} is not a whole number.")
    samples = np.frombuffer(data, dtype="<f4", offset=HEADER.size).astype(np.float32)
    if not np.all(np.isfinite(samples)) or np.any(np.abs(samples) > 64.0):
        raise RecordingError("A sound block holds samples that are no sound.")
    return Block(stream=stream, frame=int(frame), samples=samples)


def pack(block: Block) -> bytes:
    """The binary frame of a block."""
    return (
        HEADER.pack(MAGIC, block.stream, float(block.frame)) + block.samples.astype("<f4").tobytes()
    )
