"""Recordings of a round to taps at rods; what cannot be used is told and stops no other."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from hoopwise.cli.round_files import Part
from hoopwise.errors import RecordingError, RoundError
from hoopwise.infer.taps.takes import TapAtRod
from hoopwise.infer.taps.visits import CutTap, deal
from hoopwise.listen import find_taps
from hoopwise.listen.blocks import load_recording

_BEFORE_S: Final = 0.3
_NEXT_S: Final = 0.01


@dataclass
class Gathered:
    """Taps of a round, and what is to be said about them."""

    taps: list[TapAtRod] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    """Which reading of a count was taken."""
    not_read: dict[str, str] = field(default_factory=dict)
    """Recordings that cannot be used, and why, with the rods that they were to tell."""
    unclear: str = ""
    """Why taps could not be dealt to rods; ``taps`` are then of unknown rods."""


def gather(parts: Sequence[Part], channel: int | None) -> Gathered:
    """Cut every recording into taps and deal them to rods.

    Raises
    ------
    RecordingError
        No recording can be read.
    """
    told = Gathered()
    loose: list[TapAtRod] = []
    for part in parts:
        cut = _cut_part(part, channel, told)
        if not cut:
            continue
        try:
            dealt = deal(cut, part.rods)
        except RoundError as error:
            told.unclear = told.unclear or str(error)
            loose += [(1, tap.samples, tap.rate) for tap in cut]
            continue
        told.taps += [(r, t.samples, t.rate) for r, t in zip(dealt.rods, cut, strict=True)]
        told.sentences += [dealt.sentence] if dealt.sentence else []
    if told.unclear:
        told.taps = [(1, samples, rate) for _, samples, rate in told.taps] + loose
    if not told.taps:
        raise RecordingError(" ".join(told.not_read.values()))
    return told


def _cut_part(part: Part, channel: int | None, told: Gathered) -> list[CutTap]:
    cut: list[CutTap] = []
    for number, path in enumerate(part.files):
        try:
            found = cut_taps(path, channel, number)
            why = "" if found else f"{path} holds no tap."
        except RecordingError as error:
            found, why = [], str(error)
        cut += found
        if why:
            told.not_read[str(path)] = _untold(part, why)
    return cut


def _untold(part: Part, why: str) -> str:
    if len(part.files) > 1:
        return why
    rods = sorted(set(part.rods))
    names = ", ".join(f"{rod:g}" for rod in rods)
    word = f"rod {names}" if len(rods) == 1 else f"rods {names}"
    return f"Nothing was heard at {word}: {why}"


def cut_taps(path: Path, channel: int | None, number: int = 0) -> list[CutTap]:
    """Each tap of a recording with a little sound before it, up to the next one.

    Raises
    ------
    RecordingError
        The recording cannot be read, or is silent.
    """
    samples, rate = load_recording(path, channel)
    found = find_taps(samples, rate, judge="none")  # each tap is judged when it is taken in
    taps = []
    for i, tap in enumerate(found):
        start = max(0, round((tap.onset_s - _BEFORE_S) * rate))
        last = i + 1 == len(found)
        stop = len(samples) if last else round((found[i + 1].onset_s - _NEXT_S) * rate)
        piece = np.asarray(samples[start:stop], dtype=np.float64)
        taps.append(CutTap(piece, float(rate), tap.onset_s - start / rate, tap.onset_s, number))
    return taps
