"""Taps and hits of a voice as samples: the tip pushes, the modes ring, a microphone hears.

Samples are sound pressure over ``FULL_SCALE_PA``. Time starts with ``lead_s`` of silence;
the strike's onset, the moment the tip meets the head, is at ``lead_s`` exactly: the way of
the sound to the microphone (under 0.3 ms) counts in the phases, not in the onset.
"""

from dataclasses import dataclass

import numpy as np

from hoopwise.acoustics.limits import RATE_RANGE_HZ, check_number
from hoopwise.acoustics.wires import HeadMotion, WireBed, rattle
from hoopwise.errors import RangeError
from hoopwise.render.microphone import Microphone, heard, usual_microphone
from hoopwise.render.partials import Complexes, Floats, Glide, Partials, ring
from hoopwise.render.pulse import answer_after, answer_during, check_contact, push
from hoopwise.render.stretch_glide import stretch_glide
from hoopwise.render.voice import CENTRE, Place, Voice

FULL_SCALE_PA = 400.0
TAP_IN_M = 0.025
"""How far in from the hoop one taps at a rod (common practice, no source)."""
HIT_CONTACT_S = {"snare": 0.004, "tom": 0.006, "kick": 0.010}
"""How long a stick or beater stays on the head in a hit: estimates, no source."""


@dataclass(frozen=True)
class Strike:
    """One push of a tip."""

    place: Place
    impulse_n_s: float = 0.01
    """Mass of the tip's end times its change of speed: 0.01 a light tap, 0.1 a hard hit."""
    contact_s: float = 0.003


@dataclass(frozen=True)
class Take:
    """How the strike is recorded."""

    microphone: Microphone | None = None
    """None: `usual_microphone`."""
    length_s: float = 1.0
    """From the onset to the end."""
    lead_s: float = 0.0
    """Silence (with the noise) before the onset."""
    rate_hz: float = 48000.0
    noise_db: float | None = None
    """Level of white noise (rms) against the sound's own peak; None for none."""

    def __post_init__(self) -> None:
        check_number("a length of sound", self.length_s, (1e-4, 600.0), "s")
        check_number("a silence before the onset", self.lead_s, (0.0, 600.0), "s")
        check_number("a sample rate", self.rate_hz, RATE_RANGE_HZ, "Hz")
        if self.noise_db is not None:
            check_number("a noise level", self.noise_db, (-300.0, 60.0), "dB")


def rod_place(voice: Voice, rod: float, in_m: float = TAP_IN_M) -> Place:
    """Where one taps at a rod: in line with it, ``in_m`` from the bearing edge.

    A part of 1 more leads as far towards the next rod: 3.5 lies halfway between rods 3 and 4.

    Raises
    ------
    RangeError
        There is no rod of that number, or the way in leads off the head.
    """
    if not 1 <= rod < voice.drum.rods + 1:
        raise RangeError(f"rod {rod:g} does not exist; this head has rods 1 to {voice.drum.rods}.")
    check_number("a way in from the edge", in_m, (0.0, voice.drum.radius_m), "m")
    onward = (rod % 1.0) * 2.0 * np.pi / voice.drum.rods
    return Place(voice.drum.radius_m - in_m, voice.drum.rod_angles()[int(rod) - 1] + onward)


def render_tap(
    voice: Voice,
    rod: int,
    *,
    impulse_n_s: float = 0.01,
    contact_s: float = 0.003,
    take: Take | None = None,
    rng: np.random.Generator | None = None,
) -> Floats:
    """Samples of a light tap at a rod.

    Parameters
    ----------
    voice
        From `drum_voice` or a `PracticeDrum`.
    rod
        1 to N, tapped 25 mm in from the edge.
    impulse_n_s
        Strength of the tap (N s).
    contact_s
        How long the tip stays on the head (s), 0.2 to 20 ms.
    take
        Microphone, lengths, rate and noise.
    rng
        Source of the noise; needed when ``take.noise_db`` is given.

    Returns
    -------
    (n,) samples, full scale 1.

    Raises
    ------
    RangeError
        A rod, place, contact time or strength outside the model.
    """
    strike = Strike(rod_place(voice, rod), impulse_n_s, contact_s)
    return record(voice, strike, take or Take(), rng=rng)


def render_hit(
    voice: Voice,
    place: Place = CENTRE,
    *,
    impulse_n_s: float = 0.08,
    contact_s: float | None = None,
    wires: WireBed | None = None,
    take: Take | None = None,
    rng: np.random.Generator | None = None,
) -> Floats:
    """Samples of a whole hit, its pitch falling as the swing dies; parameters as `render_tap`.

    ``contact_s`` None takes a stick's 4 ms on a snare, 6 on a tom, a beater's 10 on a kick.
    With ``wires`` on, drum and wires are stepped together, slower than real time, and the
    fall of the pitch is left out.
    """
    take = take or Take(length_s=2.0)
    contact = HIT_CONTACT_S[voice.drum.kind] if contact_s is None else contact_s
    strike = Strike(place, impulse_n_s, contact)
    return record(voice, strike, take, wires=wires, rng=rng)


def record(
    voice: Voice,
    strike: Strike,
    take: Take,
    *,
    wires: WireBed | None = None,
    rng: np.random.Generator | None = None,
) -> Floats:
    """Samples of any strike; see `render_tap` for parameters and errors."""
    check_contact(strike.contact_s)
    if not 0 < strike.impulse_n_s <= 1.0:
        raise RangeError(
            f"an impulse of {strike.impulse_n_s:g} N s is outside 0 to 1; a light tap has about "
            "0.01, a hard hit 0.1."
        )
    microphone = take.microphone or usual_microphone(voice)
    count = max(round(take.length_s * take.rate_hz), 1)
    factor = heard(voice, microphone)
    if wires is None:
        sound = _free(voice, strike, factor, count, take.rate_hz)
    else:
        sound = _with_wires(voice, strike, factor, wires, count, take.rate_hz)
    samples = np.concatenate([np.zeros(round(take.lead_s * take.rate_hz)), sound / FULL_SCALE_PA])
    if take.noise_db is None:
        return samples
    if rng is None:
        raise ValueError("noise needs a random generator: pass rng.")
    level = float(np.max(np.abs(samples))) * 10 ** (take.noise_db / 20)
    return samples + level * rng.standard_normal(samples.size)


def _free(voice: Voice, strike: Strike, factor: Complexes, count: int, rate_hz: float) -> Floats:
    """Pressure without wires: closed forms in the contact, gliding partials after it."""
    pole, omega = voice.pole, 2 * np.pi * voice.frequency_hz
    push_share = strike.impulse_n_s * voice.struck_at(strike.place) / omega
    swing = np.abs(push_share * answer_after(pole, strike.contact_s))
    lift = stretch_glide(voice, swing)
    glide = lift.glide
    raised = pole + 1j * omega * (lift.share @ glide.start)
    weight = -1j * push_share * factor  # Re of this times the analytic acceleration
    contact = min(int(np.ceil(strike.contact_s * rate_hz)), count)
    time = np.arange(contact, dtype=np.float64) / rate_hz
    shape = push(time, strike.contact_s)
    analytic = answer_during(raised, time, strike.contact_s)
    during = np.real((weight * pole**2) @ analytic) + np.real(weight @ pole) * shape
    late = contact / rate_hz - strike.contact_s
    phasor = weight * pole**2 * answer_after(raised, strike.contact_s)
    shift = omega * (late + lift.share @ glide.integral(np.asarray(late)))
    started = Partials(
        frequency_hz=voice.frequency_hz,
        t60_s=voice.t60_s,
        amplitude=phasor * np.exp(pole.real * late + 1j * shift),
        sensitivity=lift.share,
    )
    after = ring(started, count - contact, rate_hz, _later(glide, late))
    return np.concatenate([during, after])


def _with_wires(
    voice: Voice, strike: Strike, factor: Complexes, bed: WireBed, count: int, rate_hz: float
) -> Floats:
    """Pressure with wires on: modal coordinates stepped, heard through the same factors.

    A coordinate q of pole s is the imaginary part of (q' + a q)/w + i q, whose analytic
    acceleration is s^2 times that plus s F/w.
    """
    motion = head_motion(voice, bed, strike.place)
    steps = np.arange(int(np.ceil(strike.contact_s * rate_hz)), dtype=np.float64)
    force = strike.impulse_n_s * push((steps + 0.5) / rate_hz, strike.contact_s)
    pole, omega = voice.pole, 2 * np.pi * voice.frequency_hz
    bent = factor * pole**2
    watch = (bent.real - bent.imag * pole.real / omega, bent.imag / omega)
    told = rattle(bed, motion, force, rate_hz, count, watch)
    sound = told.run.seen.copy()
    direct = np.imag(factor * pole) / omega
    sound += (told.run.force_n - told.rest_n) @ (motion.at_wires @ direct)
    later = strike.impulse_n_s * push((steps + 1.0) / rate_hz, strike.contact_s)[:count]
    sound[: later.size] += later * float(motion.at_strike @ direct)
    return np.concatenate([[0.0], sound[:-1]])  # a step's result belongs to its end


def head_motion(voice: Voice, bed: WireBed, place: Place) -> HeadMotion:
    """The voice as the wires meet it; they run from rod 1 across the other head.

    Raises
    ------
    RangeError
        The other head is off or muted, or the wires are longer than the head.
    """
    if not np.any(voice.far):
        raise RangeError("wires need the other head on and free to ring.")
    along = bed.places_m()
    angle = np.where(along >= 0, 0.0, np.pi)
    return HeadMotion(
        pole=voice.pole,
        at_wires=-voice.far_at(np.abs(along), angle),
        at_strike=voice.near_at([place.r_m], [place.angle_rad])[0],
    )


def _later(glide: Glide, late_s: float) -> Glide:
    """The same glide counted from a little later."""
    return Glide(start=glide.start * np.exp(-glide.rate * late_s), rate=glide.rate)
