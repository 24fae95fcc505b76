"""Modes of single taps: against the Cramer-Rao bound, closed forms, scipy and librosa."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import find_peaks, hilbert

from benchmarks.listening_bound import frequency_bound
from benchmarks.listening_modes import is_resolved, isolated, pair_ratio
from benchmarks.listening_sounds import in_a_room
from benchmarks.listening_taps import RATE, Truth, random_tap, tap_signal
from hoopwise.errors import RecordingError
from hoopwise.listen import modes_of_tap

Real = NDArray[np.float64]


def truth_of(
    frequency: list[float],
    t60: list[float],
    amplitude: list[float],
    noise_sd: float = 1e-5,
    glide: float = 0.0,
) -> Truth:
    return Truth(
        onset_s=0.4,
        frequency_hz=np.array(frequency),
        t60_s=np.array(t60),
        amplitude=np.array(amplitude),
        phase_rad=np.linspace(-1.0, 1.0, len(frequency)),
        glide=glide,
        glide_rate=25.0,
        noise_sd=noise_sd,
    )


def heard(truth: Truth, seed: int = 0) -> Real:
    x = tap_signal(truth, 1.4)
    return x + truth.noise_sd * np.random.default_rng(seed).standard_normal(len(x))


CRLB_CASES = [
    # T60 s, f Hz, SNR dB, sd of f over a long record, Hz. Source: closed form
    # sd(f) = 4 a^1.5 sigma / (2 pi A sqrt(fs)), derived; topic of Yao and Pandit,
    # IEEE Trans. Signal Process. 1995.
    (0.5, 200.0, 30.0, 0.003319),
    (0.2, 300.0, 20.0, 0.041335),
    (1.0, 150.0, 40.0, 0.000372),
]


@pytest.mark.parametrize(("t60", "f", "snr_db", "sd_hz"), CRLB_CASES)
def test_fisher_matrix_agrees_with_the_closed_form(
    t60: float, f: float, snr_db: float, sd_hz: float
) -> None:
    noise = 0.3 / np.sqrt(2.0) * 10.0 ** (-snr_db / 20.0)
    truth = truth_of([f], [t60], [0.3], noise_sd=noise)
    # without a glide to be found: leave its two rows out of the information
    _, cov = frequency_bound(truth, 0.0, 3.0 * t60)
    information = np.linalg.inv(cov)[:-2, :-2]
    bound = np.sqrt(np.linalg.inv(information)[0, 0])
    assert bound == pytest.approx(sd_hz, rel=0.02)


@pytest.mark.parametrize("snr_db", [20.0, 40.0, 60.0])
def test_isolated_modes_reach_the_bound(snr_db: float) -> None:
    told = isolated(snr_db, taps=12, seed=5)
    assert told.missed == 0
    assert told.invented == 0
    # about 60 modes: an efficient estimator gives 1 within 0.2
    assert told.efficiency() > 0.7
    assert 0.8 <= told.coverage() <= 1.0
    assert abs(np.mean(told.onset_ms)) < 0.2
    assert np.std(told.onset_ms) < 0.15


def test_pairs_that_the_bound_allows_are_resolved() -> None:
    rng = np.random.default_rng(12)
    told: list[bool] = []
    while len(told) < 12:
        x, truth = random_tap(rng, 40.0, modes=3, pair=True)
        if pair_ratio(truth) > 20.0:
            told.append(is_resolved(modes_of_tap(x, RATE), truth))
    assert sum(told) >= 11


def test_single_modes_are_not_split() -> None:
    rng = np.random.default_rng(21)
    for _ in range(8):
        x, truth = random_tap(rng, 50.0, modes=3)
        assert len(modes_of_tap(x, RATE)) == len(truth.frequency_hz)


def test_ring_time_and_amplitude_are_those_put_in() -> None:
    truth = truth_of([160.0, 333.0, 512.0], [0.9, 0.5, 0.3], [0.2, 0.1, 0.05], glide=0.01)
    modes = modes_of_tap(heard(truth), RATE)
    assert [m.frequency_hz for m in modes] == pytest.approx(truth.frequency_hz, abs=0.01)
    assert [m.t60_s for m in modes] == pytest.approx(truth.t60_s, rel=0.01)
    assert [m.amplitude for m in modes] == pytest.approx(truth.amplitude, rel=0.01)
    assert all(m.pair is None and m.slow_t60_s is None for m in modes)


def test_a_pair_is_numbered() -> None:
    truth = truth_of([200.0, 203.0, 420.0], [0.6, 0.6, 0.5], [0.2, 0.15, 0.1])
    modes = modes_of_tap(heard(truth), RATE)
    assert [m.pair for m in modes] == [0, 0, None]


def test_decay_agrees_with_the_envelope_of_scipy() -> None:
    truth = truth_of([220.0], [0.6], [0.3])
    x = heard(truth)
    (mode,) = modes_of_tap(x, RATE)
    part = slice(int(0.45 * RATE), int(0.75 * RATE))
    envelope = np.abs(hilbert(x))[part]
    slope = np.polyfit(np.arange(len(envelope)) / RATE, 20.0 * np.log10(envelope), 1)[0]
    assert mode.t60_s == pytest.approx(-60.0 / slope, rel=0.01)


def test_frequencies_agree_with_the_spectrum_of_librosa() -> None:
    import librosa  # slow to import, and only here

    truth = truth_of([150.0, 260.0, 410.0], [0.9, 0.8, 0.7], [0.2, 0.2, 0.2])
    x = heard(truth)
    size = 1 << 15
    power = np.abs(librosa.stft(x[int(0.41 * RATE) :], n_fft=size, center=False))[:, 0]
    top, _ = find_peaks(power, height=0.1 * power.max(), distance=int(40.0 / RATE * size))
    modes = modes_of_tap(x, RATE)
    assert [m.frequency_hz for m in modes] == pytest.approx(top * RATE / size, abs=RATE / size)


def test_a_two_stage_decay_is_one_mode() -> None:
    truth = truth_of([180.0, 180.0], [0.25, 1.5], [0.3, 0.1])
    (mode,) = modes_of_tap(heard(truth), RATE)
    assert mode.frequency_hz == pytest.approx(180.0, abs=0.1)
    assert mode.slow_t60_s is not None
    assert mode.t60_s < 0.5 < mode.slow_t60_s


def test_the_strike_itself_does_not_reach_the_modes() -> None:
    rng = np.random.default_rng(4)
    truth = truth_of([170.0, 350.0], [0.8, 0.5], [0.2, 0.1])
    x = heard(truth)
    at = int(0.4 * RATE)
    click = x.copy()
    click[at : at + 120] += 0.3 * rng.standard_normal(120)
    before = [m.frequency_hz for m in modes_of_tap(x, RATE)]
    after = [m.frequency_hz for m in modes_of_tap(click, RATE)]
    assert after == pytest.approx(before, abs=0.02)


@pytest.mark.parametrize("rate", [16_000.0, 44_100.0, 96_000.0])
def test_every_rate_tells_the_same(rate: float) -> None:
    truth = truth_of([170.0, 350.0], [0.8, 0.5], [0.2, 0.1], glide=0.01)
    there = Truth(**{**truth.__dict__, "rate": rate})
    x = tap_signal(there, 1.4)
    x = x + 1e-5 * np.random.default_rng(0).standard_normal(len(x))
    modes = modes_of_tap(x, rate)
    assert [m.frequency_hz for m in modes] == pytest.approx([170.0, 350.0], abs=0.02)


def test_nothing_is_heard_in_nothing() -> None:
    rng = np.random.default_rng(0)
    assert modes_of_tap(np.zeros(48_000), RATE) == []
    assert modes_of_tap(rng.standard_normal(48_000), RATE) == []
    assert modes_of_tap(np.empty(0), RATE) == []


@pytest.mark.parametrize(
    ("samples", "rate", "says"),
    [
        (np.array([0.0, np.nan, 0.0]), RATE, "sample 1 is not a finite number"),
        (np.zeros((2, 100)), RATE, "one channel at a time"),
        (np.zeros(100), 0.0, "out of range"),
        (np.zeros(100, dtype=complex), RATE, "are not sound"),
    ],
)
def test_bad_samples_are_refused_in_words(
    samples: NDArray[np.generic], rate: float, says: str
) -> None:
    with pytest.raises(RecordingError, match=says):
        modes_of_tap(samples, rate)


def test_a_room_invents_few_modes() -> None:
    rng = np.random.default_rng(17)
    invented = 0
    for _ in range(6):
        x, truth = random_tap(rng, 60.0)
        found = modes_of_tap(in_a_room(x, RATE, 30.0, rng), RATE)
        away = [np.min(np.abs(truth.frequency_hz - m.frequency_hz)) for m in found]
        invented += sum(df > 4.0 for df in away)
    assert invented <= 8
