"""A whole recording of a practice drum, and the truth that belongs to it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from hoopwise.acoustics.wires import WireBed
from hoopwise.errors import RangeError
from hoopwise.render.partials import Floats
from hoopwise.render.practice import LEAD_S, PracticeDrum
from hoopwise.render.strike import Take, render_hit
from hoopwise.render.voice import Place

LEAST_SPACING_S = 0.8
_TOLD_MODES = 24
_HIT_PLACE = 0.15
"""Where a hit lands: this share of the radius off the centre, where all modes sound."""


@dataclass(frozen=True)
class Recording:
    """Samples and what happened in them."""

    samples: Floats
    rate: int
    rods: tuple[int, ...]
    """Rod of each tap; empty for a hit."""
    onsets_s: tuple[float, ...]


def tap_round(
    practice: PracticeDrum,
    rng: np.random.Generator,
    *,
    taps_per_rod: int = 2,
    contact_s: float = 0.003,
    strength: float = 1.0,
    noise_db: float | None = -50.0,
    spacing_s: float = 1.2,
) -> Recording:
    """Taps at every rod in their order, all in one recording, each ringing into the next.

    Parameters
    ----------
    practice
        The drum.
    rng
        The tapper's chance.
    taps_per_rod
        1 to 20.
    contact_s, strength, noise_db
        As for `PracticeDrum.tap`.
    spacing_s
        From onset to onset, at least 0.8 s.

    Raises
    ------
    RangeError
        A number lies outside its range.
    """
    if not 1 <= taps_per_rod <= 20:
        raise RangeError(f"{taps_per_rod} taps per rod; give 1 to 20.")
    if not LEAST_SPACING_S <= spacing_s <= 60.0:
        raise RangeError(
            f"taps {spacing_s:g} s apart run together, or take all day; "
            f"leave {LEAST_SPACING_S:g} to 60 s."
        )
    rods = tuple(r for r in range(1, practice.drum.rods + 1) for _ in range(taps_per_rod))
    lead, step = round(LEAD_S * practice.rate), round(spacing_s * practice.rate)
    tail = 2 * step
    samples = np.zeros(lead + (len(rods) - 1) * step + tail)
    for i, rod in enumerate(rods):
        sound = practice.tap(
            rod, rng=rng, contact_s=contact_s, strength=strength, noise_db=None,
            length_s=tail / practice.rate,
        )  # fmt: skip
        samples[i * step : i * step + sound.size] += sound
    if noise_db is not None:
        samples += practice.noise(samples.size, rng, noise_db)
    onsets = tuple((lead + i * step) / practice.rate for i in range(len(rods)))
    return Recording(samples, practice.rate, rods, onsets)


def one_hit(
    practice: PracticeDrum,
    rng: np.random.Generator,
    *,
    contact_s: float | None = None,
    strength: float = 1.0,
    noise_db: float | None = -50.0,
    wires: WireBed | None = None,
    length_s: float = 2.0,
) -> Recording:
    """One whole hit near the middle; strength 1 is a firm one. Errors as `render_hit`."""
    rate = practice.rate
    take = Take(practice.usual_microphone, length_s, LEAD_S, float(rate), noise_db)
    place = Place(_HIT_PLACE * practice.drum.radius_m, 0.4)
    samples = render_hit(
        practice.voice, place, impulse_n_s=0.05 * strength, contact_s=contact_s, wires=wires,
        take=take, rng=rng,
    )  # fmt: skip
    return Recording(samples, rate, (), (round(LEAD_S * rate) / rate,))


def true_state(practice: PracticeDrum) -> dict[str, Any]:
    """What is true of a practice drum, in plain numbers, for a file beside its sound."""
    voice, microphone = practice.voice, practice.usual_microphone
    return {
        "head": {
            "drum": practice.drum.name,
            "side": practice.side,
            "other_head": practice.other_head,
            "rods": list(range(1, practice.drum.rods + 1)),
            "lug_tension_n_m": [round(float(t), 2) for t in practice.lug_tensions],
            "deviation": [round(float(d), 5) for d in practice.deviations()],
            "mean_tension_n_m": round(practice.mean_tension, 2),
        },
        "modes": {
            "frequency_hz": [round(float(f), 4) for f in voice.frequency_hz[:_TOLD_MODES]],
            "t60_s": [round(float(t), 4) for t in voice.t60_s[:_TOLD_MODES]],
        },
        "microphone": {
            "r_mm": round(microphone.over.r_m * 1e3, 2),
            "angle_deg": round(float(np.degrees(microphone.over.angle_rad)), 2),
            "height_mm": round(microphone.height_m * 1e3, 2),
        },
    }
