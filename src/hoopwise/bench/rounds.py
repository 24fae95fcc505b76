"""A round of taps: what is wanted, what was kept, which place is next.

A place is a rod's number, and half more halfway to the next rod clockwise.
"""

from dataclasses import dataclass, field, replace
from typing import Any, Literal

from hoopwise.plan.order import star_order

Order = Literal["around", "star", "halfway"]
Source = Literal["microphone", "files", "practice"]
Processing = Literal["raw", "on", "unknown"]
Purpose = Literal["even", "seat"]


@dataclass(frozen=True)
class KeptTap:
    """A tap that counts."""

    take: str
    """Name of its recording in the store."""
    rod: float | None
    """Its place; None when it belongs to none."""
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
    order: tuple[float, ...]
    """Every place of the round once, in working order."""
    wanted: tuple[int, ...]
    """Taps wanted at each of ``places``."""
    taps: tuple[KeptTap, ...] = ()
    chosen: float | None = None
    """Place that the person asked for next."""
    doubted: tuple[float, ...] = ()
    """Places whose taps were once dropped for not sounding alike."""
    processing: Processing = "unknown"
    settings: dict[str, bool | int | float | str | None] = field(default_factory=dict)
    began: str = ""
    reading: dict[str, Any] | None = None
    plan: dict[str, Any] | None = None
    turned: tuple[float, ...] | None = None
    """Turns really made after this round's reading; None as long as there are none."""

    @property
    def places(self) -> tuple[float, ...]:
        """Where this round is tapped, clockwise from rod 1."""
        return tuple(sorted(self.order))

    @property
    def counts(self) -> tuple[int, ...]:
        """Taps kept at each of ``places``."""
        return tuple(self.count(place) for place in self.places)

    def count(self, place: float) -> int:
        """Taps kept at a place."""
        return sum(tap.rod == place for tap in self.taps)

    def has_all(self, place: float) -> bool:
        """Whether a place has the taps that are wanted there."""
        return self.count(place) >= self.wanted[self.places.index(place)]

    @property
    def next_rod(self) -> float | None:
        """Where the next tap belongs; None when every place has its taps."""
        if self.chosen is not None:
            return self.chosen
        return next((place for place in self.order if not self.has_all(place)), None)

    def keep(self, tap: KeptTap) -> "Round":
        """The round with one more tap."""
        grown = replace(self, taps=(*self.taps, tap))
        if tap.rod is not None and grown.has_all(tap.rod):
            grown = replace(grown, chosen=None)
        return grown

    def take_back(self) -> "Round":
        """The round without its last tap."""
        return replace(self, taps=self.taps[:-1], chosen=None)

    def doubt(self, place: float) -> "Round":
        """The round without this place's taps, which did not sound alike."""
        left = tuple(tap for tap in self.taps if tap.rod != place)
        return replace(self, taps=left, doubted=(*self.doubted, place))

    def assign(self, take: str, place: float | None) -> "Round":
        """The round with one take given to a place, or to none."""
        taps = tuple(replace(t, rod=place) if t.take == take else t for t in self.taps)
        return replace(self, taps=taps)


def tap_order(rods: int, order: Order) -> tuple[float, ...]:
    """Places in working order.

    ``around`` goes clockwise, ``star`` across after each rod, ``halfway`` clockwise from
    each rod by the place halfway to the next.
    """
    if order == "star":
        return star_order(rods)
    around = range(1, rods + 1)
    return tuple(p for rod in around for p in ((rod, rod + 0.5) if order == "halfway" else (rod,)))


def taps_at_each(order: Order, taps_per_rod: int) -> int:
    """Taps wanted at each place: about as many in all, however many places there are."""
    return max(1, taps_per_rod // 2) if order == "halfway" else taps_per_rod
