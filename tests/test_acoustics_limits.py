"""Every public function of acoustics and render, and aiming, says no outside its range."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import hoopwise as hw
from hoopwise.acoustics.air import air_damping, air_mass
from hoopwise.acoustics.follow import follow_modes
from hoopwise.acoustics.glide import berger_rise, berger_tension_n_m, mutual_lift, pitch_glide
from hoopwise.acoustics.head_air import head_air
from hoopwise.acoustics.head_modes import derivatives, head_model, shape_at, solve
from hoopwise.acoustics.low_note import head_notes, tension_for_note
from hoopwise.acoustics.membrane import bessel_zero, ideal_frequency_hz, modal_mass_kg, mode_ratio
from hoopwise.acoustics.stretch import even_pull, pull_for, rim_map, tension_field
from hoopwise.acoustics.wires import leaving_impulse, rattle, wire_bed
from hoopwise.drum import Drum, Film, Wires, load_drum
from hoopwise.errors import HoopwiseError, RangeError
from hoopwise.plan.two_head_chart import two_head_chart
from hoopwise.render.build import usual_tension
from hoopwise.render.loudness import loudness_db, match_loudness
from hoopwise.render.microphone import Microphone
from hoopwise.render.pulse import check_contact
from hoopwise.render.round import one_hit, tap_round
from hoopwise.render.strike import Strike, Take, head_motion, record, rod_place
from hoopwise.render.voice import Place
from hoopwise.units import METRES_PER_INCH

INCH = METRES_PER_INCH
NAN = math.nan
SNARE = load_drum("snare-14x5.5")
assert SNARE.second is not None
RNG = np.random.default_rng(0)

IMPOSSIBLE: dict[str, Drum] = {
    "no depth": replace(SNARE, depth_m=0.0),
    "depth below 0": replace(SNARE, depth_m=-0.1),
    "depth unknown": replace(SNARE, depth_m=NAN),
    "depth beyond": replace(SNARE, depth_m=25.0 * INCH),
    "too small": replace(SNARE, diameter_m=5.9 * INCH),
    "too large": replace(SNARE, diameter_m=26.1 * INCH),
    "size unknown": replace(SNARE, diameter_m=NAN),
    "size below 0": replace(SNARE, diameter_m=-0.3),
    "3 rods": replace(SNARE, rods=3),
    "17 rods": replace(SNARE, rods=17),
    "no film": replace(SNARE, batter=replace(SNARE.batter, film=Film(0.0))),
    "film unknown": replace(SNARE, batter=replace(SNARE.batter, film=Film(NAN))),
    "no second film": replace(SNARE, second=replace(SNARE.second, film=Film(0.0))),
    "a board for a film": replace(SNARE, batter=replace(SNARE.batter, film=Film(0.01))),
}

OF_A_DRUM: dict[str, Callable[[Drum], Any]] = {
    "couple": lambda drum: hw.couple(drum, 3000.0, 2000.0),
    "couple one head": lambda drum: hw.couple(drum, 3000.0),
    "follow_modes": lambda drum: follow_modes(drum, [(3000.0, 2000.0)] * 2, 1),
    "head_notes": lambda drum: head_notes(drum, "batter", np.array([3000.0])),
    "tension_for_note": lambda drum: tension_for_note(drum, "batter", 220.0),
    "head_air": lambda drum: head_air(drum, "batter", 0, 4, 1200.0),
    "rim_map": lambda drum: rim_map(drum, "batter"),
    "head_model": lambda drum: head_model(drum, "batter"),
    "usual_tension": lambda drum: usual_tension(drum, "batter"),
    "drum_voice": lambda drum: hw.drum_voice(drum),
    "practice_drum": lambda drum: hw.practice_drum(drum),
    "aim": lambda drum: hw.aim(drum, note=180.0),
    "aim with a ring": lambda drum: hw.aim(drum, note="F3", ring=0.5),
    "two_head_chart": lambda drum: two_head_chart(drum),
}


@pytest.mark.parametrize("what", OF_A_DRUM)
@pytest.mark.parametrize("drum", IMPOSSIBLE)
def test_impossible_drums_are_refused(what: str, drum: str) -> None:
    with pytest.raises(HoopwiseError) as caught:
        OF_A_DRUM[what](IMPOSSIBLE[drum])
    assert SNARE.name in str(caught.value)


def test_the_sizes_that_drums_have_are_not_refused() -> None:
    for inches, rods in ((6.0, 4), (26.0, 16)):
        drum = replace(SNARE, diameter_m=inches * INCH, rods=rods)
        assert len(hw.couple(drum, 1500.0, 1000.0, m_max=1, n_max=1)) == 4
        assert rim_map(drum, "batter").rods == rods


WRONG_TENSIONS = {"none": 0.0, "below 0": -5.0, "unknown": NAN, "beyond": 1e5, "endless": math.inf}

OF_A_TENSION: dict[str, Callable[[float], Any]] = {
    "couple batter": lambda n: hw.couple(SNARE, n, 2000.0),
    "couple second": lambda n: hw.couple(SNARE, 3000.0, n),
    "couple one head": lambda n: hw.couple(SNARE, n),
    "follow_modes": lambda n: follow_modes(SNARE, [(3000.0, 2000.0), (n, 2000.0)], 1),
    "head_notes": lambda n: head_notes(SNARE, "batter", np.array([3000.0, n])),
    "even_pull": lambda n: even_pull(rim_map(SNARE, "batter"), n),
    "berger_rise": lambda n: berger_rise(0, 1, SNARE.batter.film, 0.178, min(n, 0.0), 1e-3),
    "ideal_frequency_hz": lambda n: ideal_frequency_hz(0, 1, 0.178, min(n, 0.0), 0.35),
    "drum_voice": lambda n: hw.drum_voice(SNARE, tension_n_m=n),
    "drum_voice other": lambda n: hw.drum_voice(SNARE, other_tension_n_m=n),
    "practice_drum": lambda n: hw.practice_drum(SNARE, tension_n_m=n).voice,
}


@pytest.mark.parametrize("what", OF_A_TENSION)
@pytest.mark.parametrize("tension", WRONG_TENSIONS)
def test_tensions_that_no_film_bears_are_refused(what: str, tension: str) -> None:
    with pytest.raises(RangeError):
        OF_A_TENSION[what](WRONG_TENSIONS[tension])


def rim() -> Any:
    return rim_map(SNARE, "batter")


def model() -> Any:
    return head_model(SNARE, "batter")


def modes() -> Any:
    return solve(model(), even_pull(rim(), 3000.0))


def voice() -> Any:
    return hw.drum_voice(SNARE)


def practice() -> Any:
    return hw.practice_drum(SNARE)


def bed() -> Any:
    assert SNARE.wires is not None
    return wire_bed(SNARE.wires)


def motion() -> Any:
    return head_motion(voice(), bed(), Place(0.0))


OTHERS: dict[str, Callable[[], Any]] = {
    "couple m below 0": lambda: hw.couple(SNARE, 3000.0, m_max=-1),
    "couple n of 0": lambda: hw.couple(SNARE, 3000.0, n_max=0),
    "couple m beyond": lambda: hw.couple(SNARE, 3000.0, m_max=40),
    "couple n beyond": lambda: hw.couple(SNARE, 3000.0, n_max=30),
    "couple without strands": lambda: hw.couple(SNARE, 3000.0, 2000.0, Wires(0)),
    "couple with wires of no length": lambda: hw.couple(SNARE, 3000.0, 2000.0, Wires(20, 0.0)),
    "couple with wires unknown": lambda: hw.couple(SNARE, 3000.0, 2000.0, Wires(20, NAN)),
    "follow_modes m": lambda: follow_modes(SNARE, [(3000.0, 2000.0)], -1),
    "follow_modes path": lambda: follow_modes(SNARE, [3000.0, 2000.0], 1),
    "follow_modes no path": lambda: follow_modes(SNARE, np.zeros((0, 2)), 1),
    "tension_for_note 0": lambda: tension_for_note(SNARE, "batter", 0.0),
    "tension_for_note unknown": lambda: tension_for_note(SNARE, "batter", NAN),
    "air_mass beyond": lambda: air_mass(0.178, 0, 1, 1e5),
    "air_mass omega below 0": lambda: air_mass(0.178, 0, 1, -1.0),
    "air_mass omega unknown": lambda: air_mass(0.178, 0, 1, NAN),
    "air_mass radius": lambda: air_mass(-0.178, 0, 1, 1000.0),
    "air_mass m": lambda: air_mass(0.178, -1, 1, 1000.0),
    "air_mass n": lambda: air_mass(0.178, 0, 0, 1000.0),
    "air_damping omega unknown": lambda: air_damping(0.178, 0, 1, NAN),
    "air_damping radius unknown": lambda: air_damping(NAN, 0, 1, 1000.0),
    "head_air beyond": lambda: head_air(SNARE, "batter", 0, 4, 1e5),
    "head_air omega 0": lambda: head_air(SNARE, "batter", 0, 4, 0.0),
    "head_air omega unknown": lambda: head_air(SNARE, "batter", 0, 4, NAN),
    "head_air m": lambda: head_air(SNARE, "batter", -1, 4, 1000.0),
    "head_air no such head": lambda: head_air(SNARE, "resonant", 0, 4, 1000.0),
    "rim_map slide": lambda: rim_map(SNARE, "batter", slide=1.1),
    "rim_map slide unknown": lambda: rim_map(SNARE, "batter", slide=NAN),
    "rim_map collar": lambda: rim_map(SNARE, "batter", collar_m=0.0),
    "rim_map rods": lambda: rim_map(SNARE, "batter", rod_compliance_m_n=-1e-8),
    "rim_map no such head": lambda: rim_map(SNARE, "resonant"),
    "tension_field place": lambda: tension_field(rim(), np.ones(10), 0.2, 0.0),
    "tension_field place unknown": lambda: tension_field(rim(), np.ones(10), NAN, 0.0),
    "tension_field angle unknown": lambda: tension_field(rim(), np.ones(10), 0.1, NAN),
    "tension_field pulls": lambda: tension_field(rim(), np.ones(9), 0.1, 0.0),
    "pull_for": lambda: pull_for(rim(), [NAN] * 10),
    "head_model basis": lambda: head_model(SNARE, "batter", diameters=0),
    "solve pulls": lambda: solve(model(), [NAN] * 10),
    "solve slack": lambda: solve(model(), np.zeros(10)),
    "solve beyond": lambda: solve(model(), np.full(10, 1.0)),
    "derivatives count": lambda: derivatives(model(), modes(), count=0),
    "shape_at off": lambda: shape_at(model(), modes().shapes, 0.2, 0.0),
    "shape_at unknown": lambda: shape_at(model(), modes().shapes, NAN, 0.0),
    "pitch_glide swing": lambda: pitch_glide(model(), modes()).at(0, 0.1),
    "pitch_glide swing unknown": lambda: pitch_glide(model(), modes()).at(0, NAN),
    "pitch_glide count": lambda: pitch_glide(model(), modes(), count=0),
    "mutual_lift modes": lambda: mutual_lift(model(), modes(), [0, 500]),
    "berger_rise beyond": lambda: berger_rise(0, 1, SNARE.batter.film, 0.178, 3000.0, 0.1),
    "berger_rise unknown": lambda: berger_rise(0, 1, SNARE.batter.film, 0.178, 3000.0, NAN),
    "berger_tension radius": lambda: berger_tension_n_m(0, 1, SNARE.batter.film, 0.0, 0.001),
    "berger_tension mode": lambda: berger_tension_n_m(0, 0, SNARE.batter.film, 0.178, 0.001),
    "bessel_zero m": lambda: bessel_zero(-1, 1),
    "bessel_zero n": lambda: bessel_zero(0, 0),
    "mode_ratio": lambda: mode_ratio(0, 0),
    "modal_mass radius": lambda: modal_mass_kg(0, 1, -0.1, 0.35),
    "modal_mass film": lambda: modal_mass_kg(0, 1, 0.1, NAN),
    "ideal_frequency radius": lambda: ideal_frequency_hz(0, 1, 0.0, 3000.0, 0.35),
    "ideal_frequency film": lambda: ideal_frequency_hz(0, 1, 0.178, 3000.0, 0.0),
    "wire_bed draw": lambda: wire_bed(Wires(), draw_n=0.0),
    "wire_bed draw unknown": lambda: wire_bed(Wires(), draw_n=NAN),
    "wire_bed strands": lambda: wire_bed(Wires(strands=0)),
    "wire_bed length": lambda: wire_bed(Wires(length_m=-0.1)),
    "rattle rate": lambda: rattle(bed(), motion(), np.zeros(4), 8000.0, 10),
    "rattle rate unknown": lambda: rattle(bed(), motion(), np.zeros(4), NAN, 10),
    "rattle count": lambda: rattle(bed(), motion(), np.zeros(4), 48000.0, 0),
    "leaving_impulse span": lambda: leaving_impulse(bed(), motion(), np.ones(9), 48000.0, 0.0),
    "head_motion wires": lambda: head_motion(voice(), wire_bed(Wires(20, 0.5)), Place(0.0)),
    "head_motion muted": lambda: head_motion(
        hw.drum_voice(SNARE, other_head="muted"), bed(), Place(0.0)
    ),
    "drum_voice slide": lambda: hw.drum_voice(SNARE, slide=-0.1),
    "drum_voice pulls": lambda: hw.drum_voice(SNARE, rod_pull_m=[1e-3] * 9),
    "drum_voice slack": lambda: hw.drum_voice(SNARE, rod_pull_m=[0.0] * 10),
    "drum_voice no such head": lambda: hw.drum_voice(SNARE, "resonant"),
    "drum_voice ring": lambda: hw.drum_voice(SNARE, ring_factor=[-1.0]),
    "drum_voice ring unknown": lambda: hw.drum_voice(SNARE, ring_factor=[NAN]),
    "near_at": lambda: voice().near_at([NAN], [0.0]),
    "rod_place rod": lambda: rod_place(voice(), 11),
    "rod_place way in": lambda: rod_place(voice(), 1, in_m=-0.01),
    "render_tap rod": lambda: hw.render_tap(voice(), 0),
    "render_tap impulse": lambda: hw.render_tap(voice(), 1, impulse_n_s=-0.01),
    "render_tap impulse unknown": lambda: hw.render_tap(voice(), 1, impulse_n_s=NAN),
    "render_tap contact": lambda: hw.render_tap(voice(), 1, contact_s=NAN),
    "render_hit place": lambda: hw.render_hit(voice(), Place(0.2)),
    "render_hit place unknown": lambda: hw.render_hit(voice(), Place(NAN)),
    "render_hit impulse": lambda: hw.render_hit(voice(), impulse_n_s=2.0),
    "render_hit contact": lambda: hw.render_hit(voice(), contact_s=0.1),
    "record length": lambda: record(voice(), Strike(Place(0.0)), Take(length_s=0.0)),
    "record length unknown": lambda: record(voice(), Strike(Place(0.0)), Take(length_s=NAN)),
    "record lead": lambda: record(voice(), Strike(Place(0.0)), Take(lead_s=-1.0)),
    "record rate": lambda: record(voice(), Strike(Place(0.0)), Take(rate_hz=0.0)),
    "record rate unknown": lambda: record(voice(), Strike(Place(0.0)), Take(rate_hz=NAN)),
    "record noise unknown": lambda: record(
        voice(), Strike(Place(0.0)), Take(noise_db=NAN), rng=RNG
    ),
    "record microphone": lambda: record(
        voice(), Strike(Place(0.0)), Take(Microphone(Place(0.3))), rng=RNG
    ),
    "record microphone unknown": lambda: record(
        voice(), Strike(Place(0.0)), Take(Microphone(Place(NAN))), rng=RNG
    ),
    "microphone height": lambda: Microphone(Place(0.0), 0.0),
    "microphone height unknown": lambda: Microphone(Place(0.0), NAN),
    "check_contact": lambda: check_contact(0.0),
    "practice uneven": lambda: hw.practice_drum(SNARE, uneven=0.3),
    "practice uneven unknown": lambda: hw.practice_drum(SNARE, uneven=NAN),
    "practice rate": lambda: hw.practice_drum(SNARE, rate=0),
    "practice tap rod": lambda: practice().tap(11, rng=RNG),
    "practice tap strength": lambda: practice().tap(1, rng=RNG, strength=0.0),
    "practice tap unknown": lambda: practice().tap(1, rng=RNG, strength=NAN),
    "practice tap length": lambda: practice().tap(1, rng=RNG, length_s=-1.0),
    "practice turned": lambda: practice().turned([0.1] * 9, rng=RNG),
    "practice turned unknown": lambda: practice().turned([NAN] * 10, rng=RNG),
    "tap_round taps": lambda: tap_round(practice(), RNG, taps_per_rod=0),
    "tap_round spacing": lambda: tap_round(practice(), RNG, spacing_s=0.1),
    "tap_round spacing unknown": lambda: tap_round(practice(), RNG, spacing_s=NAN),
    "one_hit strength": lambda: one_hit(practice(), RNG, strength=-1.0),
    "loudness rate": lambda: loudness_db(np.ones(100), 0.0),
    "match_loudness rate": lambda: match_loudness([np.ones(100)], NAN),
}


@pytest.mark.parametrize("what", OTHERS)
def test_what_lies_outside_the_models_is_refused(what: str) -> None:
    with pytest.raises(HoopwiseError) as caught:
        OTHERS[what]()
    assert len(str(caught.value)) > 20


def test_every_public_name_of_acoustics_and_render_is_tried() -> None:
    """Names that `import hoopwise` gives stand in one of the tables above."""
    tried = Path(__file__).read_text("utf-8")
    home = hw._HOME
    ours = [n for n, at in home.items() if at.startswith(("hoopwise.acoustics", "hoopwise.render"))]
    assert len(ours) >= 6
    for name in ours:
        assert name == "CoupledMode" or f"hw.{name}(" in tried, name
