"""``hoopwise read --drum``: recordings of one round of taps to tension at each rod."""

import tomllib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Side, load_drum
from hoopwise.errors import RoundError
from hoopwise.infer.types import OtherHead, Reading
from hoopwise.listen import find_taps
from hoopwise.listen.blocks import load_recording
from hoopwise.plan.headwork import HeadWork
from hoopwise.plan.types import TurnPlan

FloatArray = NDArray[np.float64]

_BEFORE_S = 0.3


def read_rods(
    recordings: Sequence[Path],
    drum_file: str,
    rods: str,
    side: Side,
    other_head: OtherHead,
    channel: int | None,
) -> tuple[Reading, TurnPlan | None, str]:
    """Reading and turns of a round, and why there are no turns if there are none.

    Raises
    ------
    RoundError
        Taps and rods do not fit together.
    DrumError, RecordingError
        The drum file or a recording cannot be read.
    """
    drum = load_drum(drum_file)
    named = named_rods(rods)
    cut = [tap for path in recordings for tap in cut_taps(path, channel)]
    if not cut:
        raise RoundError("There is no tap in these recordings.")
    if len(cut) % len(named):
        raise RoundError(
            f"{len(cut)} taps were found for {len(named)} rods named; tap each rod equally often, "
            "or name a rod for every tap."
        )
    times = len(cut) // len(named)
    taps = [(rod, *cut[i * times + k]) for i, rod in enumerate(named) for k in range(times)]
    work = HeadWork(drum, side, other_head)
    reading = work.read(taps)
    try:
        return reading, work.advise(), ""
    except RoundError as error:
        return reading, None, str(error)


def named_rods(text: str) -> list[int]:
    """Rods from ``1,2,3``, or from a TOML file with ``rods = [1, 2, 3]``."""
    path = Path(text)
    if path.suffix == ".toml":
        try:
            data = tomllib.loads(path.read_text("utf-8"))
        except (OSError, tomllib.TOMLDecodeError) as error:
            raise RoundError(f"{path}: cannot be read as a list of rods ({error}).") from None
        rods = data.get("rods", data.get("round", {}).get("rods"))
        if rods is None:
            rods = data.get("taps", {}).get("rod")  # what `hoopwise simulate` writes
    else:
        rods = [int(part) if part.strip().isdigit() else part for part in text.split(",")]
    if not rods or not all(isinstance(rod, int) for rod in rods):
        raise RoundError(f"{text}: name the rods as 1,2,3 in the order they were tapped.")
    return [int(rod) for rod in rods]


def cut_taps(path: Path, channel: int | None) -> list[tuple[FloatArray, float]]:
    """Each tap of a recording with a little sound before it, up to the next one."""
    samples, rate = load_recording(path, channel)
    found = find_taps(samples, rate)
    pieces = []
    for i, tap in enumerate(found):
        start = max(0, round((tap.onset_s - _BEFORE_S) * rate))
        stop = round((found[i + 1].onset_s - 0.01) * rate) if i + 1 < len(found) else len(samples)
        pieces.append((np.asarray(samples[start:stop], dtype=np.float64), float(rate)))
    return pieces
