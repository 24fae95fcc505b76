"""The sound engine: partials, pulse, microphone and loudness against independent sums."""

import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from scipy.special import jn_zeros, jv

from hoopwise.drum import load_drum
from hoopwise.errors import RangeError
from hoopwise.render.build import drum_voice
from hoopwise.render.loudness import a_weight, loudness_db, match_loudness
from hoopwise.render.microphone import Microphone, heard
from hoopwise.render.partials import Glide, Partials, ring
from hoopwise.render.pulse import answer_after, answer_during, check_contact, push
from hoopwise.render.voice import Place

RATE = 48000.0


def some_partials(rng: np.random.Generator, count: int = 25) -> Partials:
    return Partials(
        frequency_hz=np.sort(rng.uniform(60.0, 3000.0, count)),
        t60_s=rng.uniform(0.05, 3.0, count),
        amplitude=rng.normal(size=count) + 1j * rng.normal(size=count),
        sensitivity=rng.uniform(0.0, 1.0, (count, 2)),
    )


@pytest.mark.parametrize("start", [0.0, 0.002, 0.08])
@pytest.mark.parametrize("count", [1, 127, 30000])
def test_block_sums_equal_the_plain_sum(start: float, count: int) -> None:
    partials = some_partials(np.random.default_rng(1))
    glide = Glide(np.array([start, 0.3 * start]), np.array([25.0, 4.0]))
    t = np.arange(count) / RATE
    bent = t[:, None] + glide.integral(t) @ partials.sensitivity.T
    phasors = np.exp(2j * np.pi * partials.frequency_hz * bent - np.outer(t, partials.decay))
    plain = (phasors @ partials.amplitude).real
    fast = ring(partials, count, RATE, glide)
    assert np.max(np.abs(fast - plain)) < 1e-4 * np.max(np.abs(plain))


def test_the_glide_is_the_slope_of_its_integral() -> None:
    glide = Glide(np.array([0.05, 0.01]), np.array([20.0, 3.0]))
    t = np.linspace(0.0, 0.5, 11)
    slope = (glide.integral(t + 1e-6) - glide.integral(t - 1e-6)) / 2e-6
    assert slope == pytest.approx(glide.at(t), rel=1e-6)


@pytest.mark.parametrize("contact_s", [0.001, 0.003, 0.010])
def test_a_mode_answers_the_pulse_as_the_integral_says(contact_s: float) -> None:
    pole = np.array([-8.0 + 2j * np.pi * 180.0, -60.0 + 2j * np.pi * 1100.0])
    assert quad(lambda t: float(push(np.array([t]), contact_s)[0]), 0, contact_s)[0] == (
        pytest.approx(1.0)
    )
    ends = np.array([0.0, 0.4, 1.0]) * contact_s
    closed = answer_during(pole, ends, contact_s)
    for i, s in enumerate(pole):
        for j, end in enumerate(ends):
            parts = [
                quad(
                    lambda t, s=s, end=end, part=part: float(
                        push(np.array([t]), contact_s)[0] * getattr(np.exp(s * (end - t)), part)
                    ),
                    0.0,
                    end,
                )[0]
                for part in ("real", "imag")
            ]
            assert closed[i, j] == pytest.approx(complex(*parts), abs=1e-9)
    assert answer_after(pole, contact_s) == pytest.approx(closed[:, -1], abs=1e-12)


def test_no_tip_stays_for_a_second() -> None:
    with pytest.raises(RangeError, match="contact time of 1000 ms"):
        check_contact(1.0)


def test_a_weighting_is_that_of_the_standard() -> None:
    """IEC 61672-1 table 3, A weighting in dB at 20, 100, 250 Hz, 1, 4, 10 kHz, FROM MEMORY."""
    third_octaves = 1000.0 * 10.0 ** (np.array([-17, -10, -6, 0, 6, 10]) / 10.0)
    table = [-50.5, -19.1, -8.6, 0.0, 1.0, -2.5]
    assert 20 * np.log10(a_weight(third_octaves)) == pytest.approx(table, abs=0.06)


def test_matched_previews_are_equally_loud_and_never_clip() -> None:
    t = np.arange(48000) / RATE
    sounds = [
        scale * np.exp(-t / 0.2) * np.sin(2 * np.pi * f * t)
        for scale, f in ((1.0, 90.0), (0.01, 400.0))
    ]
    matched = match_loudness([*sounds, np.zeros(100)], RATE)
    assert loudness_db(matched[0], RATE) == pytest.approx(loudness_db(matched[1], RATE), abs=1e-6)
    assert max(np.max(np.abs(sound)) for sound in matched) == pytest.approx(0.5)
    assert not np.any(matched[2])


def test_the_microphone_hears_rayleighs_integral() -> None:
    """One mode at an odd place, against adaptive integration of the same law.

    Six rods mix a trace of m = 4 and 8 into m = 2.
    """
    voice = drum_voice(load_drum("tom-12x8"), other_head="off")
    radius = voice.drum.radius_m
    k = int(np.argmax(np.abs(voice.near[voice.basis.index((2, 1, "cos"))])))
    at = Microphone(Place(0.6 * radius, 0.5), 0.05)
    wave = 2 * np.pi * voice.frequency_hz[k] / 343.2
    part_of = {m: np.zeros((2, 6)) for m in (2, 4, 8)}
    for (m, n, kind), value in zip(voice.basis, voice.near[:, k], strict=True):
        if m in part_of:
            part_of[m][("cos", "sin").index(kind), n - 1] = value
    zeros = {m: jn_zeros(m, 6) / radius for m in part_of}

    def pressure(part: str) -> float:
        def over(angle: float, r: float) -> float:
            shape = sum(
                (np.array([np.cos(m * angle), np.sin(m * angle)]) @ part_of[m])
                @ jv(m, zeros[m] * r)
                for m in part_of
            )
            apart = r * r + at.over.r_m**2 - 2 * r * at.over.r_m * np.cos(angle - 0.5)
            away = np.sqrt(apart + 0.05**2)
            return float(shape * getattr(np.exp(-1j * wave * away), part) / away * r)

        return float(dblquad(over, 0, radius, 0, 2 * np.pi, epsabs=1e-6, epsrel=1e-5)[0])

    whole = -1.204 / (2 * np.pi) * complex(pressure("real"), pressure("imag"))
    assert heard(voice, at)[k] == pytest.approx(whole, rel=1e-3)
