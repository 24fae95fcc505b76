"""From what was recorded at each rod to taps that can be fitted together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RecordingError, RoundError
from hoopwise.listen import find_taps
from hoopwise.listen.types import Tap

FloatArray = NDArray[np.float64]

TapAtRod = tuple[int, FloatArray, float]
"""Rod number, samples, rate in Hz."""

_BEFORE_S = 0.30
_LEAST_S = 0.2
_LONGEST_S = 1.2
TWICE = "double hit"
_USELESS = frozenset({"clipped", TWICE, "cut short"})
_PLAIN = 6
"""Suspects are taken along where so many taps, and twice as many, are above suspicion."""


@dataclass(frozen=True)
class Take:
    """One usable tap: where it was made and its sound from shortly before the onset."""

    index: int
    """Place in the round as given, from 0."""
    rod: int
    samples: FloatArray
    rate: float
    tap: Tap
    onset_s: float
    """Onset within ``samples``."""
    suspect: bool = False
    """It sounds struck twice; beside the other taps the fit can tell that better."""


@dataclass(frozen=True)
class Takes:
    """What of a round can be used, and why the rest cannot."""

    usable: tuple[Take, ...]
    left_out: tuple[int, ...]
    sentences: tuple[str, ...]

    def without(self, reasons: Mapping[int, str]) -> "Takes":
        """The same with some usable taps left out: places among these, and why."""
        gone = [(self.usable[place], why) for place, why in reasons.items()]
        said = (
            f"Tap {t.index + 1} at rod {t.rod} was left out: {why}; tap rod {t.rod} again."
            for t, why in gone
        )
        return Takes(
            usable=tuple(t for p, t in enumerate(self.usable) if p not in reasons),
            left_out=(*self.left_out, *(t.index for t, _ in gone)),
            sentences=(*self.sentences, *said),
        )


def take_in(taps: Sequence[TapAtRod], rods: int) -> Takes:
    """Check a round and find the tap in each recording.

    Raises
    ------
    RoundError
        A rod is named that the drum lacks, or no recording holds a usable tap.
    """
    for number, (rod, _, _) in enumerate(taps, 1):
        if not 1 <= rod <= rods:
            raise RoundError(
                f"Tap {number} is said to be at rod {rod}, but this drum has rods 1 to {rods}."
            )
    usable: list[Take] = []
    left_out: list[int] = []
    sentences: list[str] = []
    found = [
        _one(k, rod, np.asarray(samples, dtype=np.float64), float(rate))
        for k, (rod, samples, rate) in enumerate(taps)
    ]
    plain = sum(isinstance(take, Take) and not take.suspect for take in found)
    suspects = sum(isinstance(take, Take) and take.suspect for take in found)
    enough = plain >= max(_PLAIN, 2 * suspects)
    for index, ((rod, _, _), take) in enumerate(zip(taps, found, strict=True)):
        if isinstance(take, Take) and take.suspect and not enough:
            take = TWICE
        if isinstance(take, Take):
            usable.append(take)
        else:
            left_out.append(index)
            sentences.append(f"Tap {index + 1} at rod {rod} was left out: {take}.")
    if not usable:
        reason = f" {sentences[0]}" if sentences else " The round is empty."
        raise RoundError(f"No tap of this round can be used.{reason}")
    return Takes(tuple(usable), tuple(left_out), tuple(sentences))


def _one(index: int, rod: int, samples: FloatArray, rate: float) -> Take | str:
    try:
        # Reverberation is not asked about: the fit's own misfit tells of it, and sooner.
        found = find_taps(samples, rate, judge="bounces")
    except RecordingError as error:
        return str(error).rstrip(".")
    if not found:
        return "it holds no tap"
    tap = max(found, key=lambda t: t.strength_db)
    bad = [flaw for flaw in tap.flaws if flaw in _USELESS]
    if bad and bad != [TWICE]:
        return " and ".join(bad)
    # The fit weighs noise itself, so a tap is heard on until the next strike.
    later = [t.onset_s for t in found if t.onset_s > tap.onset_s]
    end_s = min([tap.onset_s + _LONGEST_S, len(samples) / rate, *later])
    if end_s - tap.onset_s < _LEAST_S:
        return "it is heard for under 0.2 s"
    start = max(0, round((tap.onset_s - _BEFORE_S) * rate))
    stop = round(end_s * rate)
    return Take(index, rod, samples[start:stop], rate, tap, tap.onset_s - start / rate, bool(bad))
