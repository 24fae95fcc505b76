"""The demo and the mount plan: they run, they say what they promise, their data fit."""

import json
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result

from hoopwise.cli import main
from hoopwise.cli.demo_json import schema as demo_schema
from hoopwise.cli.mount import schema as mount_schema
from hoopwise.cli.round_json import schema as round_schema
from tests.test_docs import ROOT, objects, sections


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def test_the_demo_makes_its_drum_more_even() -> None:
    result = run("demo", "--rounds", "1")
    assert result.exit_code == 0, result.output
    left = float(result.output.split("True unevenness now:")[1].split("%")[0])
    assert left < 4.0  # it starts at 9.5 % rms
    assert result.output.count("ear protection") == 1


def test_the_demo_as_data() -> None:
    result = run("demo", "--rounds", "1", "--json")
    assert result.exit_code == 0, result.output
    data = json.loads(result.stdout)
    jsonschema.validate(data, demo_schema())
    (first,) = data["rounds"]
    start = (sum(d**2 for d in first["true_deviation"]) / 8) ** 0.5
    assert start == pytest.approx(0.095, abs=0.005)
    assert data["true_rms_now"] < 0.5 * start
    assert len(first["turns"]) == 8 and first["step"] == "turns"


@pytest.mark.parametrize("side", ["batter", "snare_side"])
def test_mount_tells_order_steps_and_where_to_stop(side: str) -> None:
    result = run("mount", "snare-14x5.5", "--side", side)
    assert result.exit_code == 0, result.output
    assert "star order 1, 6," in result.output and "finger-tight" in result.output
    assert "Stop at " in result.output and result.output.count("Take care.") == 1
    data = json.loads(run("mount", "snare-14x5.5", "--side", side, "--json").stdout)
    jsonschema.validate(data, mount_schema())
    assert data["passes"][0]["turns"] == (0.5 if side == "batter" else 0.25)
    lost = run("mount", "tom-12x8", "--side", "snare_side")
    assert lost.exit_code == 2 and "describes no head on its snare side" in lost.output


@pytest.mark.parametrize(
    ("page", "schema"),
    [
        ("round-json.md", round_schema()),
        ("demo-json.md", demo_schema()),
        ("mount-json.md", mount_schema()),
    ],
)
def test_every_field_is_documented_as_its_schema_says(page: str, schema: dict[str, Any]) -> None:
    told = sections((ROOT / "docs" / page).read_text("utf-8"))
    wanted = dict(objects(schema))
    assert set(told) == set(wanted)
    for heading, properties in wanted.items():
        rows = [line.split("|") for line in told[heading].splitlines() if line.startswith("| `")]
        assert [r[1].strip(" `") for r in rows] == list(properties), heading
        assert [r[3].strip() for r in rows] == [p["description"] for p in properties.values()]


@pytest.mark.parametrize("schema", [round_schema(), demo_schema(), mount_schema()])
def test_every_object_is_closed_and_whole(schema: dict[str, Any]) -> None:
    for _, node in [("", schema["properties"]), *objects(schema)]:
        assert node
    pending = [schema]
    while pending:
        node = pending.pop()
        if "properties" in node:
            assert node["additionalProperties"] is False
            assert node["required"] == list(node["properties"])
            pending += list(node["properties"].values())
        if isinstance(node.get("items"), dict):
            pending.append(node["items"])
