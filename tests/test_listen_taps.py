"""Taps: found at the right time, in files of any length, with what spoils them."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchmarks.listening_sounds import coloured_noise, in_a_room, speech_like
from benchmarks.listening_taps import RATE, Truth, random_tap, tap_signal
from hoopwise.listen import find_taps, find_taps_in_blocks

Real = NDArray[np.float64]


def tap(onset_s: float = 0.4, loud: float = 0.3, length_s: float = 1.4) -> Real:
    truth = Truth(
        onset_s=onset_s,
        frequency_hz=np.array([180.0, 330.0, 505.0]),
        t60_s=np.array([0.5, 0.4, 0.3]),
        amplitude=loud * np.array([1.0, 0.5, 0.4]),
        phase_rad=np.array([-1.5, 0.5, 1.0]),
        glide=0.01,
        glide_rate=25.0,
        noise_sd=0.0,
    )
    return tap_signal(truth, length_s)


def noise(x: Real, sd: float = 1e-4) -> Real:
    return x + sd * np.random.default_rng(1).standard_normal(len(x))


def test_onset_strength_and_end() -> None:
    (found,) = find_taps(noise(tap()), RATE)
    assert found.onset_s == pytest.approx(0.4, abs=2e-4)
    assert found.quality == "good"
    assert -12.0 < found.strength_db < 0.0
    assert found.snr_db > 60.0
    assert 0.6 < found.end_s <= 1.4


@pytest.mark.parametrize("gap_s", [0.3, 0.7])
def test_taps_in_a_row_are_all_found(gap_s: float) -> None:
    times = 0.4 + gap_s * np.arange(6)
    x = noise(sum((tap(t, length_s=times[-1] + 1.0) for t in times), np.zeros(1)))
    assert [t.onset_s for t in find_taps(x, RATE)] == pytest.approx(times, abs=5e-4)


def test_a_softer_tap_on_a_ringing_head_is_found() -> None:
    x = noise(tap(0.4, 0.3, 2.0) + tap(0.9, 0.05, 2.0))
    assert len(find_taps(x, RATE)) == 2


def test_blocks_tell_the_same_as_the_whole() -> None:
    times = np.arange(0.5, 48.0, 1.7)
    x = np.zeros(int(49.0 * RATE))
    one = tap(0.0, length_s=1.2)
    for t in times:
        at = round(t * RATE)
        x[at : at + len(one)] += one[: len(x) - at]
    x = noise(x)
    whole = find_taps(x, RATE)
    assert [t.onset_s for t in whole] == pytest.approx(times, abs=5e-4)
    pieces = list(find_taps_in_blocks((x[i : i + 50_001] for i in range(0, len(x), 50_001)), RATE))
    assert [t.onset_s for t in pieces] == pytest.approx([t.onset_s for t in whole], abs=1e-9)


def test_blocks_are_not_hoarded() -> None:
    def endless() -> Iterator[Real]:
        for _ in range(6):
            yield noise(np.zeros(int(16.0 * RATE)))
            yield noise(tap())

    taps = find_taps_in_blocks(endless(), RATE)
    assert next(taps).onset_s == pytest.approx(16.4, abs=1e-3)


def test_clipping_is_seen_at_any_level() -> None:
    x = noise(tap(loud=0.6), 1e-5)
    cut = 0.5 * np.clip(x, -0.4, 0.4)
    assert "clipped" in find_taps(cut, RATE)[0].flaws
    assert "clipped" not in find_taps(x, RATE)[0].flaws


def test_a_bounce_is_a_double_hit() -> None:
    x = noise(tap() + tap(0.46, 0.2))
    rng = np.random.default_rng(6)
    for at, loud in ((0.4, 0.3), (0.46, 0.2)):
        start = round(at * RATE)
        x[start : start + 48] += loud * rng.standard_normal(48)
    (found,) = find_taps(x, RATE)
    assert found.flaws == ("double hit",)


def test_a_soft_tap_is_called_soft() -> None:
    x = noise(tap(loud=0.02), 0.006)
    assert "too soft" in find_taps(x, RATE)[0].flaws


def test_an_early_end_is_called_cut_short() -> None:
    x = noise(tap())[: int(0.52 * RATE)]
    assert find_taps(x, RATE)[0].flaws == ("cut short",)


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
@pytest.mark.parametrize("rate", [16_000.0, 48_000.0])
def test_noise_holds_no_tap(slope: float, rate: float) -> None:
    x = coloured_noise(np.random.default_rng(int(slope)), int(4.0 * rate), slope)
    assert find_taps(x, rate) == []


def test_speech_holds_next_to_no_tap() -> None:
    rng = np.random.default_rng(3)
    assert len(find_taps(speech_like(rng, RATE, 30.0), RATE)) <= 1


@pytest.mark.parametrize("kind", ["silence", "offset", "tone", "gated tone", "click", "scrap"])
def test_what_is_no_strike_holds_no_tap(kind: str) -> None:
    t = np.arange(int(RATE)) / RATE
    click = np.zeros(len(t))
    click[20_000] = 1.0
    sounds = {
        "silence": np.zeros(len(t)),
        "offset": np.full(len(t), 0.3),
        "tone": np.sin(2.0 * np.pi * 100.0 * t),
        "gated tone": noise(np.where(t > 0.5, np.sin(2.0 * np.pi * 150.0 * t), 0.0)),
        "click": noise(click),
        "scrap": np.random.default_rng(0).standard_normal(480),
    }
    assert find_taps(sounds[kind], RATE) == []


@settings(max_examples=12, deadline=None)
@given(st.floats(1e-3, 1.0), st.sampled_from([-1.0, 1.0]), st.integers(0, 30_000))
def test_level_polarity_and_silence_before_move_nothing(
    level: float, sign: float, before: int
) -> None:
    x = noise(tap())
    (one,) = find_taps(x, RATE)
    quiet = 1e-4 * np.random.default_rng(2).standard_normal(before)
    (other,) = find_taps(sign * level * np.concatenate([quiet, x]), RATE)
    assert other.onset_s - before / RATE == pytest.approx(one.onset_s, abs=1e-4)
    assert other.strength_db - 20.0 * np.log10(level) == pytest.approx(one.strength_db, abs=0.01)
    assert other.flaws == one.flaws


def test_integers_are_scaled() -> None:
    x = noise(tap())
    (floats,) = find_taps(x, RATE)
    (ints,) = find_taps((x * 32767.0).astype(np.int16), RATE)
    assert ints.strength_db == pytest.approx(floats.strength_db, abs=0.01)
    assert ints.onset_s == pytest.approx(floats.onset_s, abs=1e-4)


def in_room(direct_db: float, seed: int, pair: bool = False) -> list[str]:
    rng = np.random.default_rng(seed)
    x, _ = random_tap(rng, 60.0, pair=pair)
    (found,) = find_taps(in_a_room(x, RATE, direct_db, rng), RATE)
    return list(found.flaws)


def test_a_room_that_spoils_a_tap_is_told() -> None:
    told = ["too reverberant" in in_room(10.0, seed) for seed in range(8)]
    assert sum(told) >= 6


@pytest.mark.parametrize("pair", [False, True])
def test_a_room_that_does_no_harm_is_not_told(pair: bool) -> None:
    assert [in_room(40.0, seed, pair) for seed in range(5)] == 5 * [[]]


def test_wires_are_no_room() -> None:
    """A rattle that follows the head is broad noise, not a copy of the modes."""
    x = tap()
    rng = np.random.default_rng(4)
    rattle = 0.3 * np.abs(x) * rng.standard_normal(len(x))
    (found,) = find_taps(noise(x + rattle), RATE)
    assert "too reverberant" not in found.flaws


@pytest.mark.parametrize("snr_db", [30.0, 50.0])
def test_a_bounce_in_the_ring_is_found(snr_db: float) -> None:
    rng = np.random.default_rng(31)
    seen = 0
    for _ in range(6):
        x, truth = random_tap(rng, snr_db)
        assert find_taps(x, RATE)[0].quality == "good"
        late = round(rng.uniform(0.03, 0.1) * RATE)
        struck = np.where(np.arange(len(x)) >= truth.onset_s * RATE, x, 0.0)
        x[late:] += 0.5 * struck[:-late]
        seen += "double hit" in find_taps(x, RATE)[0].flaws
    assert seen == 6
