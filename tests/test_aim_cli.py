"""``hoopwise aim``: what it prints, its JSON and figures, and how it refuses."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result

from hoopwise.cli import main
from hoopwise.cli.aim_json import schema

DOCS = Path(__file__).resolve().parent.parent / "docs"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["aim", *map(str, arguments)])


def data(*arguments: object) -> Any:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    jsonschema.validate(found, schema())
    return found


def test_head_notes_give_coupled_modes() -> None:
    found = data("snare-14x5.5", "--batter", "A3", "--snare-side", "D4")
    batter, second = found["heads"]
    assert batter["frequency_hz"] == pytest.approx(220.0, rel=1e-6) and batter["name"] == "A3"
    assert second["frequency_hz"] == pytest.approx(293.665, rel=1e-5)
    low = found["modes"][0]
    assert (low["diameters"], low["circles"], low["motion"]) == (0, 1, "together")
    frequencies = [mode["frequency_hz"] for mode in found["modes"]]
    assert frequencies == sorted(frequencies)
    assert found["aim"] is None and found["chart"] is None
    text = run("snare-14x5.5", "--batter", "A3", "--snare-side", 293.665).output
    assert "(0,1)" in text and "together" in text and "opposed" in text
    assert f"{low['frequency_hz']:.1f}" in text
    assert "with the other head held still" in text


def test_resonant_and_snare_side_name_the_same_option() -> None:
    one = data("tom-10x7", "--batter", 200, "--resonant", 220)
    other = data("tom-10x7", "--batter", 200, "--snare-side", 220)
    assert one == other
    assert [head["side"] for head in one["heads"]] == ["batter", "resonant"]


def test_one_head_leaves_the_shell_open() -> None:
    result = run("tom-10x7", "--batter", "200")
    assert "resonant    off, the shell open there" in result.output
    assert all(m["motion"] == "alone" for m in data("tom-10x7", "--resonant", 200)["modes"])


def test_a_note_gives_head_notes_and_the_way_back_agrees() -> None:
    found = data("tom-12x8", "--note", "C3")
    first = found["aim"]["pairs"][0]
    assert found["aim"]["feasible"] and first["name"] == "C3"
    notes = [head["frequency_hz"] for head in first["heads"]]
    back = data("tom-12x8", "--batter", notes[0], "--resonant", notes[1])
    assert back["modes"][0]["frequency_hz"] == pytest.approx(130.813, rel=1e-3)
    text = run("tom-12x8", "--note", "C3").output
    assert "can be had" in text and "both heads alike" in text


def test_what_cannot_be_had_is_said() -> None:
    result = run("tom-12x8", "--note", "C3", "--ring", 30)
    assert result.exit_code == 0
    assert "cannot be had" in result.output
    assert "the nearest is given" in " ".join(result.output.split())
    assert data("tom-12x8", "--note", "C6")["aim"]["feasible"] is False


@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_chart_is_mapped_and_drawn(tmp_path: Path, suffix: str) -> None:
    file = tmp_path / f"chart.{suffix}"
    result = run("tom-10x7", "--note", "E3", "--chart", "--plot", file)
    assert result.exit_code == 0, result.output
    assert "◆" in result.output and "ring:" in result.output
    head = file.read_bytes()[:400]
    assert head.startswith(b"\x89PNG") if suffix == "png" else b"<svg" in head or b"xml" in head
    if suffix == "svg":
        drawn = file.read_text("utf-8")
        assert "heads alike" in drawn and "ring of the low note, s" in drawn


def test_chart_in_json_is_60_by_60() -> None:
    chart = data("tom-10x7", "--chart")["chart"]
    assert len(chart["note_hz"]) == 60 and all(len(row) == 60 for row in chart["note_hz"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("tom-12x8",), "say --batter"),
        (("tom-12x8", "--ring", 1), "--ring needs --note"),
        (("tom-12x8", "--note", "C3", "--batter", 200), "not both"),
        (("tom-12x8", "--note", "H3"), "'H3' is no note"),
        (("tom-12x8", "--batter", "nan"), "outside 10 to 2000"),
        (("tom-12x8", "--batter", 1900), "cannot have its note at 1900.0 Hz"),
        (("nowhere.toml", "--note", "C3"), "no such drum file"),
        (("tom-12x8", "--note", "C3", "--plot", "x.gif"), ".svg, .png or .pdf"),
    ],
)
def test_mistakes_are_told_in_a_sentence(arguments: tuple[object, ...], words: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert words in result.output
    assert "Traceback" not in result.output


def test_plain_terminals_get_plain_characters(monkeypatch: pytest.MonkeyPatch) -> None:
    runner = CliRunner(charset="ascii")
    result = runner.invoke(main, ["aim", "tom-10x7", "--note", "E3", "--chart"])
    assert result.exit_code == 0
    assert result.stdout_bytes.decode("ascii")


def objects(node: dict[str, Any], path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Each object of the schema under the heading that documents it."""
    yield path or "The whole", node
    for key, child in node["properties"].items():
        inner = child.get("items", child)
        if "properties" in inner:
            yield from objects(inner, f"{path}.{key}".strip(".") + "[]" * ("items" in child))


def test_every_json_field_is_documented_as_the_schema_says() -> None:
    parts = re.split(r"^## (.+)$", (DOCS / "aim-json.md").read_text("utf-8"), flags=re.MULTILINE)
    told = dict(zip(parts[1::2], parts[2::2], strict=True))
    wanted = dict(objects(schema()))
    assert set(told) == set(wanted)
    for heading, node in wanted.items():
        rows = dict(re.findall(r"^\| `(\w+)` \| [^|]+ \| (.+) \|$", told[heading], re.MULTILINE))
        assert rows == {k: c["description"] for k, c in node["properties"].items()}, heading
        assert node["additionalProperties"] is False
        assert node["required"] == list(node["properties"])
