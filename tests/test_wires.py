"""Wires on the snare side: energy, the strike level at which they leave, and trends."""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import jn_zeros, jv

from hoopwise.acoustics.contact import ContactScheme
from hoopwise.acoustics.wires import HeadMotion, Rattle, WireBed, leaving_impulse, rattle
from hoopwise.errors import RangeError
from hoopwise.render.pulse import answer_after
from hoopwise.units import DECAY_60_DB

Floats = NDArray[np.float64]
RATE = 48000
RADIUS, SHEET, TENSION = 0.178, 0.106, 1500.0
BED = WireBed(strands=20, length_m=0.35)


def pulse(contact_s: float = 0.003) -> Floats:
    time = (np.arange(round(contact_s * RATE)) + 0.5) / RATE
    return np.asarray(2.0 / contact_s * np.sin(np.pi * time / contact_s) ** 2)


@cache
def head() -> HeadMotion:
    """A thin head by itself, its modes from the ideal membrane; struck off the centre."""
    along = BED.places_m()
    r, angle = np.abs(along), np.where(along > 0, 0.0, np.pi)
    pole, at_wires, at_strike = [], [], []
    for m in range(6):
        for zero in jn_zeros(m, 3):
            mass = SHEET * (2 if m == 0 else 1) * np.pi * RADIUS**2 / 2 * jv(m + 1, zero) ** 2
            omega = zero / RADIUS * np.sqrt(TENSION / SHEET)
            pole.append(-DECAY_60_DB / 0.8 + 1j * omega)
            at_wires.append(jv(m, zero * r / RADIUS) * np.cos(m * angle) / np.sqrt(mass))
            at_strike.append(jv(m, zero * 0.3) * np.cos(m * 0.4) / np.sqrt(mass))
    return HeadMotion(np.array(pole), np.array(at_wires).T, np.array(at_strike))


@cache
def leaves(draw_n: float) -> float:
    return leaving_impulse(WireBed(20, 0.35, draw_n=draw_n), head(), pulse(), RATE)


def struck(bed: WireBed, impulse: float, seconds: float = 0.25) -> Rattle:
    return rattle(bed, head(), impulse * pulse(), RATE, round(seconds * RATE))


@pytest.mark.parametrize("times", [0.5, 3.0, 30.0])
def test_energy_never_grows_without_a_strike(times: float) -> None:
    told = struck(BED, times * leaves(8.0))
    after = told.run.energy_j[pulse().size :]
    given = after[0] - after.min()
    assert np.max(np.diff(after)) <= 1e-12 * given
    assert given > 0


def test_the_head_alone_rings_with_its_own_poles() -> None:
    """Without contact the scheme must keep frequency and ring time of a mode exactly."""
    pole = np.array([-9.0 + 2j * np.pi * 1234.5])
    start, watch = np.array([-1.0]), (np.array([1.0]), np.zeros(1))
    scheme = ContactScheme(pole, np.array([[0.0]]), np.zeros(1), 1e4, RATE)
    told = scheme.run(start, np.zeros(0), np.zeros(1), 2000, watch)
    y = told.seen
    # Any exact damped sinusoid obeys y[n+1] = 2 Re(z) y[n] - |z|^2 y[n-1], z = exp(pole/rate).
    z = np.exp(pole[0] / RATE)
    assert y[2:] == pytest.approx(2 * z.real * y[1:-1] - abs(z) ** 2 * y[:-2], abs=1e-10)


def test_a_falling_weight_bounces_off_and_never_higher() -> None:
    """One mass on a nearly free coordinate under a constant load, against a stiff stop."""
    pole = np.array([-1e-6 + 1.0j])
    scheme = ContactScheme(pole, np.array([[1.0]]), np.array([10.0]), 1e6, RATE)
    start, watch = np.array([-0.02]), (np.array([1.0]), np.zeros(1))
    told = scheme.run(start, np.zeros(0), np.zeros(1), RATE // 3, watch)
    hits = np.flatnonzero((told.force_n[1:, 0] > 0) & (told.force_n[:-1, 0] == 0))
    # Free fall over 20 mm at 10 m/s^2 (the weak spring changes it by 0.2 %).
    assert hits[0] / RATE == pytest.approx(np.sqrt(2 * 0.02 / 10.0), rel=0.01)
    tops = [-0.02, *(told.seen[a:b].min() for a, b in pairwise(hits))]
    assert len(tops) > 2
    assert all(first <= later for first, later in pairwise(tops))


def test_below_the_leaving_level_the_wires_lie_still_and_just_above_they_leave() -> None:
    level = leaves(8.0)
    assert struck(BED, 0.95 * level, 0.06).left_s is None
    above = struck(BED, 1.05 * level, 0.06)
    assert above.left_s is not None and above.returned_s is not None
    assert above.returned_s > above.left_s


def test_harder_drawn_wires_leave_later() -> None:
    levels = [leaves(draw) for draw in (2.0, 4.0, 8.0, 16.0)]
    assert all(low < high for low, high in pairwise(levels))


def test_a_louder_strike_rattles_longer() -> None:
    level = leaves(8.0)
    lengths = [struck(BED, times * level).returned_s or 0.0 for times in (1.5, 6.0, 50.0)]
    assert lengths[0] < lengths[1] < lengths[2]


def test_wires_leave_a_heavy_head_at_the_amplitude_of_the_closed_form() -> None:
    """On a head moving as A sin(pi x/L) cos wt they press with p - (mu w^2 - S k^2) A at most.

    That is the string's own equation with the head's motion put in, k = pi/L; the head is
    heavy so that the wires do not brake it, and pushed towards them first.
    """
    omega, mass, contact = 2 * np.pi * 300.0, 50.0, 1.5e-3
    k = np.pi / BED.length_m
    half_wave = np.cos(k * BED.places_m())[:, None] / np.sqrt(mass)
    pole = np.array([-0.01 + 1j * omega])
    heavy = HeadMotion(pole, half_wave, np.array([-1.0 / np.sqrt(mass)]))
    level = leaving_impulse(BED, heavy, pulse(contact), RATE, within_s=0.005)
    amplitude = level / (mass * omega) * abs(answer_after(pole, contact)[0])
    inertia = BED.mass_kg_m * omega**2 - BED.tension_n * k**2
    assert amplitude == pytest.approx(BED.press_n_m / inertia, rel=0.03)


def test_bad_numbers_are_told() -> None:
    with pytest.raises(RangeError, match="draw of 0 N"):
        WireBed(20, 0.35, draw_n=0.0)
    with pytest.raises(RangeError, match="20000 steps"):
        rattle(BED, head(), pulse(), 8000, 10)
