"""The settled note of a hit: invariant under what must not change it, honest otherwise."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import resample_poly

from benchmarks.listening_sounds import coloured_noise
from hoopwise.errors import RecordingError
from hoopwise.listen import settled_note
from hoopwise.units import cents

Real = NDArray[np.float64]
RATE = 44_100.0


def hit(
    note_hz: float = 90.0,
    strength: float = 1.0,
    t60_s: float = 1.2,
    rise: float = 0.2,
    seed: int = 0,
    others: float = 0.0,
) -> Real:
    """A tom whose tension follows its energy: the square of the frequency rises by ``rise``.

    Modes that die twice as soon as the note lift it by ``others`` more.
    """
    t = np.arange(int(1.8 * RATE)) / RATE
    decay = math.log(1000.0) / t60_s
    stretch = strength**2 * (rise * np.exp(-2.0 * decay * t) + others * np.exp(-4.0 * decay * t))
    turn = 2.0 * np.pi * np.cumsum(np.sqrt(1.0 + stretch)) / RATE
    x = np.exp(-decay * t) * np.sin(note_hz * turn)
    for ratio, level, ring in ((1.6, 0.2, 0.5), (2.15, 0.15, 0.35), (2.9, 0.1, 0.25)):
        x += level * np.exp(-math.log(1000.0) / ring * t) * np.sin(ratio * note_hz * turn)
    quiet = np.zeros(int(0.3 * RATE))
    rng = np.random.default_rng(seed)
    y = 0.5 * strength * np.concatenate([quiet, x])
    return y + 2e-4 * rng.standard_normal(len(y))


HIT = hit()
NOTE = settled_note(HIT, RATE)


@pytest.mark.parametrize("note_hz", [62.0, 90.0, 140.0])
@pytest.mark.parametrize("strength", [0.05, 0.3, 1.0])
def test_strength_does_not_move_the_note(note_hz: float, strength: float) -> None:
    note = settled_note(hit(note_hz, strength), RATE)
    assert abs(cents(note.frequency_hz, note_hz)) < 2.0
    assert abs(note.frequency_hz - note_hz) < 3.0 * note.sd_hz
    expected = cents(math.sqrt(1.0 + 0.2 * strength**2), 1.0)
    assert note.glide_cents == pytest.approx(expected, rel=0.25, abs=3.0)
    assert note.t60_s == pytest.approx(1.2, rel=0.1)


@pytest.mark.parametrize("strength", [0.3, 0.6, 1.0])
@pytest.mark.parametrize("note_hz", [62.0, 90.0, 140.0])
def test_a_lift_by_other_modes_does_not_move_the_note(note_hz: float, strength: float) -> None:
    note = settled_note(hit(note_hz, strength, rise=0.05, others=0.1), RATE)
    assert abs(cents(note.frequency_hz, note_hz)) < 0.3
    assert abs(note.frequency_hz - note_hz) < note.sd_hz


def test_intervals_hold_the_truth() -> None:
    rng = np.random.default_rng(8)
    held = []
    for seed in range(20):
        true = float(rng.uniform(60.0, 180.0))
        x = hit(true, float(rng.uniform(0.1, 1.0)), float(rng.uniform(0.5, 2.0)), seed=seed)
        note = settled_note(x, RATE)
        held.append(abs(note.frequency_hz - true) < 1.645 * note.sd_hz)
    assert sum(held) >= 16


@settings(max_examples=10, deadline=None)
@given(st.floats(0.01, 2.0), st.sampled_from([-1.0, 1.0]), st.integers(0, 20_000))
def test_level_polarity_and_added_silence_do_not_move_the_note(
    level: float, sign: float, more: int
) -> None:
    rng = np.random.default_rng(3)
    quiet = 2e-4 * rng.standard_normal(more)
    note = settled_note(sign * level * np.concatenate([quiet, HIT, quiet]), RATE)
    assert abs(cents(note.frequency_hz, NOTE.frequency_hz)) < 0.1


@pytest.mark.parametrize(("up", "down"), [(160, 147), (80, 147)])
def test_another_rate_does_not_move_the_note(up: int, down: int) -> None:
    there = np.asarray(resample_poly(HIT, up, down))
    note = settled_note(there, RATE * up / down)
    assert abs(cents(note.frequency_hz, NOTE.frequency_hz)) < 0.2


def test_a_known_shift_is_heard() -> None:
    faster = np.asarray(resample_poly(HIT, 100, 103))
    note = settled_note(faster, RATE)
    expected = cents(1.03, 1.0)
    assert cents(note.frequency_hz, NOTE.frequency_hz) == pytest.approx(expected, abs=0.5)


def test_the_lowest_strong_mode_is_the_note_and_a_rival_is_named() -> None:
    x = hit(90.0, 0.2)
    t = np.arange(len(x)) / RATE - 0.3
    ring = np.where(t > 0.0, np.exp(-5.0 * np.maximum(t, 0.0)), 0.0)
    x = x + 0.12 * ring * np.sin(2.0 * np.pi * 155.0 * t)
    note = settled_note(x, RATE)
    assert note.frequency_hz == pytest.approx(90.0, abs=0.2)
    assert note.rival_hz == pytest.approx(155.0, abs=2.0)


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0, 3.0])
def test_noise_has_no_note(slope: float) -> None:
    x = coloured_noise(np.random.default_rng(7), int(2.0 * RATE), slope)
    with pytest.raises(RecordingError, match="no drum hit"):
        settled_note(x, RATE)


def test_silence_scraps_and_bad_ranges_are_refused_in_words() -> None:
    for x in (np.zeros(44_100), np.empty(0), HIT[:441]):
        with pytest.raises(RecordingError, match="no drum hit"):
            settled_note(x, RATE)
    with pytest.raises(RecordingError, match="out of reach"):
        settled_note(HIT, RATE, 600.0, 40.0)
    with pytest.raises(RecordingError, match="holds no clear note between 700 and 900 Hz"):
        settled_note(hit(90.0, 0.3), RATE, 700.0, 900.0)
