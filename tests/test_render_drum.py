"""Voices of drums, their taps and hits, and the practice drum."""

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from hoopwise.acoustics.glide import pitch_glide
from hoopwise.acoustics.head_model import head_model, stiffness_of
from hoopwise.acoustics.head_modes import solve
from hoopwise.acoustics.stretch import even_pull
from hoopwise.acoustics.wires import WireBed, wire_bed
from hoopwise.drum import Drum, load_drum
from hoopwise.errors import DrumError, RangeError
from hoopwise.render.build import OtherHead, drum_voice, usual_tension
from hoopwise.render.damped import damped_modes
from hoopwise.render.microphone import Microphone
from hoopwise.render.practice import LEAD_S, PracticeDrum, practice_drum
from hoopwise.render.stretch_glide import stretch_glide
from hoopwise.render.strike import Strike, Take, record, render_hit, render_tap, rod_place
from hoopwise.render.voice import CENTRE, Place, Voice

Floats = NDArray[np.float64]


@cache
def drum(name: str = "snare-14x5.5") -> Drum:
    return load_drum(name)


@cache
def voice(name: str = "snare-14x5.5", other: OtherHead = "ringing") -> Voice:
    return drum_voice(drum(name), other_head=other)


@cache
def practice(other: OtherHead = "off") -> PracticeDrum:
    return practice_drum(drum(), seed=5, other_head=other)


@pytest.mark.parametrize("other", ["off", "muted", "ringing"])
def test_follow_is_what_a_tighter_head_does_to_each_mode(other: OtherHead) -> None:
    tension = usual_tension(drum(), "batter")
    low, high = (
        drum_voice(drum(), tension_n_m=tension * factor, other_head=other)
        for factor in (0.999, 1.001)
    )
    moved = np.log(high.frequency_hz / low.frequency_hz) / np.log(1.001 / 0.999)
    # Bending and air whose mass itself depends on frequency are the difference.
    assert moved[:16] == pytest.approx(0.5 * voice(other=other).follow[:16], abs=0.02)


def test_an_uneven_voice_agrees_with_the_head_model_under_the_same_air() -> None:
    """Mixing the even modes must give what the head's own eigenproblem gives.

    The air's mass on each basis function is set so that the even head rings alike; what
    remains is how the air mixes functions, of second order. The head model has no losses.
    """
    model = head_model(drum(), "batter", slide=0.5)
    tension = usual_tension(drum(), "batter")
    even = even_pull(model.rim, tension)
    pull = even * (1 + 0.06 * np.random.default_rng(2).standard_normal(even.size))
    pull *= even.mean() / pull.mean()
    calm = drum_voice(drum(), tension_n_m=tension, other_head="off")
    loaded, even_stiffness = model.mass.copy(), stiffness_of(model, even)
    for b, (m, n, kind) in enumerate(model.basis):
        column = calm.basis.index((m, n, kind))
        mode = int(np.argmax(np.abs(calm.near[column]) * (calm.follow > 0.5)))
        loaded[b] = even_stiffness[b, b] / (2 * np.pi * calm.frequency_hz[mode]) ** 2
    whole = solve(model, pull, loaded - model.mass)
    mixed = drum_voice(drum(), rod_pull_m=pull, other_head="off", ring_factor=[1e3])
    assert mixed.frequency_hz[:10] == pytest.approx(whole.frequency_hz[:10], rel=2e-3)


def test_lossy_modes_answer_as_the_equations_of_motion_do() -> None:
    """Near neighbours of 50 and 7 /s, mixed by half, against the whole first-order system."""
    mix, _ = np.linalg.qr(np.random.default_rng(3).standard_normal((4, 4)))
    omega = 2 * np.pi * np.array([180.0, 307.0, 315.0, 321.0])
    decay = (mix.T * np.array([5.0, 7.0, 50.0, 8.0])) @ mix
    turning, shape = damped_modes(omega, decay)
    whole = np.block([[np.zeros((4, 4)), np.eye(4)], [-np.diag(omega**2), -2.0 * decay]])
    poles, vectors = np.linalg.eig(whole)
    exact = poles[poles.imag > 0]
    exact = exact[np.argsort(exact.imag)]
    assert turning.real == pytest.approx(exact.imag, rel=1e-3)
    assert turning.imag == pytest.approx(-exact.real, rel=0.03)
    struck, seen = np.array([1.0, 0.3, -0.6, 0.8]), np.array([0.2, 1.0, 0.5, -0.4])
    start = np.concatenate([np.zeros(4), struck])
    for time_s in (0.005, 0.02, 0.06):
        moved = ((vectors * np.exp(poles * time_s)) @ np.linalg.solve(vectors, start))[:4].real
        weight = (seen @ shape) * (struck @ shape) / turning.real
        mine = np.imag(weight @ np.exp(1j * turning * time_s))
        assert mine == pytest.approx(seen @ moved, abs=0.03 * np.abs(weight).max())


def test_equal_modes_of_equal_loss_stay_as_they_are() -> None:
    turning, shape = damped_modes(np.array([900.0, 1200.0, 1200.0]), np.diag([4.0, 6.0, 6.0]))
    assert turning == pytest.approx(np.array([900 + 4j, 1200 + 6j, 1200 + 6j]), rel=1e-6)
    assert np.abs(shape) == pytest.approx(np.eye(3), abs=1e-9)


def test_the_other_head_changes_the_low_note_by_its_state() -> None:
    """Air shut in by a head that is held still stiffens (0,1); common practice, no source."""
    lowest = {other: voice(other=other).frequency_hz[0] for other in ("off", "muted", "ringing")}
    assert lowest["off"] < lowest["ringing"] < lowest["muted"]


def test_a_tap_is_silent_before_its_onset_and_smooth_when_the_tip_leaves() -> None:
    take = Take(length_s=0.05, lead_s=0.1)
    y = render_tap(voice(), 3, take=take)
    onset, leaves = 4800, 4800 + 144
    assert not np.any(y[:onset]) and np.any(y[onset : onset + 5])
    bend = np.abs(np.diff(y, 2))
    assert bend[leaves - 3 : leaves + 3].max() < 3 * np.median(bend[onset + 20 : leaves + 200])


def test_a_tap_and_its_mirror_image_sound_the_same() -> None:
    """The heads are symmetric about rod 1: so must be taps left and right of it."""
    spacing = 2 * np.pi / 10
    sounds = [
        record(
            voice(),
            Strike(Place(0.15, side * spacing)),
            Take(Microphone(Place(0.1, side * 0.2)), length_s=0.1),
        )
        for side in (1, -1)
    ]
    assert sounds[0] == pytest.approx(sounds[1], abs=1e-6)


def test_swapping_strike_and_listening_place_changes_no_mode_strength() -> None:
    """Reciprocity of the modal sum: the drive at a place is the shape that is heard there."""
    shape = voice().near_at([0.05, 0.15], [0.2, 1.4])
    assert shape.shape == (2, voice().frequency_hz.size)
    centre = voice().near_at([CENTRE.r_m], [0.0])[0]
    waves = np.array([m for m, _, _ in voice().basis]) > 0
    pure = np.abs(voice().near[waves]).max(axis=0) > 1e-6
    assert np.abs(centre[pure]).max() < 1e-9  # nodal diameters cross in the centre


def test_a_soft_tip_dulls_the_sound() -> None:
    def bright(contact_s: float) -> float:
        y = render_tap(voice(), 1, contact_s=contact_s)
        power = np.abs(np.fft.rfft(y)) ** 2
        return float(power[800:].sum() / power.sum())

    assert bright(0.001) > 3 * bright(0.005)


def test_the_pitch_falls_after_a_hard_hit_only() -> None:
    tom = voice("tom-12x8")

    def early_pitch(impulse: float) -> float:
        y = render_hit(tom, impulse_n_s=impulse, take=Take(length_s=0.06))
        rising = np.flatnonzero((y[:-1] < 0) & (y[1:] >= 0))
        return float(48000 / np.mean(np.diff(rising[1:])))

    assert early_pitch(0.08) > 1.015 * early_pitch(0.005)


def test_one_mode_alone_rises_as_the_film_model_says() -> None:
    """The (0,1) of a single head, 2 mm wide at its middle, against `pitch_glide`."""
    tom = voice("tom-12x8", "off")
    lift = tom.near_at([0.0], [0.0])[0, 0]
    swing = np.zeros(tom.frequency_hz.size)
    swing[0] = 0.002 / lift
    model = head_model(tom.drum, "batter", slide=0.5)
    modes = solve(model, even_pull(model.rim, tom.tension_n_m))
    alone = pitch_glide(model, modes, count=1)
    rise = alone.at(0, 0.002) / alone.frequency_hz[0] - 1.0
    glide = stretch_glide(tom, swing).glide
    # The air bends the mode's shape a little; the film model's (0,1) is that in vacuo.
    assert glide.start.sum() == pytest.approx(rise, rel=0.12)
    assert glide.rate == pytest.approx([2 * 6.9078 / tom.t60_s[0]], rel=1e-4)


def test_modes_lift_each_other_as_the_film_model_says() -> None:
    """(0,1) swings alone: itself it lifts by one, (1,1) by nine tenths, (2,1) by two thirds."""
    tom = voice("tom-12x8", "off")
    swing = np.zeros(tom.frequency_hz.size)
    swing[0] = 0.002 / tom.near_at([0.0], [0.0])[0, 0]
    share = stretch_glide(tom, swing).share[:, 0] / tom.follow
    assert share[0] == 1.0
    for shape, lift in (((1, 1), 0.92), ((2, 1), 0.67)):
        mode = int(np.argmax(np.abs(tom.near[tom.basis.index((*shape, "cos"))])))
        assert share[mode] == pytest.approx(lift, abs=0.02)


def test_the_loudest_usual_hits_do_not_clip() -> None:
    take = Take(length_s=0.05)
    for name in ("snare-14x5.5", "tom-12x8", "kick-22x16"):
        assert np.max(np.abs(render_hit(voice(name), take=take))) < 1.0


def test_a_hit_that_breaks_the_model_is_refused() -> None:
    with pytest.raises(RangeError, match="strike softer"):
        render_hit(voice("kick-22x16"), impulse_n_s=0.5, contact_s=0.004)
    with pytest.raises(RangeError, match="impulse of 7 N s"):
        render_hit(voice(), impulse_n_s=7.0)


def test_weightless_wires_leave_the_sound_alone() -> None:
    feather = WireBed(strands=4, length_m=0.35, draw_n=0.5, strand_kg_m=1e-9)
    take = Take(length_s=0.1)
    alone, laid = (
        render_hit(voice(), Place(0.03), impulse_n_s=1e-3, wires=wires, take=take)
        for wires in (None, feather)
    )
    assert np.std(alone - laid) < 0.01 * np.std(alone)


def test_wires_make_it_buzz() -> None:
    wires = drum().wires
    assert wires is not None
    take = Take(length_s=0.25)
    sounds = [
        render_hit(voice(), Place(0.03), impulse_n_s=0.03, wires=bed, take=take)
        for bed in (None, wire_bed(wires))
    ]
    power = [np.abs(np.fft.rfft(sound)) ** 2 for sound in sounds]
    high = [float(p[round(1500 * 0.25) :].sum() / p.sum()) for p in power]
    assert high[1] > 100 * high[0]


def test_wires_need_a_head_to_lie_on() -> None:
    with pytest.raises(RangeError, match="other head on"):
        render_hit(voice(other="off"), wires=WireBed(20, 0.35))


def test_impossible_states_are_told() -> None:
    with pytest.raises(RangeError, match="tension of 90000"):
        drum_voice(drum(), tension_n_m=9e4)
    with pytest.raises(DrumError, match="no head on its resonant"):
        drum_voice(drum(), "resonant")
    with pytest.raises(RangeError, match="rod 11 does not exist"):
        rod_place(voice(), 11)
    with pytest.raises(RangeError, match="off the head"):
        voice().near_at([0.3], [0.0])
    with pytest.raises(RangeError, match="above the head"):
        Microphone(CENTRE, 0.001)


def test_a_practice_drum_is_as_uneven_as_asked_and_the_same_for_a_seed() -> None:
    again = practice_drum(drum(), seed=5)
    assert np.array_equal(again.deviations(), practice().deviations())
    assert np.sqrt(np.mean(practice().deviations() ** 2)) == pytest.approx(0.095, rel=1e-9)
    assert practice().deviations().mean() == pytest.approx(0.0, abs=1e-12)
    assert not np.allclose(practice_drum(drum(), seed=6).deviations(), again.deviations())
    assert practice_drum(drum(), seed=5, uneven=0.0).deviations() == pytest.approx(0.0, abs=1e-9)


def test_turning_a_rod_tightens_its_lug_by_the_share_that_arrives() -> None:
    turns = [0.0] * 10
    turns[3] = 0.05
    after = practice().turned(turns, rng=np.random.default_rng(0), hand_error=0.0)
    pulled = np.asarray(after.pull_m) - np.asarray(practice().pull_m)
    assert np.flatnonzero(pulled).tolist() == [3]
    assert pulled[3] == pytest.approx(
        practice().arrives * 0.05 * drum().thread_pitch_m, abs=practice().arrives * 1.06e-3 / 128
    )
    assert after.lug_tensions[3] > practice().lug_tensions[3]
    with pytest.raises(RangeError, match="10 rods need 10 turns"):
        practice().turned([0.1], rng=np.random.default_rng(0))


def test_taps_of_a_practice_drum_have_the_noise_that_was_asked() -> None:
    taps = [practice().tap(rod, rng=np.random.default_rng(rod)) for rod in range(1, 11)]
    peaks = [np.max(np.abs(tap)) for tap in taps]
    assert 0.1 < np.median(peaks) < 0.6 and max(peaks) < 1.0
    lead = round(LEAD_S * practice().rate)
    noise = np.std(np.concatenate([tap[:lead] for tap in taps]))
    assert noise == pytest.approx(0.3 * 10 ** (-50 / 20), rel=0.03)
    same = practice().tap(4, rng=np.random.default_rng(4))
    assert np.array_equal(same, taps[3])


def test_the_practice_drum_refuses_nonsense() -> None:
    with pytest.raises(RangeError, match=r"unevenness of 0\.5"):
        practice_drum(drum(), uneven=0.5)
    for extreme in (0.2e-3, 20e-3):  # the legal ends must not trip over the tapper's scatter
        for chance in range(4):
            practice().tap(1, rng=np.random.default_rng(chance), contact_s=extreme, length_s=0.05)
    with pytest.raises(RangeError, match="contact time of 50 ms"):
        practice().tap(1, rng=np.random.default_rng(0), contact_s=0.05)
    with pytest.raises(RangeError, match="rod 0 does not exist"):
        practice().tap(0, rng=np.random.default_rng(0))
