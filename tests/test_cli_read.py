"""``hoopwise read``: what it prints, what its JSON holds, and how it refuses."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner, Result

from hoopwise.cli import main
from hoopwise.cli.read_json import schema
from tests.recorded import CENTRE, EDGE, RATE, hit, noise, speech, write


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["read", *map(str, arguments)])


def data(*arguments: object) -> Any:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    jsonschema.validate(found, schema())
    return found


@pytest.fixture(scope="module")
def takes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("takes")
    write(folder / "centre.flac", hit(CENTRE))
    write(folder / "edge.wav", hit(EDGE))
    write(folder / "three.wav", np.concatenate([hit(CENTRE, seed=i) for i in range(3)]))
    return folder


def test_the_note_is_told_with_its_ring_and_error(takes: Path) -> None:
    result = run(takes / "centre.flac")
    assert result.exit_code == 0
    assert "note A2 " in result.output  # 110 Hz is A2 in equal temperament at A4 = 440 Hz
    assert "110.0" in result.output and "±" in result.output
    assert "low note" in result.output
    assert "An ear may" not in result.output
    (recording,) = data(takes / "centre.flac")["recordings"]
    note = recording["hits"][0]["note"]
    assert note["name"] == "A2" and abs(note["cents"]) < 2.0
    assert note["t60_s"] == pytest.approx(1.2, rel=0.1)
    assert abs(note["frequency_hz"] - 110.0) < max(5.0 * note["frequency_sd_hz"], 0.05)
    assert recording["hits"][0]["onset_s"] == pytest.approx(0.5, abs=0.003)


def test_a_loud_edge_ring_is_marked_and_warned_of(takes: Path) -> None:
    (recording,) = data(takes / "edge.wav", "--note-range", "60-150")["recordings"]
    (found,) = recording["hits"]
    ring = next(mode for mode in found["modes"] if mode["role"] == "edge ring")
    assert ring["frequency_hz"] == pytest.approx(196.0, rel=0.01)
    assert "196 Hz" in found["warning"]
    output = run(takes / "edge.wav", "--note-range", "A1-D3").output
    assert "edge ring" in output and "! An ear may take the edge ring at 196 Hz" in output


def test_every_line_fits_a_terminal_of_80_columns(takes: Path) -> None:
    for line in run(takes / "edge.wav", takes / "three.wav").output.splitlines():
        assert len(line) <= 80 or str(takes) in line


def test_the_picture_marks_the_note_under_its_peak(takes: Path) -> None:
    lines = run(takes / "centre.flac").output.splitlines()
    bottom = next(i for i, line in enumerate(lines) if line.startswith("    Hz  30"))
    column = lines[bottom - 1].index("◆")
    top = next(line for line in lines if line.startswith("     0 │"))
    assert abs(top.index("█") - column) <= 1


def test_plain_characters_where_the_terminal_knows_no_others(takes: Path) -> None:
    runner = CliRunner(charset="ascii")
    result = runner.invoke(main, ["read", str(takes / "centre.flac")])
    assert result.exit_code == 0
    result.stdout_bytes.decode("ascii")


def test_several_hits_are_summed_up(takes: Path) -> None:
    found = data(takes / "three.wav")
    hits = found["recordings"][0]["hits"]
    assert [round(h["onset_s"]) for h in hits] == [0, 2, 4] or len(hits) == 3
    (group,) = found["notes"]
    assert group["hits"] == 3
    notes = [h["note"]["frequency_hz"] for h in hits]
    spread = 1200.0 * np.log2(max(notes) / min(notes))
    assert group["spread_cents"] == pytest.approx(spread, abs=1e-6)
    assert group["spread_cents"] < 3.0
    assert "3 hits" in run(takes / "three.wav").output


def test_a_folder_is_read_whole_and_a_bad_file_stops_no_other(takes: Path, tmp_path: Path) -> None:
    names = [Path(r["file"]).name for r in data(takes)["recordings"]]
    assert names == ["centre.flac", "edge.wav", "three.wav"]
    write(tmp_path / "silent.wav", np.zeros(RATE))
    result = run(tmp_path / "silent.wav", takes / "centre.flac", tmp_path / "none.wav")
    assert result.exit_code == 2
    assert "note A2" in result.stdout
    assert "silent.wav is silent" in result.stderr
    assert "none.wav: there is no such file" in result.stderr
    assert "Traceback" not in result.output
    found = json.loads(run(tmp_path, takes / "centre.flac", "--json").stdout)
    jsonschema.validate(found, schema())
    assert [Path(bad["file"]).name for bad in found["not_read"]] == ["silent.wav"]


@pytest.mark.parametrize("make", [noise, speech])
@pytest.mark.parametrize("seed", range(3))
def test_nothing_is_invented_from_what_is_no_drum(tmp_path: Path, make: Any, seed: int) -> None:
    write(tmp_path / "other.wav", make(seed=seed))
    result = run(tmp_path / "other.wav")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "other.wav holds" in result.stderr and "as a drum does" in result.stderr


def test_channel_and_range_choose_what_is_read(tmp_path: Path) -> None:
    low, high = hit([(80.0, 1.0, 0.2)]), hit([(250.0, 1.0, 0.5)])
    write(tmp_path / "two.wav", np.stack([low, high], axis=1))
    (loudest,) = data(tmp_path / "two.wav")["recordings"]
    assert loudest["channel"] == 2
    assert loudest["hits"][0]["note"]["frequency_hz"] == pytest.approx(250.0, rel=0.002)
    (first,) = data(tmp_path / "two.wav", "--channel", 1)["recordings"]
    assert first["hits"][0]["note"]["frequency_hz"] == pytest.approx(80.0, rel=0.002)
    refused = run(tmp_path / "two.wav", "--note-range", "300-500")
    assert refused.exit_code == 2 and "between 300 and 500 Hz" in refused.stderr


@pytest.mark.parametrize("text", ["300", "300-200", "x-y", "5-100", "100-5000", "-"])
def test_a_range_that_is_none_is_refused(takes: Path, text: str) -> None:
    result = run(takes / "centre.flac", "--note-range", text)
    assert result.exit_code == 2
    assert "is no range" in result.output


@pytest.mark.parametrize("suffix", ["svg", "png", "pdf"])
def test_a_plot_is_drawn(takes: Path, tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"plot.{suffix}"
    assert run(takes, "--plot", path).exit_code == 0
    start = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}[suffix]
    content = path.read_bytes()
    assert content.startswith(start)
    if suffix == "svg":
        assert b"low note" in content and b"edge ring" in content and b"5 hits" in content


def test_a_plot_of_another_kind_is_refused_before_any_work(takes: Path) -> None:
    result = run(takes, "--plot", "plot.bmp")
    assert result.exit_code == 2 and ".svg, .png or .pdf" in result.output
