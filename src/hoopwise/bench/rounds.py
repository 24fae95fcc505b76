"""A round of taps: what is wanted, what was kept, which rod is next."""

from dataclasses import dataclass, field, replace
from typing import Any, Literal

from hoopwise.plan.order import star_order

Order = Literal["around", "star"]
Source = Literal["microphone", "files", "practice"]
Processing = Literal["raw", "on", "unknown"]
Purpose = Literal["even", "seat"]


@dataclass(frozen=True)
class KeptTap:
    """A tap that counts."""

    take: str
    """Name of its recording in the store."""
    rod: int | None
    onset_s: float
    strength_db: float
    snr_db: float
    colour_db: tuple[float, ...] = ()
    name: str = ""
    """File it came from."""


@dataclass(frozen=True)
class Round:
    """One round on one head."""

    number: int
    purpose: Purpose
    source: Source
    order: tuple[int, ...]
    wanted: tuple[int, ...]
    """Taps wanted at each rod, rod 1 first."""
    taps: tuple[KeptTap, ...] = ()
    chosen: int | None = None
    """Rod that the person asked for next."""
    doubted: tuple[int, ...] = ()
    """Rods whose taps were once dropped for not sounding alike."""
    processing: Processing = "unknown"
    settings: dict[str, bool | int | float | str | None] = field(default_factory=dict)
    began: str = ""
    reading: dict[str, Any] | None = None
    plan: dict[str, Any] | None = None
    turned: tuple[float, ...] | None = None
    """Turns really made after this round's reading; None as long as there are none."""

    def count(self, rod: int) -> int:
        """Taps kept at a rod."""
        return sum(tap.rod == rod for tap in self.taps)

    @property
    def next_rod(self) -> int | None:
        """Where the next tap belongs; None when every rod has its taps."""
        if self.chosen is not None:
            return self.chosen
        return next((r for r in self.order if self.count(r) < self.wanted[r - 1]), None)

    def keep(self, tap: KeptTap) -> "Round":
        """The round with one more tap."""
        grown = replace(self, taps=(*self.taps, tap))
        if tap.rod is not None and grown.count(tap.rod) >= self.wanted[tap.rod - 1]:
            grown = replace(grown, chosen=None)
        return grown

    def take_back(self) -> "Round":
        """The round without its last tap."""
        return replace(self, taps=self.taps[:-1], chosen=None)

    def doubt(self, rod: int) -> "Round":
        """The round without this rod's taps, which did not sound alike."""
        left = tuple(tap for tap in self.taps if tap.rod != rod)
        return replace(self, taps=left, doubted=(*self.doubted, rod))

    def assign(self, take: str, rod: int | None) -> "Round":
        """The round with one take given to a rod, or to none."""
        taps = tuple(replace(t, rod=rod) if t.take == take else t for t in self.taps)
        return replace(self, taps=taps)


def tap_order(rods: int, order: Order) -> tuple[int, ...]:
    """Rod numbers in working order.

    ``around`` goes clockwise, ``star`` across after each rod.
    """
    return tuple(range(1, rods + 1)) if order == "around" else star_order(rods)
