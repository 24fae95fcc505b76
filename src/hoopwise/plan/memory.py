"""What a head's work remembers from one round to the next, as plain numbers."""

from dataclasses import dataclass

from hoopwise.drum import Side
from hoopwise.infer.types import OtherHead


@dataclass(frozen=True)
class Memory:
    """The last round of a head, and what was turned after it; N rods."""

    drum: str
    """Name, to notice when another drum is read with it."""
    side: Side
    other_head: OtherHead
    rounds: int
    """Rounds read so far."""
    note_hz: float
    mean_tension_n_m: float
    deviation: tuple[float, ...]
    """(N,) what is believed of the deviations before the turns, fractions of the mean."""
    covariance: tuple[tuple[float, ...], ...]
    """(N, N) of the same."""
    gain: float
    """Share of a turn that arrives as tension, against the model, as learned so far."""
    gain_sd: float
    advised: tuple[float, ...]
    """(N,) turns that were advised, + tightens."""
    made: tuple[float, ...]
    """(N,) turns that were really made."""
