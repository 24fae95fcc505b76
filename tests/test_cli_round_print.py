"""What is said of a round: words, key fractions, the note wanted, trial turns, cautions."""

from dataclasses import replace

import numpy as np
import pytest

from hoopwise.cli.cautions import cautions
from hoopwise.cli.read_round import RoundTold
from hoopwise.cli.round_json import as_json
from hoopwise.cli.round_print import advice_lines, fraction, plan_lines, round_lines
from hoopwise.drum import load_drum
from hoopwise.infer.types import Reading, RodReading, Trust, TrustLevel
from hoopwise.listen.types import Note
from hoopwise.plan.advice import Advice
from hoopwise.plan.turns import Gain
from hoopwise.plan.types import TurnPlan
from tests.rounds import TOM, told

NOTHING = TurnPlan((0.0,) * 8, (), (0.05,) * 8, (0.08,) * 8, 1800.0, 90.0)
SOME = TurnPlan((1 / 8, 0, 0, 0, -1 / 16, 0, 0, 0), (1, 5), (0.01,) * 8, (0.01,) * 8, 1900.0, 93.0)


def round_told(advice: Advice, **changes: object) -> RoundTold:
    return replace(
        RoundTold(TOM, "batter", "off", 1, advice, None, None, {}),
        **changes,  # type: ignore[arg-type]
    )


def test_turns_are_told_as_key_fractions() -> None:
    given = (1 / 64, -3 / 32, 0.25, 0.5, 1.0)
    assert [fraction(t) for t in given] == ["1/64", "3/32", "1/4", "1/2", "1"]


@pytest.mark.parametrize(("level", "even"), [("high", True), ("low", False)])
def test_only_a_trusted_round_calls_a_head_even(level: TrustLevel, even: bool) -> None:
    # Wide bars leave nothing certain to turn; that is no proof of an even head.
    words = " ".join(plan_lines(NOTHING, told(level)))
    assert ("every rod is even enough" in words) is even
    assert ("cannot tell whether the head is even" in words) is not even


def test_a_list_names_rods_ways_and_the_rod_across() -> None:
    lines = advice_lines(Advice(told(), SOME))
    assert lines[0] == "Turn, in this order:"
    assert "rod  1  tighten    1/8 turn ( 45°)" in lines[1]
    assert "rod  5  loosen    1/16 turn ( 22°)   across from 1" in lines[2]


def test_a_trial_turn_stands_alone() -> None:
    trial = replace(SOME, rods=(0.0, 0.0, 1 / 16, *(0.0,) * 5), order=(3,))
    words = "\n".join(round_lines(round_told(Advice(told("low"), trial, trial=True))))
    assert "Turn one rod to tell the two answers apart" in words
    assert "Turn, in this order" not in words and words.count("1/16 turn") == 1


def test_a_wanted_note_is_told_with_how_far_this_round_goes() -> None:
    near = " ".join(advice_lines(Advice(told(), SOME), wanted_note_hz=93.5))
    assert "from F#2 −47 (90.0 Hz) to F#2 +9 (93.0 Hz)" in near and "go on" not in near
    far = " ".join(advice_lines(Advice(told(), SOME), wanted_note_hz=130.82))
    assert "wanted is C3 +0 (130.8 Hz): one round cannot bring all of it" in far


def test_later_rounds_say_what_was_learned() -> None:
    lines = round_lines(round_told(Advice(told(), SOME), number=3, gain=Gain(0.8, 0.1)))
    assert lines[0] == "Round 3 of this head."
    assert "A turn brings 80 +/- 16 % of what the model says" in lines[1]


def test_cautions_are_short_and_once() -> None:
    words = "\n".join(round_lines(round_told(Advice(told(), SOME))))
    assert words.count("ear protection") == 1 and words.count("eyes away from the rods") == 1
    snare = load_drum("snare-14x5.5")
    assert any("quarter turn" in line for line in cautions(snare.head("snare_side").film))
    assert not any("thin" in line for line in cautions(snare.head("batter").film))


def test_no_figure_of_the_json_is_not_a_number() -> None:
    nan, inf = float("nan"), float("inf")
    lost = Reading(
        rods=(RodReading(1, nan, inf, 0, nan, nan, nan), RodReading(2, 0.1, inf, 1)),
        mean_tension_n_m=nan,
        mean_tension_sd_n_m=inf,
        note=Note(nan, nan, 0.5, 0.0),
        modes=(),
        beats_hz=(),
        trust=Trust("none", ("Nothing is known.",), 0.0),
        advice=(),
    )
    broken = replace(SOME, expected=(nan,) * 8, expected_note_hz=inf)
    for advice in (Advice(lost, None), Advice(lost, broken)):
        data = as_json(round_told(advice))

        def walk(value: object) -> None:
            if isinstance(value, dict):
                for inner in value.values():
                    walk(inner)
            elif isinstance(value, list):
                for inner in value:
                    walk(inner)
            elif isinstance(value, float):
                assert np.isfinite(value)

        walk(data)
        assert data["note_hz"] is None and data["rods"][0]["heard_low_hz"] is None
