"""From what was recorded at each place to taps that can be fitted together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hoopwise.errors import RecordingError, RoundError
from hoopwise.infer.taps.places import on_hoop, said, where
from hoopwise.listen import find_taps
from hoopwise.listen.types import Tap

FloatArray = NDArray[np.float64]

TapAtRod = tuple[float, FloatArray, float]
"""Rod number (half more: halfway to the next), samples, rate in Hz."""

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
    place: float
    """Number of the rod, or half more for halfway to the next."""
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

    rods: int
    """How many the drum has."""
    usable: tuple[Take, ...]
    left_out: tuple[int, ...]
    sentences: tuple[str, ...]

    def without(self, reasons: Mapping[int, str]) -> "Takes":
        """The same with some usable taps left out: places among these, and why."""
        gone = [(self.usable[place], why) for place, why in reasons.items()]
        told = (
            f"Tap {t.index + 1} {where(t.place, self.rods)} was left out: {why}; "
            f"tap {said(t.place, self.rods)} again."
            for t, why in gone
        )
        return replace(
            self,
            usable=tuple(t for p, t in enumerate(self.usable) if p not in reasons),
            left_out=(*self.left_out, *(t.index for t, _ in gone)),
            sentences=(*self.sentences, *told),
        )


def take_in(taps: Sequence[TapAtRod], rods: int) -> Takes:
    """Check a round and find the tap in each recording.

    Raises
    ------
    RoundError
        A rod is named that the drum lacks, or no recording holds a usable tap.
    """
    for number, (place, _, _) in enumerate(taps, 1):
        if not on_hoop(place, rods):
            raise RoundError(
                f"Tap {number} is said to be at rod {place:g}, but this drum has rods 1 to {rods} "
                "(and halfway to the next: 1.5, 2.5, …)."
            )
    usable: list[Take] = []
    left_out: list[int] = []
    sentences: list[str] = []
    found = [
        _one(k, place, np.asarray(samples, dtype=np.float64), float(rate))
        for k, (place, samples, rate) in enumerate(taps)
    ]
    plain = sum(isinstance(take, Take) and not take.suspect for take in found)
    suspects = sum(isinstance(take, Take) and take.suspect for take in found)
    enough = plain >= max(_PLAIN, 2 * suspects)
    for index, ((place, _, _), take) in enumerate(zip(taps, found, strict=True)):
        if isinstance(take, Take) and take.suspect and not enough:
            take = TWICE
        if isinstance(take, Take):
            usable.append(take)
        else:
            left_out.append(index)
            sentences.append(f"Tap {index + 1} {where(place, rods)} was left out: {take}.")
    if not usable:
        reason = f" {sentences[0]}" if sentences else " The round is empty."
        raise RoundError(f"No tap of this round can be used.{reason}")
    return Takes(rods, tuple(usable), tuple(left_out), tuple(sentences))


def _one(index: int, place: float, samples: FloatArray, rate: float) -> Take | str:
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
    return Take(index, place, samples[start:stop], rate, tap, tap.onset_s - start / rate, bool(bad))
