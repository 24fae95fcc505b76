"""A round on the command line: read, told, refused; and the demo."""

import json
from pathlib import Path

import jsonschema
import pytest
import soundfile
from click.testing import CliRunner, Result

from hoopwise.cli import main
from hoopwise.cli.round_json import schema
from hoopwise.cli.round_print import fraction, plan_lines
from hoopwise.infer.types import Reading, RodReading, Trust, TrustLevel
from hoopwise.listen.types import Note
from hoopwise.plan.types import TurnPlan


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture(scope="module")
def taps(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("round") / "taps.wav"
    made = run("simulate", "tom-14x14", "-o", str(out), "--seed", "1", "--taps-per-rod", "1")
    assert made.exit_code == 0, made.output
    return out


def test_a_round_gives_rods_trust_and_turns(taps: Path) -> None:
    truth = str(taps.with_suffix(".truth.toml"))
    result = run("read", str(taps), "--drum", "tom-14x14", "--rods", truth, "--json")
    assert result.exit_code == 0, result.output
    data = json.loads(result.output)
    jsonschema.validate(data, schema())
    assert [rod["rod"] for rod in data["rods"]] == list(range(1, 9))
    assert all(rod["taps"] == 1 for rod in data["rods"])
    told = run("read", str(taps), "--drum", "tom-14x14", "--rods", "1,2,3,4,5,6,7,8").output
    for words in ("against the mean", "Trust is", "Turn, in this order", "Low note"):
        assert words in told


def test_rods_that_do_not_fit_are_one_sentence(taps: Path, tmp_path: Path) -> None:
    for rods, words in (
        ("1,2,3", "8 taps were found for 3 rods"),
        ("1,2,3,4,5,6,7,9", "this drum has rods 1 to 8"),
        ("one,two", "name the rods as 1,2,3"),
    ):
        result = run("read", str(taps), "--drum", "tom-14x14", "--rods", rods)
        assert result.exit_code == 2 and words in result.output, result.output
        assert "Traceback" not in result.output
    assert run("read", str(taps), "--rods", "1").exit_code == 2
    silent = tmp_path / "silent.wav"
    soundfile.write(silent, [0.0] * 48000, 48000)
    result = run("read", str(silent), "--drum", "tom-14x14", "--rods", "1")
    assert result.exit_code == 2 and "is silent" in result.output


def test_one_rod_only_still_tells_the_note(taps: Path, tmp_path: Path) -> None:
    samples, rate = soundfile.read(taps)
    one = tmp_path / "one.wav"
    soundfile.write(one, samples[: int(2.6 * rate)], rate)  # the taps at rods 1 and 2
    result = run("read", str(one), "--drum", "tom-14x14", "--rods", "1")
    assert result.exit_code == 2
    assert "Low note" in result.output and "three rods or more" in result.output


def test_the_demo_makes_its_drum_more_even() -> None:
    result = run("demo", "--rounds", "1")
    assert result.exit_code == 0, result.output
    left = float(result.output.split("True unevenness now:")[1].split("%")[0])
    assert left < 4.0  # it starts at 9.5 % rms


def test_turns_are_told_as_key_fractions() -> None:
    assert [fraction(t) for t in (1 / 64, -3 / 32, 0.25, 0.5, 1.0)] == [
        "1/64",
        "3/32",
        "1/4",
        "1/2",
        "1",
    ]


@pytest.mark.parametrize(("level", "even"), [("high", True), ("low", False)])
def test_only_a_trusted_round_calls_a_head_even(level: TrustLevel, even: bool) -> None:
    # Wide bars leave nothing certain to turn; that is no proof of an even head.
    rods = tuple(RodReading(rod, 0.05, 0.08, 2) for rod in range(1, 7))
    reading = Reading(
        rods, 2000.0, 60.0, Note(100.0, 0.1, 0.5, 0.0), (), (), Trust(level, (), 1.0), ()
    )
    nothing = TurnPlan((0.0,) * 6, (), (0.05,) * 6, (0.08,) * 6, 2000.0, 100.0)
    told = " ".join(plan_lines(nothing, reading))
    assert ("every rod is even enough" in told) is even
    assert ("cannot tell whether the head is even" in told) is not even
