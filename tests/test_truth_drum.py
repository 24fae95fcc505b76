"""The simulated truth, whole drums: what is drawn, struck, turned and heard."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.truth import TrueDrum, random_truth, sound
from benchmarks.truth.drum import Player

STEADY = Player(place_sd_m=0.0, angle_sd_rad=0.0, turn_sd=0.0, turn_slop=0.0, contact_sd=0.0)


@pytest.fixture(scope="module")
def truth() -> TrueDrum:
    return random_truth(np.random.default_rng(3), 8)


@pytest.mark.parametrize(("rods", "kind"), [(6, "batter"), (10, "snare_side")])
def test_drawn_drums_are_as_ordered(rods: int, kind: str) -> None:
    drawn = random_truth(np.random.default_rng(11), rods, kind)  # type: ignore[arg-type]
    deviations = drawn.deviations()
    assert deviations.sum() == pytest.approx(0.0, abs=1e-9)
    assert 0.088 < np.sqrt(np.mean(deviations**2)) < 0.102
    low = drawn.modes.omega[0].real / (2.0 * np.pi) * drawn.nominal.diameter_m / (14 * 0.0254)
    assert 130.0 < low < 245.0
    assert drawn.nominal.rods == rods
    off = drawn.held.stretch_n_m / drawn.nominal.head(drawn.side).film.stretch_stiffness_n_m
    assert 0.04 < abs(np.log(off)) < 0.11


def test_turns_add_up_without_a_hand_s_errors(truth: TrueDrum) -> None:
    steady = replace(truth, player=STEADY)
    rng = np.random.default_rng(0)
    turns = np.array([0.02, 0.0, -0.03, 0.01, 0.0, 0.05, -0.02, 0.0])
    once = steady.turned(2 * turns, rng)
    twice = steady.turned(turns, rng).turned(turns, rng)
    assert once.deviations() == pytest.approx(twice.deviations(), abs=1e-12)
    assert steady.turned(-turns, rng).turned(turns, rng).deviations() == pytest.approx(
        truth.deviations(), abs=1e-12
    )
    assert steady.turned(np.full(8, 0.05), rng).mean_tension() > 1.05 * truth.mean_tension()
    assert (
        np.abs(truth.turned(turns, rng).deviations() - steady.turned(turns, rng).deviations()).max()
        > 1e-3
    )


def spectrum_peak(samples: NDArray[np.float64], low_hz: float, high_hz: float) -> float:
    start = round((sound.PRE_ROLL_S + 0.15) * sound.RATE)
    part = samples[start:] * np.hanning(len(samples) - start)
    size = 1 << 20
    power = np.abs(np.fft.rfft(part, size))
    hz = np.fft.rfftfreq(size, 1.0 / sound.RATE)
    inside = (hz > low_hz) & (hz < high_hz)
    return float(hz[inside][np.argmax(power[inside])])


def test_taps_ring_at_the_modes(truth: TrueDrum) -> None:
    samples = truth.tap(1, np.random.default_rng(0), noise_db=-80.0)
    modes = truth.modes.omega.real / (2.0 * np.pi)
    peak = spectrum_peak(samples, 200.0, 1000.0)
    assert np.abs(modes - peak).min() < 0.5
    assert len(samples) == round(sound.LENGTH_S * truth.rate)
    assert 0.02 < np.abs(samples).max() < 1.0


def test_a_told_tap_is_the_sum_of_its_modes(truth: TrueDrum) -> None:
    told = truth.told_tap(2, np.random.default_rng(4), noise_db=-120.0)
    strike, omega = told.strike, truth.modes.omega
    t = np.arange(round(0.2 * truth.rate), round(0.5 * truth.rate)) / truth.rate
    since = t - strike.onset_s
    warped = since + strike.glide * (1 - np.exp(-strike.glide_rate * since)) / strike.glide_rate
    phase = omega.real[:, None] * warped
    ringing = np.exp(1j * phase - omega.imag[:, None] * since)
    wanted = np.sum((told.amplitude[:, None] * ringing).real, axis=0)
    heard = told.samples[round(0.2 * truth.rate) : round(0.5 * truth.rate)]
    assert np.abs(heard - wanted).max() < 2e-3 * np.abs(wanted).max()


def test_noise_lies_where_it_is_put(truth: TrueDrum) -> None:
    samples = truth.tap(2, np.random.default_rng(1))
    before = samples[: round(0.14 * truth.rate)]
    level = 20.0 * np.log10(np.std(before) / np.abs(samples).max())
    assert -53.0 < level < -47.0


def test_a_long_contact_takes_the_high_modes_away(truth: TrueDrum) -> None:
    def energy_above(samples: NDArray[np.float64], hz: float) -> float:
        power = np.abs(np.fft.rfft(samples)) ** 2
        frequency = np.fft.rfftfreq(len(samples), 1.0 / truth.rate)
        return float(power[frequency > hz].sum())

    hard = truth.tap(1, np.random.default_rng(2), contact_s=2e-3, noise_db=-90.0)
    soft = truth.tap(1, np.random.default_rng(2), contact_s=8e-3, noise_db=-90.0)
    assert energy_above(soft, 600.0) < 0.05 * energy_above(hard, 600.0)


def test_force_drives_a_mode_as_a_spring_and_mass() -> None:
    """Half-sine pulse on an undamped oscillator: closed form of its ringing afterwards,
    2 w0 cos(w T/2) / (w0^2 - w^2) per unit peak force, w0 = pi / T."""
    omega, contact = 2.0 * np.pi * 180.0, 4e-3
    own = np.pi / contact
    impulse = 2.0 / own
    strike = sound.Strike(0.15, contact, impulse, 1.0, 0.0, 15.0)
    out = sound.ringing(strike, np.array([omega + 1e-3j]), np.array([1.0 + 0j]))
    wanted = abs(2.0 * own * np.cos(omega * contact / 2.0) / (own**2 - omega**2))
    assert np.abs(out[1200:4000]).max() == pytest.approx(wanted, rel=1e-2)


def test_room_has_the_energy_asked_for() -> None:
    rng = np.random.default_rng(0)
    dry = np.exp(-np.arange(6000.0) / 800.0) * rng.normal(size=6000)
    wet = sound.with_room(dry, sound.room_response(rng, 0.5), 20.0)
    ratio = np.sum(dry**2) / np.sum((wet - dry) ** 2)
    assert 10.0 * np.log10(ratio) == pytest.approx(20.0, abs=0.01)


def test_a_double_hit_strikes_twice(truth: TrueDrum) -> None:
    once = truth.tap(3, np.random.default_rng(5), noise_db=-90.0)
    twice = truth.tap(3, np.random.default_rng(5), noise_db=-90.0, double_hit=True)
    start = round((sound.PRE_ROLL_S - 5e-3) * truth.rate)
    assert np.abs(once[start:] - twice[start:]).max() > 0.1 * np.abs(once).max()


def test_rods_across_sound_alike_near_the_hoop(truth: TrueDrum) -> None:
    heard = np.array([truth.low_pitch(rod) for rod in range(1, 9)])
    across = np.abs(heard[:4] - heard[4:]).max()
    assert np.ptp(heard) > 3.0 * across
