"""What is known of a drum: shell, heads, hoops, wires, as frozen records in SI units."""

import math
from dataclasses import dataclass, field
from typing import Literal

from hoopwise.errors import DrumError

Kind = Literal["snare", "tom", "kick"]
Side = Literal["batter", "snare_side", "resonant"]
HoopKind = Literal["flanged", "cast", "wood"]


@dataclass(frozen=True)
class Film:
    """Polyester film of one head: all plies together act as one sheet.

    Defaults for density, modulus and Poisson's ratio are those of polyester film
    (film maker's bulletin H-37232-3, typical values).
    """

    thickness_m: float
    """All plies together."""
    plies: int = 1
    density_kg_m3: float = 1390.0
    modulus_pa: float = 5.0e9
    poisson: float = 0.38
    coating_kg_m2: float = 0.0

    @property
    def mass_kg_m2(self) -> float:
        """Mass per area, coating included (kg/m²)."""
        return self.thickness_m * self.density_kg_m3 + self.coating_kg_m2

    @property
    def stretch_stiffness_n_m(self) -> float:
        """Young's modulus times thickness (N/m)."""
        return self.modulus_pa * self.thickness_m


@dataclass(frozen=True)
class Hoop:
    """Rim that the rods pull down on; stiffnesses are those of the ring's section."""

    kind: HoopKind
    thickness_m: float
    bending_n_m2: float
    """E I for bending out of the hoop's plane (N m²)."""
    torsion_n_m2: float
    """G J of the section (N m²)."""


@dataclass(frozen=True)
class Head:
    """One head: its film."""

    film: Film


@dataclass(frozen=True)
class Wires:
    """Snare wires under the snare-side head."""

    strands: int = 20
    length_m: float = 0.36


@dataclass(frozen=True)
class Drum:
    """A drum as its owner describes it.

    ``second`` is the head opposite the batter: the snare side of a snare, the
    resonant head of a tom or kick; None when the drum has only one.
    """

    name: str
    kind: Kind
    diameter_m: float
    depth_m: float
    rods: int
    hoop: Hoop
    batter: Head
    second: Head | None = None
    wires: Wires | None = None
    shell: str = ""
    thread: str = "12-24 UNC"
    thread_pitch_m: float = 25.4e-3 / 24.0
    vent_diameter_m: float = 0.010
    source: str = field(default="", compare=False)
    """Where the description came from, for messages."""

    @property
    def radius_m(self) -> float:
        """Radius of the bearing edge, taken as half the nominal diameter."""
        return 0.5 * self.diameter_m

    @property
    def second_side(self) -> Side:
        """What the head opposite the batter is called on this kind of drum."""
        return "snare_side" if self.kind == "snare" else "resonant"

    def head(self, side: Side) -> Head:
        """The head on a side.

        Raises
        ------
        DrumError
            The drum has no head there.
        """
        if side == "batter":
            return self.batter
        if side == self.second_side and self.second is not None:
            return self.second
        where = f" ({self.source})" if self.source else ""
        raise DrumError(f"{self.name}{where} describes no head on its {side.replace('_', ' ')}.")

    def rod_angles(self) -> tuple[float, ...]:
        """Angle of each rod around the hoop (rad), rod 1 at 0, growing with the number."""
        return tuple(2.0 * math.pi * i / self.rods for i in range(self.rods))
