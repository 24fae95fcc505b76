"""The tip told from strengths alone, and asked to be harder where that would tell more."""

from dataclasses import replace

import numpy as np
import pytest

from hoopwise.drum import load_drum
from hoopwise.infer import ask
from hoopwise.infer.fit import tip_found
from hoopwise.infer.fit.rod_fit import fit
from hoopwise.infer.fit.tip import CONTACT_SD, KNOWN_TO, push
from hoopwise.infer.types import Ask
from hoopwise.plan.headwork import HeadWork
from hoopwise.render.practice import practice_drum
from tests.rounds import fitted

HZ = np.array([120.0, 210.0, 290.0, 370.0, 450.0])


def strengths(contact_s: float, seed: int) -> tuple[tip_found._Strengths, np.ndarray, np.ndarray]:
    """Free strengths of 20 taps as one tip makes them, each tap its own contact time."""
    rng = np.random.default_rng(seed)
    own = CONTACT_SD * rng.normal(size=20)
    tap = np.exp(0.5 * rng.normal(size=20)) * np.exp(0.3j * rng.normal(size=20))
    heard = rng.normal(size=len(HZ)) + 1j * rng.normal(size=len(HZ))
    heard[0] = 1.0
    value = heard[:, None] * tap * push(HZ[:, None] * contact_s * np.exp(own))[0]
    usual = np.median(np.abs(value), axis=1, keepdims=True)
    noise = 0.01 * usual * np.ones_like(np.abs(value))
    value = value + noise * (rng.normal(size=value.shape) + 1j * rng.normal(size=value.shape))
    return tip_found._Strengths(value, 2 * noise**2, HZ, np.arange(len(HZ))), own, heard


@pytest.mark.parametrize("contact_ms", [3.5, 4.5])
def test_contact_times_follow_from_strengths_alone(contact_ms: float) -> None:
    # (3,1) and its like lie at the zero of the push, where strengths change sign tap by tap.
    given, own, heard = strengths(1e-3 * contact_ms, 3)
    tried = [tip_found._explained(given, float(c)) for c in tip_found.TRIED_S]
    best = max((t for t in tried if t is not None), key=lambda t: t.log_likelihood)
    assert best.contact_s == pytest.approx(1e-3 * contact_ms, rel=0.15)
    apart = best.log_contact + np.log(best.contact_s / (1e-3 * contact_ms)) - own
    assert np.sqrt(np.mean((apart - apart.mean()) ** 2)) < 0.3 * CONTACT_SD
    # What the microphone makes of each group comes out with the right sign.
    assert np.all(np.real(best.heard / heard) > 0)


def asked(contact_s: float) -> Ask | None:
    drum = load_drum("snare-14x5.5")
    state = practice_drum(drum, "batter", 4)
    rng = np.random.default_rng(4)
    taps = [
        (r, state.tap(r, rng=rng, contact_s=contact_s), float(state.rate))
        for r in range(1, drum.rods + 1)
        for _ in range(2)
    ]
    return HeadWork(drum).read(taps).ask


def test_a_soft_tip_on_a_tight_head_is_asked_to_be_harder() -> None:
    soft = asked(5e-3)
    assert soft is not None and soft.kind == "harder tip"
    assert "harder, lighter tip" in soft.sentence
    hard = asked(2e-3)
    assert hard is None or hard.kind != "harder tip"


@pytest.mark.parametrize("known_to", [KNOWN_TO, 0.6])
def test_taps_with_another_tip_show_what_its_push_makes_of_them(known_to: float) -> None:
    # Whether or not the push is modelled before: it is afterwards, and what is heard agrees.
    drum = load_drum("snare-14x5.5")
    state = practice_drum(drum, "batter", 4)
    rng = np.random.default_rng(4)
    taps = [(r, state.tap(r, rng=rng), float(state.rate)) for r in range(1, 11)]
    found = fitted(drum, taps)
    setting = replace(found.setting, known_to=known_to)
    moved, point = ask._struck_with(0.6, setting, found.best.point)
    hz = setting.moments.mean_hz
    for g, x in enumerate(hz * setting.contact_s):
        before = ask._usual_push(setting, found.best.point, 1.0)[g] if x <= known_to else 1.0
        after = ask._usual_push(setting, found.best.point, 0.6)[g] if moved.known[g] else 1.0
        heard = np.abs(point.microphone[g, 0] / found.best.point.microphone[g, 0]) * after / before
        louder = moved.moments.level[g] / setting.moments.level[g]
        assert heard == pytest.approx(louder)
    lowest = int(np.argmin(hz))
    assert 1.0 < moved.moments.level[lowest] / setting.moments.level[lowest] < 2.0


def test_a_microphone_that_no_tap_tells_stays_in_bounds() -> None:
    """Where strengths are free its size means nothing, but the next fit starts from it."""
    drum = load_drum("snare-14x5.5")
    state = practice_drum(drum, "batter", 4)
    rng = np.random.default_rng(4)
    taps = [(r, state.tap(r, rng=rng), float(state.rate)) for r in range(1, 11)]
    found = fitted(drum, taps)
    setting = replace(found.setting, known_to=0.6)
    assert not setting.known.all()
    lost = found.best.point.microphone * np.where(setting.known, 1.0, 1e14)[:, None]
    back = fit(setting, replace(found.best.point, microphone=lost), steps=3).point
    assert np.abs(back.microphone).max() < 30 * np.abs(found.best.point.microphone).max()
    assert np.isfinite(fit(found.setting, back, steps=3).cost)
