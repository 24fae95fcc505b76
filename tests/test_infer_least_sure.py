"""Bars along the least sure direction follow what the cost grows by."""

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from benchmarks.loop.lines import LINES
from benchmarks.truth.rounds import round_of_taps
from hoopwise.infer.fit import least_sure
from hoopwise.infer.fit.least_sure import least_sure_widened
from hoopwise.infer.fit.rod_fit import Fit
from hoopwise.infer.fit.rod_state import Setting
from hoopwise.infer.head.prior import Belief, wave_matrix
from hoopwise.infer.rods import read_round


@dataclass(frozen=True)
class Only:
    """As much of a setting as is held: what is expected."""

    prior: Belief


RODS = 6
ALONG = wave_matrix(RODS)[-1]
SD = 0.03 * np.sqrt(RODS)


def made_up(
    monkeypatch: pytest.MonkeyPatch,
    cost: Callable[[float], float],
    sd: float = SD,
    stuck: bool = False,
) -> tuple[np.ndarray, np.ndarray]:
    """Covariances before and after, where the cost depends on the least sure wave alone."""
    flat = Belief(np.zeros(RODS), 1e4 * np.eye(RODS))
    setting = SimpleNamespace(
        prior=flat, prior_root=np.zeros((1, RODS)), prior_spread=(np.zeros(RODS), None)
    )
    cov = 0.005**2 * np.eye(RODS) + (sd**2 - 0.005**2) * np.outer(ALONG, ALONG)
    point = SimpleNamespace(uneven=np.zeros(RODS))

    def fitted(setting: Any, start: Any, steps: int) -> Any:
        # a tight expectation holds the answer; the flat one leaves it where it is
        where = 0.0 if stuck else float(ALONG @ setting.prior.mean)
        return SimpleNamespace(cost=cost(where / sd), deviation=where * ALONG, point=point)

    def holding(setting: Any, along: np.ndarray, value: float, sd: float) -> Any:
        where = value * float(np.sign(along @ ALONG)) * ALONG
        return SimpleNamespace(**{**vars(setting), "prior": Belief(where, flat.cov)})

    monkeypatch.setattr(least_sure, "fit", fitted)
    monkeypatch.setattr(least_sure, "_holding", holding)
    start = np.zeros(RODS)
    best = Fit(cast(Any, point), cost(0.0), cov, start, start, (), cast(Any, None), start, 0.0)
    return cov, least_sure_widened(cast(Setting, setting), best).cov


def spread(cov: np.ndarray) -> float:
    return float(np.sqrt(ALONG @ cov @ ALONG))


def test_a_bowl_keeps_its_bars(monkeypatch: pytest.MonkeyPatch) -> None:
    before, after = made_up(monkeypatch, lambda x: 0.5 * x**2)
    assert np.allclose(before, after)


def test_a_flatter_valley_has_wider_bars_along_it_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    before, after = made_up(monkeypatch, lambda x: 0.5 * (x / 1.5) ** 2)
    assert spread(after) == pytest.approx(1.5 * spread(before))
    across = wave_matrix(RODS)[:-1]
    assert np.allclose(across @ after @ across.T, across @ before @ across.T)


def test_a_lopsided_valley_counts_both_sides(monkeypatch: pytest.MonkeyPatch) -> None:
    before, after = made_up(monkeypatch, lambda x: 0.5 * (x / (1.5 if x > 0 else 1.0)) ** 2)
    expected = np.sqrt((1.5**3 + 1.0) / 2.5)  # mean square of half bells of either width
    assert spread(after) == pytest.approx(expected * spread(before))


def test_steeper_sides_and_no_growth_have_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    before, after = made_up(monkeypatch, lambda x: 2.0 * x**2)
    assert np.allclose(before, after)
    before, after = made_up(monkeypatch, lambda x: 0.0)
    assert spread(after) == pytest.approx(2.0 * spread(before))


def test_sure_answers_are_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    before, after = made_up(monkeypatch, lambda x: 0.0, sd=0.01 * np.sqrt(RODS))
    assert after is before


def test_being_held_moves_the_answer_to_where_it_is_held() -> None:
    prior = Belief(np.zeros(RODS), 0.09**2 * np.eye(RODS))
    only = cast(Setting, Only(prior))
    held = least_sure._holding(only, ALONG, 0.1, 0.002).prior
    assert float(ALONG @ held.mean) == pytest.approx(0.1, rel=0.01)
    assert spread(held.cov) == pytest.approx(0.002, rel=0.01)
    other = wave_matrix(RODS)[1]
    assert float(other @ held.cov @ other) == pytest.approx(0.09**2)


def test_a_head_whose_modes_lie_beyond_the_push_is_not_claimed_to_be_known() -> None:
    line = LINES["six_tight"]
    rng = np.random.default_rng(70007)  # 10 in, 292 Hz: only (0,1) and (1,1) are pushed in full
    truth = line.draw(rng)
    taps = round_of_taps(truth, rng, line.taps, contact_s=line.contact_s)
    reading = read_round(truth.nominal, "batter", taps).reading
    error = np.array([r.deviation for r in reading.rods]) - truth.deviations()
    assert np.sqrt(np.mean(error**2)) < 0.04 or reading.trust.level == "low"


def test_a_push_that_does_not_move_the_answer_shows_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before, after = made_up(monkeypatch, lambda x: 0.5 * x**2, stuck=True)
    np.testing.assert_array_equal(before, after)
