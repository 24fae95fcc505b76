"""``hoopwise simulate``: the sound, the truth beside it, and how mistakes are told."""

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

from hoopwise.cli import main
from hoopwise.cli.simulate import schema


def simulate(*words: str) -> Result:
    return CliRunner().invoke(main, ["simulate", *words])


def test_a_round_and_its_truth(tmp_path: Path) -> None:
    out = tmp_path / "taps.wav"
    result = simulate("tom-12x8", "-o", str(out), "--taps-per-rod", "1", "--seed", "4")
    assert result.exit_code == 0, result.output
    assert "Turn the volume down" in result.output
    samples, rate = soundfile.read(out)
    truth = tomllib.loads((tmp_path / "taps.truth.toml").read_text(encoding="utf-8"))
    assert truth["taps"]["rod"] == [1, 2, 3, 4, 5, 6] and rate == truth["taps"]["rate_hz"] == 48000
    onsets = np.round(np.array(truth["taps"]["onset_s"]) * rate).astype(int)
    assert np.diff(onsets).min() >= 0.8 * rate
    for onset in onsets:  # the sound jumps up where the file says
        before, after = (
            np.abs(samples[onset + a : onset + b]).max() for a, b in ((-400, -4), (0, 200))
        )
        assert after > 4 * before
    deviation = np.array(truth["head"]["deviation"])
    tension = np.array(truth["head"]["lug_tension_n_m"])
    assert deviation == pytest.approx(tension / tension.mean() - 1, abs=1e-4)
    assert np.sqrt(np.mean(deviation**2)) == pytest.approx(0.095, abs=1e-4)


def test_the_same_seed_writes_the_same_file(tmp_path: Path) -> None:
    sounds = []
    for name, seed in (("a.flac", "1"), ("b.flac", "1"), ("c.flac", "2")):
        args = ("tom-10x7", "-o", str(tmp_path / name), "--hit", "--seed", seed)
        assert simulate(*args, "--other-head", "ringing", "--rate", "44100").exit_code == 0
        sounds.append(soundfile.read(tmp_path / name)[0])
    assert np.array_equal(sounds[0], sounds[1]) and not np.array_equal(sounds[0], sounds[2])


def test_json_holds_what_the_file_holds(tmp_path: Path) -> None:
    args = ("tom-10x7", "-o", str(tmp_path / "x.wav"), "--hit", "--mic", "80,30,40", "--json")
    result = simulate(*args)
    assert result.exit_code == 0, result.output
    told = json.loads(result.output)
    jsonschema.validate(told, schema())
    assert told == tomllib.loads((tmp_path / "x.truth.toml").read_text(encoding="utf-8"))
    assert told["microphone"] == {"r_mm": 80.0, "angle_deg": 30.0, "height_mm": 40.0}


def test_every_field_is_documented_as_the_schema_says() -> None:
    page = Path(__file__).parent.parent / "docs" / "simulate-json.md"
    told = re.split(r"^## (.+)$", page.read_text("utf-8"), flags=re.MULTILINE)
    sections = dict(zip(told[1::2], told[2::2], strict=True))
    whole = schema()
    for heading, table in [("The whole", whole), *whole["properties"].items()]:
        rows = dict(re.findall(r"^\| `(\w+)` \| [^|]+ \| (.+) \|$", sections[heading], re.M))
        assert rows == {key: field["description"] for key, field in table["properties"].items()}
        assert table["required"] == list(table["properties"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["no-such.toml", "-o", "x.wav"], "no such drum file"),
        (["tom-12x8", "-o", "x.mp3"], "should end in .wav or .flac"),
        (["tom-12x8", "-o", "nowhere/x.wav", "--hit"], "cannot be written"),
        (["tom-12x8", "-o", "x.wav", "--side", "snare_side"], "no head on its snare side"),
        (["tom-12x8", "-o", "x.wav", "--mic", "here"], "is not a place"),
        (["tom-12x8", "-o", "x.wav", "--mic", "900,0,50"], "must stand over the head"),
        (["tom-12x8", "-o", "x.wav", "--contact-ms", "90"], "not in the range"),
        (["tom-12x8", "-o", "x.wav", "--uneven", "70"], "not in the range"),
        (["tom-12x8", "-o", "x.wav", "--hit", "--wires"], "has no wires"),
        (["snare-14x5.5", "-o", "x.wav", "--wires"], "--wires belongs to --hit"),
        (["snare-14x5.5", "-o", "x.wav", "--hit", "--wires"], "other head on"),
    ],
)
def test_a_mistake_leaves_with_code_2_and_a_sentence(
    words: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = simulate(*words)
    assert result.exit_code == 2
    assert told in result.output
    assert "Traceback" not in result.output
    assert not list(tmp_path.iterdir())
