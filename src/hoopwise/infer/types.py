"""What a round of taps tells about a head: tension at each rod, note, trust, advice.

Deviations are fractions of the mean tension at the rods: +0.05 is 5 % tighter.
Rods are numbered from 1, clockwise seen from the head that is being worked on.
"""

from dataclasses import dataclass
from typing import Literal

from hoopwise.listen.types import Note

TrustLevel = Literal["high", "low", "none"]
OtherHead = Literal["off", "muted", "ringing"]


@dataclass(frozen=True)
class RodReading:
    """One rod: its tension against the mean, and what an ear hears beside it."""

    rod: int
    deviation: float
    deviation_sd: float
    """One standard deviation; 1.645 of them each way make a 90 % interval."""
    taps: int
    heard_low_hz: float | None = None
    """The low pitch that an ear hears near this rod; None without a usable tap."""
    heard_low_cents: float | None = None
    """That pitch against its mean over the rods."""
    heard_ring_hz: float | None = None
    """The edge ring heard near this rod."""


@dataclass(frozen=True)
class HeadMode:
    """One mode of the head as measured, named by nodal diameters and circles (m, n)."""

    diameters: int | None
    """None: could not be named."""
    circles: int | None
    frequency_hz: float
    frequency_sd_hz: float
    t60_s: float
    level_db: float
    """Against the strongest mode of the round."""


@dataclass(frozen=True)
class Trust:
    """Whether the fit explains the taps, in a word and in sentences."""

    level: TrustLevel
    sentences: tuple[str, ...]
    misfit: float
    """Residual of the fit over its expected size; about 1 when all is well."""
    sure_harmonics: tuple[int, ...] = ()
    """Harmonics around the hoop whose size is known to better than half the prior."""


@dataclass(frozen=True)
class SecondAnswer:
    """Another set of deviations that explains the taps nearly as well."""

    deviations: tuple[float, ...]
    odds: float
    """How likely it is against the first, 0 to 1."""


@dataclass(frozen=True)
class Ask:
    """The one thing to do next that tells the most."""

    kind: Literal["tap", "trial turn", "harder tip", "halfway"]
    """``halfway``: tap the next round once at each rod and once halfway to the next."""
    rod: int
    """0 where it concerns no one rod."""
    turns: float = 0.0
    """For a trial turn: how far, + tightens."""
    sentence: str = ""
    or_halfway: bool = False
    """With a harder tip: tapping halfway too does some of the same with the tip at hand."""


@dataclass(frozen=True)
class Reading:
    """Everything that one round says about a head."""

    rods: tuple[RodReading, ...]
    mean_tension_n_m: float
    mean_tension_sd_n_m: float
    note: Note
    modes: tuple[HeadMode, ...]
    beats_hz: tuple[float, ...]
    """Beat rates of the pairs that an ear can hear."""
    trust: Trust
    advice: tuple[str, ...]
    """Sentences: what was left out, what to tap again, what decides."""
    ask: Ask | None = None
    second_answer: SecondAnswer | None = None
    deviation_cov: tuple[tuple[float, ...], ...] = ()
    """(N, N) covariance of the deviations."""
    contact_ms: float | None = None
    """Estimated time the tip stays on the head."""
    left_out: tuple[int, ...] = ()
    """Indices of taps (in the order given) that were not used."""

    @property
    def mean_tension(self) -> float:
        """Mean tension at the rods (N/m)."""
        return self.mean_tension_n_m

    @property
    def rms(self) -> float:
        """Root mean square of the deviations."""
        return float((sum(r.deviation**2 for r in self.rods) / len(self.rods)) ** 0.5)
