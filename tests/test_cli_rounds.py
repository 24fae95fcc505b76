"""A round on the command line: read, told, refused, kept, gone on with."""

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

from hoopwise.cli import main
from hoopwise.cli.round_json import schema
from hoopwise.cli.turns_file import load_turns
from tests.rounds import practice, sounds

ALL = "1,2,3,4,5,6,7,8"
SILENT = 4


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One file a rod, the file of rod 4 silent, and one file with a tap at every rod."""
    folder = tmp_path_factory.mktemp("round")
    rate = practice().rate
    for rod, taps in sounds().items():
        samples = np.concatenate(taps[:2]) if rod != SILENT else np.zeros(2 * rate)
        soundfile.write(folder / f"rod-{rod}.wav", samples, rate)
    soundfile.write(folder / "all.wav", np.concatenate([t[0] for t in sounds().values()]), rate)
    return folder


@lru_cache(maxsize=1)
def read_once(folder: Path) -> tuple[Result, dict[str, Any]]:
    """The files a rod read once: JSON, turns kept, picture drawn."""
    recordings = [str(folder / f"rod-{rod}.wav") for rod in range(1, 9)]
    result = run(
        "read", *recordings, "--drum", "tom-14x14", "--rods", ALL, "--json",
        "--save-turns", str(folder / "turns.toml"), "--plot", str(folder / "rim.svg"),
    )  # fmt: skip
    return result, json.loads(result.stdout)


def test_one_file_a_rod_and_a_silent_one(files: Path) -> None:
    result, data = read_once(files)
    jsonschema.validate(data, schema())
    assert result.exit_code == 2  # not all could be used, all else is told
    assert [rod["taps"] for rod in data["rods"]] == [2, 2, 2, 0, 2, 2, 2, 2]
    assert data["not_read"][0]["why"].startswith("Nothing was heard at rod 4: ")
    assert "Nothing was heard at rod 4" in result.stderr
    # With rod 4 missing two answers remain; both ask for these turns, so they are told.
    assert data["trust"] == "low" and "Two answers remain" in data["sentences"][0]
    assert data["step"] == "turns" and data["order"]
    error = np.array([rod["deviation"] for rod in data["rods"]]) - practice().deviations()
    assert np.sqrt(np.mean(error**2)) < 0.025
    assert data["cautions"] and any("ear protection" in line for line in data["cautions"])


def test_the_rim_strip_shows_every_rod_its_bar_and_its_turns(files: Path) -> None:
    _, data = read_once(files)
    picture = (files / "rim.svg").read_text("utf-8")
    for rod in range(1, 9):
        assert f">{rod}</text>" in picture
    assert "tension against the mean" in picture and "even enough" in picture
    assert picture.count(">1.</text>") == 1  # the first of the working order
    assert f">{len(data['order'])}.</text>" in picture


def test_turns_kept_turned_and_gone_on_with(files: Path, tmp_path: Path) -> None:
    _, data = read_once(files)
    kept = load_turns(files / "turns.toml")
    assert list(kept.advised) == data["turns"] == list(kept.made)
    rng = np.random.default_rng(9)
    state = practice().turned(kept.made, rng=rng)
    recording = np.concatenate([state.tap(rod, rng=rng) for rod in range(1, 9) for _ in range(2)])
    soundfile.write(tmp_path / "second.flac", recording, state.rate)
    result = run(
        "read", str(tmp_path / "second.flac"), "--drum", "tom-14x14", "--rods", ALL,
        "--after", str(files / "turns.toml"), "--save-turns", str(tmp_path / "more.toml"),
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "Round 2 of this head." in result.output
    assert "of what the model says (90 %), as the turns so far have shown" in result.output
    more = load_turns(tmp_path / "more.toml")
    assert more.rounds == 2 and more.gain_sd < kept.gain_sd
    before, now = np.array(kept.deviation), np.array(more.deviation)
    assert np.std(now) < 0.5 * np.std(before)
    assert np.sqrt(np.mean((now - state.deviations()) ** 2)) < 0.025
    for words in ("against the mean", "Trust is", "Low note", "Take care."):
        assert words in result.output
    other = run(
        "read", str(tmp_path / "second.flac"), "--drum", "tom-16x16", "--rods", ALL,
        "--after", str(files / "turns.toml"),
    )  # fmt: skip
    assert other.exit_code == 2 and "belong to tom 14 x 14" in other.output


def test_a_round_at_odds_with_the_turns_is_kept_for_the_next_to_agree_with(
    files: Path, tmp_path: Path
) -> None:
    read_once(files)
    rng, recording = np.random.default_rng(4), tmp_path / "as-before.flac"
    taps = [practice().tap(rod, rng=rng) for rod in range(1, 9) for _ in range(2)]
    soundfile.write(recording, np.concatenate(taps), practice().rate)
    kept = tmp_path / "kept.toml"
    words = ("read", str(recording), "--drum", "tom-14x14", "--rods", ALL, "--after")
    result = run(*words, str(files / "turns.toml"), "--save-turns", str(kept))
    assert (
        result.exit_code == 2 and "No turns are advised on a round that is at odds" in result.output
    )
    assert "Turn, in this order" not in result.output
    assert "keeps this round without turns" in result.stderr
    assert not any(load_turns(kept).made)
    again = run(*words, str(kept))
    assert again.exit_code == 0, again.output
    assert "Turn, in this order" in again.output


@pytest.mark.parametrize(
    ("rods", "words"),
    [
        ("1,2,3", "8 taps were found for 3 rods"),
        ("1,2,3,4,5,6,7,9", "Rod 9 is named, but this drum has rods 1 to 8"),
        ("1", "three rods or more"),
    ],
)
def test_rods_that_do_not_fit_are_one_sentence_and_the_note(
    files: Path, rods: str, words: str
) -> None:
    result = run("read", str(files / "all.wav"), "--drum", "tom-14x14", "--rods", rods)
    assert result.exit_code == 2 and words in result.output, result.output
    assert result.output.count("Low note") == 1
    assert "no reading" not in result.output and "no turns are advised" not in result.output
    assert "Traceback" not in result.output


def test_what_is_not_known_is_null(files: Path) -> None:
    result = run("read", str(files / "all.wav"), "--drum", "tom-14x14", "--rods", "1,2", "--json")
    data = json.loads(result.stdout)
    jsonschema.validate(data, schema())
    assert result.exit_code == 2 and data["trust"] == "none"
    assert data["mean_tension_n_m"] is None and data["step"] is None and data["turns"] is None
    assert all(rod["deviation"] is None and rod["heard_low_hz"] is None for rod in data["rods"])
    assert data["no_turns"] == " ".join(data["sentences"])
    assert abs(data["note_hz"] - 90.3) < 1.0


def test_another_drum_s_taps(files: Path) -> None:
    result = run("read", str(files / "all.wav"), "--drum", "kick-24x14", "--rods", ALL)
    assert result.exit_code == 2, result.output
    assert result.output.count("do not sound like kick 24 x 14 (batter)") == 1
    assert "Hz" in result.output and "Turn, in this order" not in result.output


def test_words_that_cannot_be_used(files: Path, tmp_path: Path) -> None:
    taps = str(files / "all.wav")
    for words, told in (
        (("read", taps, "--rods", "1"), "needs both --drum and --rods"),
        (("read", taps, "--note", "A2"), "--note belongs to a round"),
        (("read", taps, "--after", "t.toml"), "--after belongs to a round"),
        (("read",), "Missing argument 'RECORDINGS...'"),
        (("read", "--drum", "tom-14x14", "--rods", "1,2"), "Which recordings"),
        (("read", taps, "--drum", "tom-14x14", "--rods", "one,two"), "name the rods as 1,2,3"),
        (
            ("read", taps, "--drum", "tom-14x14", "--rods", "1", "--plot", "strip.doc"),
            "should end in .svg, .png or .pdf",
        ),
        (
            ("read", taps, "--drum", "tom-14x14", "--rods", ALL, "--after", "none.toml"),
            "no such turns file",
        ),
        (("read", taps, "--drum", "tom-14x14", "--rods", "1", "--note", "H9"), "is no note"),
    ):
        result = run(*words)
        assert result.exit_code == 2 and told in result.output, result.output
    silent = tmp_path / "silent.wav"
    soundfile.write(silent, np.zeros(48000), 48000)
    result = run("read", str(silent), "--drum", "tom-14x14", "--rods", "1")
    assert result.exit_code == 2 and "Nothing was heard at rod 1: " in result.output
    gone = run("read", "gone.wav", "--drum", "tom-14x14", "--rods", "1")
    assert gone.exit_code == 2 and "gone.wav" in gone.output
