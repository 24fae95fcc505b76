"""The closed-loop benchmark's own bookkeeping, on rounds whose scores are known."""

import numpy as np
import pytest

from benchmarks.loop.by_ear import POLICIES, rounds_by_ear
from benchmarks.loop.lines import LINES
from benchmarks.loop.play import DrumPlayed, RoundPlayed, rms
from benchmarks.loop.score import score_loop, score_reading
from benchmarks.loop.table import loop_table, reading_table
from benchmarks.truth import random_truth


def played(error: float, sd: float, trust: str = "high", seed: int = 0) -> DrumPlayed:
    rng = np.random.default_rng(seed)
    rounds = []
    for size in (0.09, 0.03, 0.01):
        true = size * rng.normal(size=2000)
        rounds.append(
            RoundPlayed(
                true=true,
                read=true + error * rng.normal(size=2000),
                sd=np.full(2000, sd),
                trust=trust,
                left_out=1,
                turns=np.full(2000, 0.01),
                after=true / 3.0,
                tension_ratio=1.0,
                contact_ms=3.0,
                seconds=1.0,
            )
        )
    return DrumPlayed("ten", seed, rounds, {"some ear": [0.09, 0.08, 0.07, 0.06]})


def test_true_error_bars_score_ninety_percent() -> None:
    score = score_reading([played(0.015, 0.015, seed=s) for s in range(4)])
    assert score.coverage == pytest.approx(0.90, abs=0.01)
    assert score.error_median == pytest.approx(0.015, rel=0.05)
    assert score.wrong_claims == pytest.approx(0.0027, abs=0.002)
    assert score.worse_than_nothing == 0.0


def test_false_confidence_shows() -> None:
    score = score_reading([played(0.10, 0.01)])
    assert score.coverage < 0.2
    assert score.wrong_claims > 0.5
    assert score.poor_unsaid == 1.0
    assert score.worse_than_nothing == 1.0
    humble = score_reading([played(0.10, 0.01, trust="low")])
    assert humble.wrong_claims == 0.0
    assert humble.poor_unsaid == 0.0
    assert humble.low_trust == 1.0


def test_a_reading_without_an_answer_is_neither_covered_nor_counted() -> None:
    score = score_reading([played(0.015, np.inf, trust="none"), played(0.10, 0.01, seed=1)])
    assert score.coverage < 0.2


def test_loop_scores_follow_the_rounds() -> None:
    score = score_loop([played(0.01, 0.01)])
    assert score.rms_by_round == pytest.approx([0.09, 0.03, 0.01, 0.01 / 3.0], rel=0.1)
    assert score.turns == pytest.approx(60.0)
    assert score.within_5 == 1.0


def test_tables_have_a_cell_for_every_column() -> None:
    results = {"ten": [played(0.015, 0.015)]}
    for table in (reading_table(results), loop_table(results)):
        assert len({line.count("|") for line in table}) == 1


def test_every_line_can_be_drawn_and_names_itself() -> None:
    assert all(name == line.name for name, line in LINES.items())
    assert {line.rods for line in LINES.values()} == {6, 8, 10}


@pytest.mark.parametrize("name", ["local pitch squared", "pitch, rods across together"])
def test_ears_take_the_two_fold_part_away(name: str) -> None:
    """What a person hears is the split (1,1) pair: its cause goes, the rest stays."""
    truth = random_truth(np.random.default_rng(1), 6)
    twice = np.exp(2j * truth.held.rod_angles)
    start, *_, end = rounds_by_ear(truth, POLICIES[name], np.random.default_rng(0))
    assert abs(twice @ end) < 0.6 * abs(twice @ start)
    assert rms(end) > 0.4 * rms(start)
