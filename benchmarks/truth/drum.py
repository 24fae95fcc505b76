"""A simulated drum head whose tension at every rod is known, and the taps it gives.

The state is what the rods pull and how the rim sits; everything else follows by finite
elements. ``nominal`` is what a technician would write down about the drum: hardware,
film modulus, air and losses of the simulated one are off from it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchmarks.truth import air as outside
from benchmarks.truth import head as head_parts
from benchmarks.truth import sound
from benchmarks.truth.cavity import SecondHead, TwoHeads, two_head_modes
from benchmarks.truth.film import FilmResponse, Hardware
from benchmarks.truth.mesh import interpolation
from benchmarks.truth.modes import HeadModes, OpenHead, low_pair_limit_hz, open_head_modes
from hoopwise.drum import Drum, Side

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LIMIT_HZ = 1800.0
TAP_FROM_HOOP_M = 0.025


@dataclass(frozen=True)
class Player:
    """How far a hand strays from what was asked."""

    place_sd_m: float = 2e-3
    angle_sd_rad: float = np.radians(1.5)
    strength_db: float = 6.0
    """Strengths spread evenly from minus to plus this."""
    contact_sd: float = 0.10
    glide_at_nominal: float = 0.004
    """Start of the pitch above its settled value, grows with strength squared."""
    glide_most: float = 0.015
    glide_rate: float = 15.0
    turn_sd: float = 0.10
    turn_slop: float = 1.0 / 128.0


@dataclass(frozen=True)
class Losses:
    """Ring losses beside radiation, and their scatter from mode to mode."""

    film: float
    """Loss factor: adds half of it times the angular frequency to the decay rate."""
    edge_per_s: float
    scatter: float
    seed: int


@dataclass(frozen=True)
class ToldTap:
    """A tap and what really happened."""

    samples: Array
    strike: sound.Strike
    amplitude: Complex
    """(modes,) in the samples' units, referred to the onset; a first strike's only."""
    inward_m: float
    """How far the tap strayed from its place, inward and around."""
    aside_rad: float


@dataclass(frozen=True)
class TrueDrum:
    """One head of a simulated drum."""

    nominal: Drum
    """What the tool is told."""
    side: Side
    other_head: str
    held: Hardware
    response: FilmResponse
    pulls_m: Array
    """(N,) how far each rod has pulled the hoop's lug down."""
    seating_m: Array
    """Rim and collar offsets, one for each seating shape."""
    density_kg_m2: Array
    """At the fine mesh points."""
    air: outside.Air
    faces: float
    """How many faces' worth of air an open head carries; 2 in a free rigid plane."""
    losses: Losses
    microphone_m: tuple[float, float, float]
    player: Player
    arrives: Array
    """(N,) share of a turn that reaches the hoop."""
    room_seed: int
    second: SecondHead | None = None
    rate: int = sound.RATE

    @property
    def rods(self) -> int:
        """How many rods."""
        return self.held.rods

    @property
    def causes(self) -> Array:
        """All pulls and offsets in the order of the film's response."""
        return np.concatenate([self.pulls_m, self.seating_m])

    def rim_tension(self) -> float:
        """Mean radial tension all around the rim (N/m): what sets the pitch."""
        return float(np.mean(self.response.around @ self.causes))

    def mean_tension(self) -> float:
        """Mean radial tension at the rim beside the rods (N/m).

        It lies above that of the whole rim by the ripple from lug to lug: 1 % with 10
        rods on a 14 in drum, 6 % with 6 rods on 13 in.
        """
        return float(np.mean(self.response.at_rods @ self.causes))

    def deviations(self) -> Array:
        """(N,) radial tension at the rim at each rod's angle over its mean, less 1.

        An evenly pulled head shows the same value at every rod, so that its ripple
        from lug to lug drops out.
        """
        at_rods = self.response.at_rods @ self.causes
        deviations: Array = at_rods / at_rods.mean() - 1.0
        return deviations

    @cached_property
    def head(self) -> OpenHead:
        """The head's stiffness and mass on the kept shapes."""
        kept = head_parts.shapes()
        return OpenHead(
            stiffness=head_parts.stiffness(kept, self.response.stress @ self.causes),
            mass=head_parts.mass(kept, self.density_kg_m2, self.held.radius_m),
            radius_m=self.held.radius_m,
            air=self.air,
            faces=self.faces,
        )

    @cached_property
    def modes(self) -> HeadModes:
        """Ringing modes, film and edge losses included."""
        sums = outside.rayleigh_sums()
        if self.second is None:
            found = open_head_modes(self.head, sums, LIMIT_HZ)
        else:
            found = two_head_modes(TwoHeads(self.head, self.second), sums, LIMIT_HZ)
        rng = np.random.default_rng(self.losses.seed)
        spread = np.exp(self.losses.scatter * rng.normal(size=len(found.omega)))
        lost = (0.5 * self.losses.film * found.omega.real + self.losses.edge_per_s) * spread
        return HeadModes(found.omega + 1j * lost, found.shape)

    @cached_property
    def _low_modes(self) -> HeadModes:
        """The lowest modes alone: all that an ear tuning by the low pitch needs."""
        if self.second is not None:
            return self.modes
        sums = outside.rayleigh_sums()
        return open_head_modes(self.head, sums, low_pair_limit_hz(self.head, sums))

    @cached_property
    def _heard(self) -> Complex:
        """(modes,) pressure at the microphone per unit amplitude of each mode, scaled.

        The scale gives the loudest of nominal taps at the rods a peak near 0.25.
        """
        fields = head_parts.shapes().coarse @ self.modes.shape
        pressure = outside.pressure_at(
            self.microphone_m, self.modes.omega.real, fields, self.held.radius_m, self.air
        )
        strike = sound.Strike(0.15, 3e-3, 1.0, 1.5, 0.0, 15.0)
        loudest = 0.0
        for rod in range(1, self.rods + 1, 2):
            gain = pressure * self._moved(*self._place(rod))
            loudest = max(loudest, np.abs(sound.ringing(strike, self.modes.omega, gain)).max())
        return pressure * 0.25 / loudest

    def _place(
        self, rod: float, inward_m: float = 0.0, angle_rad: float = 0.0
    ) -> tuple[float, float]:
        """Where a tap at a rod lands, or halfway to the next (half more), on the unit disc."""
        radius = 1.0 - (TAP_FROM_HOOP_M + inward_m) / self.held.radius_m
        angle = self.held.rod_angles[int(rod) - 1] + (rod % 1) * 2 * np.pi / self.rods + angle_rad
        return radius * np.cos(angle), radius * np.sin(angle)

    def _moved(self, x: float, y: float) -> Complex:
        """(modes,) answer to a unit impulse at a place, referred to its start."""
        kept = head_parts.shapes()
        nodes, weights = interpolation(kept.disc, x, y)
        at_place = (weights @ kept.nodal[nodes]) @ self.modes.shape
        moved: Complex = at_place * (-1j / self.modes.omega)
        return moved

    def tap(
        self,
        rod: float,
        rng: np.random.Generator,
        contact_s: float = 3e-3,
        noise_db: float = -50.0,
        reverb_db: float | None = None,
        double_hit: bool = False,
    ) -> Array:
        """Samples (48 kHz, 1.05 s, 0.15 s of noise first) of one tap at a rod.

        ``noise_db`` is the noise's rms against the tap's peak; ``reverb_db`` the direct
        sound's energy against the room's; a double hit strikes again 20 to 60 ms later.
        """
        return self.told_tap(rod, rng, contact_s, noise_db, reverb_db, double_hit).samples

    def told_tap(
        self,
        rod: float,
        rng: np.random.Generator,
        contact_s: float = 3e-3,
        noise_db: float = -50.0,
        reverb_db: float | None = None,
        double_hit: bool = False,
    ) -> "ToldTap":
        """The same tap with what really happened beside it."""
        first = self._strike(rng, contact_s, sound.PRE_ROLL_S + rng.uniform(-4e-3, 4e-3))
        strikes = [first]
        if double_hit:
            later = first.onset_s + rng.uniform(20e-3, 60e-3)
            again = first.impulse_n_s * rng.uniform(0.3, 0.8)
            strikes.append(replace(first, onset_s=later, impulse_n_s=again))
        inward = rng.normal() * self.player.place_sd_m
        aside = rng.normal() * self.player.angle_sd_rad
        gain = self._heard * self._moved(*self._place(rod, inward, aside))
        dry = np.sum([sound.ringing(s, self.modes.omega, gain) for s in strikes], axis=0)
        peak = np.abs(dry).max()
        if reverb_db is not None:
            room = sound.room_response(np.random.default_rng(self.room_seed), 0.5)
            dry = sound.with_room(dry, room, reverb_db)
        samples = sound.full_rate(dry)
        for strike in strikes:
            burst = sound.click(rng, strike, peak * strike.impulse_n_s / first.impulse_n_s)
            start = round(strike.onset_s * sound.RATE)
            samples[start : start + len(burst)] += burst
        samples += peak * 10.0 ** (noise_db / 20.0) * rng.normal(size=len(samples))
        amplitude = sound.amplitudes(first, self.modes.omega, gain)
        return ToldTap(samples, first, amplitude, inward, aside)

    def _strike(self, rng: np.random.Generator, contact_s: float, onset_s: float) -> sound.Strike:
        by = self.player
        strength = 10.0 ** (rng.uniform(-by.strength_db, by.strength_db) / 20.0)
        return sound.Strike(
            onset_s=onset_s,
            contact_s=contact_s * np.exp(by.contact_sd * rng.normal()),
            impulse_n_s=strength,
            sharpness=rng.uniform(1.2, 1.8),
            glide=min(by.glide_at_nominal * strength**2, by.glide_most),
            glide_rate=by.glide_rate,
        )

    def turned(self, turns: Sequence[float] | Array, rng: np.random.Generator) -> "TrueDrum":
        """The head after turns of each rod (+ tightens), as a hand really makes them.

        A rod that is turned misses by 10 % of its turn (one sd) and by up to 1/128 turn
        either way; only a share of the turn arrives at the hoop.
        """
        asked = np.asarray(turns, dtype=float)
        by = self.player
        slop = rng.uniform(-by.turn_slop, by.turn_slop, len(asked))
        done = np.where(
            asked == 0.0, 0.0, asked * (1.0 + by.turn_sd * rng.normal(size=len(asked))) + slop
        )
        pulled = self.pulls_m + done * self.nominal.thread_pitch_m * self.arrives
        return replace(self, pulls_m=pulled)

    def low_pitch(self, rod: int) -> float:
        """Low pitch (Hz) that an ear hears near a rod: the (1,1) pair, by what each gives.

        A mode is struck in proportion to its shape at the rod and heard close to the
        same place, hence the square. The pair is the two modes of the first nodal
        diameter, found by their overlap with it.
        """
        kept = head_parts.shapes()
        low = self._low_modes
        shape = np.abs(low.shape) ** 2
        overlap = np.sum(shape[1:3], axis=0) / np.sum(shape, axis=0)
        pair = np.argsort(overlap[:16] * shape[1:3, :16].sum(axis=0))[-2:]
        nodes, weights = interpolation(kept.disc, *self._place(rod))
        at_place = np.abs((weights @ kept.nodal[nodes]) @ low.shape[:, pair]) ** 2
        return float(at_place @ low.omega.real[pair] / at_place.sum() / (2.0 * np.pi))
