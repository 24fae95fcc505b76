"""A simulated uneven drum that answers taps and turns, for demos, practice and tests.

What is hidden in it, beyond uneven rods: a seat that keeps its own unevenness whatever
the rods do, a film that slides over the edge a little more or less, a share of each turn
that the seat swallows, ring times that scatter, and a hand that hits and turns roughly.
The sizes of all these are estimates (no source).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hoopwise.acoustics.head_model import HeadModel, head_model
from hoopwise.acoustics.limits import RATE_RANGE_HZ, check_number
from hoopwise.acoustics.stretch import even_pull
from hoopwise.acoustics.two_heads import BASIS
from hoopwise.drum import Drum, Side
from hoopwise.errors import RangeError
from hoopwise.render.build import OtherHead, drum_voice, usual_tension
from hoopwise.render.microphone import Microphone, usual_microphone
from hoopwise.render.pulse import CONTACT_RANGE_S, check_contact
from hoopwise.render.strike import Strike, Take, record, rod_place
from hoopwise.render.voice import Place, Voice

Floats = NDArray[np.float64]

RATE = 48000
LEAD_S = 0.3
"""Every tap starts with this much of the room's noise before its onset."""
LENGTH_S = 0.9
_TAP_N_S = 0.01
_PEAK = 0.3
_LEAST_DEVIATION = -0.35
_HAND_TURN = 1.0 / 128
"""A hand stops within this of the turn it means (turns)."""


@dataclass(frozen=True, eq=False)
class PracticeDrum:
    """One head of a simulated drum at one moment; turning it gives another."""

    drum: Drum
    side: Side
    pull_m: tuple[float, ...]
    """What the rods do (m), by rod."""
    seat_m: tuple[float, ...]
    """What the seat adds (m), by rod; turns do not change it."""
    arrives: float
    """Share of a turn that reaches the film."""
    slide: float
    other_head: OtherHead
    ring_factor: tuple[float, ...]
    microphone: Microphone | None = None
    rate: int = RATE

    @cached_property
    def voice(self) -> Voice:
        """The head's modes as it stands."""
        return drum_voice(
            self.drum,
            self.side,
            rod_pull_m=self._pulls,
            other_head=self.other_head,
            slide=self.slide,
            ring_factor=self.ring_factor,
        )

    @property
    def lug_tensions(self) -> Floats:
        """(N,) true tension at each rod (N/m)."""
        tensions: Floats = _model(self.drum, self.side, self.slide).rim.lug_tension @ self._pulls
        return tensions

    @property
    def mean_tension(self) -> float:
        """True mean tension at the rods (N/m)."""
        return float(self.lug_tensions.mean())

    def deviations(self) -> Floats:
        """(N,) true deviations of the rods' tensions, fractions of their mean."""
        tensions = self.lug_tensions
        deviations: Floats = tensions / tensions.mean() - 1.0
        return deviations

    def tap(
        self,
        rod: float,
        *,
        rng: np.random.Generator,
        contact_s: float = 0.003,
        strength: float = 1.0,
        noise_db: float | None = -50.0,
        place_sd: tuple[float, float] = (0.002, 0.026),
        length_s: float = LENGTH_S,
    ) -> Floats:
        """Samples of one tap at a rod, `LEAD_S` of noise before its onset.

        Parameters
        ----------
        rod
            1 to N; half more is halfway to the next.
        rng
            The tapper's chance: place, strength, contact, noise.
        contact_s
            Time the tip stays on the head (s).
        strength
            1 is an ordinary light tap.
        noise_db
            Noise (rms) against the peak of an ordinary tap; None for none.
        place_sd
            Scatter of the place: along the radius (m), around (rad).
        length_s
            From the onset to the end.

        Raises
        ------
        RangeError
            There is no such rod, or contact or strength lies outside the model.
        """
        aim = rod_place(self.voice, rod)
        place = Place(
            float(np.clip(aim.r_m + place_sd[0] * rng.standard_normal(), 0, self.drum.radius_m)),
            aim.angle_rad + place_sd[1] * rng.standard_normal(),
        )
        scatter = np.exp(0.15 * rng.standard_normal() * np.array([1.0, 0.3]))
        check_contact(contact_s)
        contact = float(np.clip(contact_s * scatter[1], *CONTACT_RANGE_S))
        strike = Strike(place, _TAP_N_S * strength * scatter[0], contact)
        take = Take(self.usual_microphone, length_s, LEAD_S, float(self.rate))
        samples = (_PEAK / self._usual_peak) * record(self.voice, strike, take)
        if noise_db is not None:
            samples += self.noise(samples.size, rng, noise_db)
        return samples

    def noise(self, count: int, rng: np.random.Generator, noise_db: float) -> Floats:
        """Samples of the room: white, dB (rms) against the peak of an ordinary tap."""
        return _PEAK * 10 ** (noise_db / 20) * rng.standard_normal(count)

    def turned(
        self, turns: Sequence[float], *, rng: np.random.Generator, hand_error: float = 0.10
    ) -> "PracticeDrum":
        """The drum after its rods were turned.

        Parameters
        ----------
        turns
            (N,) turns wanted, + tightens; a rod at 0 is left alone.
        hand_error
            How far a turn misses, one standard deviation as a fraction of it; on top of
            that a hand stops within 1/128 turn.

        Raises
        ------
        RangeError
            There is not one turn for each rod.
        """
        wanted = np.asarray(turns, dtype=float)
        if wanted.shape != (self.drum.rods,) or not np.isfinite(wanted).all():
            raise RangeError(f"{self.drum.rods} rods need {self.drum.rods} turns.")
        made = wanted * (1 + hand_error * rng.standard_normal(wanted.size))
        made += np.where(wanted != 0, rng.uniform(-_HAND_TURN, _HAND_TURN, wanted.size), 0.0)
        pull = np.asarray(self.pull_m) + self.arrives * self.drum.thread_pitch_m * made
        return replace(self, pull_m=tuple(float(p) for p in pull))

    @property
    def _pulls(self) -> Floats:
        pulls: Floats = np.asarray(self.pull_m) + np.asarray(self.seat_m)
        return pulls

    @cached_property
    def usual_microphone(self) -> Microphone:
        """The microphone that listens to every tap."""
        return self.microphone or usual_microphone(self.voice)

    @cached_property
    def _usual_peak(self) -> float:
        """Median over the rods of an ordinary tap's peak."""
        take = Take(self.usual_microphone, length_s=0.02, rate_hz=float(self.rate))
        peaks = [
            np.max(np.abs(record(self.voice, Strike(rod_place(self.voice, rod), _TAP_N_S), take)))
            for rod in range(1, self.drum.rods + 1)
        ]
        return float(np.median(peaks))


def practice_drum(
    drum: Drum,
    side: Side = "batter",
    seed: int = 0,
    uneven: float = 0.095,
    *,
    other_head: OtherHead = "off",
    tension_n_m: float | None = None,
    microphone: Microphone | None = None,
    rate: int = RATE,
) -> PracticeDrum:
    """A practice drum whose lug tensions scatter by ``uneven`` (rms, fraction of the mean).

    Parameters
    ----------
    drum, side
        The drum and the head to even.
    seed
        The same seed gives the same drum.
    uneven
        Rms deviation of the lug tensions, from 0 up to 0.2.
    other_head
        Off, held still, or ringing.
    tension_n_m
        Mean tension; None: a usual one, give or take a tenth.
    microphone, rate
        None: `usual_microphone`; samples per second.

    Raises
    ------
    RangeError
        The unevenness, the rate, a size or a tension lies outside the model.
    DrumError
        The drum has no head on that side.
    """
    check_number("a sample rate", rate, RATE_RANGE_HZ, "Hz")
    if not 0 <= uneven <= 0.2:
        raise RangeError(f"an unevenness of {uneven:g} is outside 0 to 0.2 (20 % of the mean).")
    rng = np.random.default_rng((seed, drum.rods, side == "batter"))
    slide = float(rng.uniform(0.35, 0.65))
    arrives = float(rng.uniform(0.75, 0.95))
    tension = usual_tension(drum, side) * float(rng.uniform(0.9, 1.1))
    tension = tension if tension_n_m is None else tension_n_m
    model = _model(drum, side, slide)
    even = even_pull(model.rim, tension)
    rods, seat = _scatter(model, even, uneven, rng)
    return PracticeDrum(
        drum=drum,
        side=side,
        pull_m=tuple(float(p) for p in even + rods),
        seat_m=tuple(float(p) for p in seat),
        arrives=arrives,
        slide=slide,
        other_head=other_head,
        ring_factor=tuple(float(x) for x in np.exp(0.08 * rng.standard_normal(68))),
        microphone=microphone,
        rate=rate,
    )


def _scatter(
    model: HeadModel, even: Floats, uneven: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Uneven rod pulls and seat (m), together of the wanted rms and nowhere near slack."""
    for _ in range(200):
        rods, seat = rng.standard_normal((2, even.size)) * np.array([[1.0], [0.3]])
        lugs = model.rim.lug_tension @ (rods + seat)
        lugs = (lugs - lugs.mean()) / (model.rim.lug_tension @ even).mean()
        scale = uneven / np.sqrt(np.mean(lugs**2))
        if lugs.min() * scale > _LEAST_DEVIATION:
            mean = float(np.mean(rods + seat))  # keeps the mean tension as wanted
            return scale * (rods - mean), scale * seat
    raise RangeError(f"no head is {100 * uneven:g} % uneven and taut everywhere.")


def _model(drum: Drum, side: Side, slide: float) -> HeadModel:
    return head_model(drum, side, slide=slide, diameters=8, circles=BASIS)
