"""The documentation: every command, option and JSON field is in it, and its links hold."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from hoopwise.cli import main
from hoopwise.cli.commands import COMMANDS
from hoopwise.cli.read_json import schema

ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]


def sections(text: str) -> dict[str, str]:
    """Text below each heading of the second level."""
    parts = re.split(r"^## (.+)$", text, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_documented(name: str) -> None:
    command = main.get_command(click.Context(main), name)
    assert command is not None
    told = sections((ROOT / "docs" / "commands.md").read_text("utf-8")).get(f"hoopwise {name}")
    assert told, f"docs/commands.md has no section 'hoopwise {name}'"
    for parameter in command.params:
        words = parameter.opts if isinstance(parameter, click.Option) else [f"hoopwise {name}"]
        for word in words:
            assert word in told, f"{word} of {name} is not in docs/commands.md"
    for option in re.findall(r"(?<![\w-])--[a-z][a-z-]*", told):
        assert any(option in p.opts or option in p.secondary_opts for p in command.params), (
            f"docs/commands.md gives {name} an option {option} that it has not"
        )


@pytest.mark.parametrize("name", COMMANDS)
def test_the_table_and_the_command_say_the_same(name: str) -> None:
    command = main.get_command(click.Context(main), name)
    assert command is not None and command.name == name
    assert command.help, f"{name} has no help of its own"


def objects(node: dict[str, Any], path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Each object of a schema under the heading that documents it."""
    yield path or "The whole", node["properties"]
    for key, child in node["properties"].items():
        inner = child.get("items", child)
        if "properties" in inner:
            yield from objects(inner, f"{path}.{key}".strip(".") + "[]" * ("items" in child))


def test_every_json_field_is_documented_as_the_schema_says() -> None:
    told = sections((ROOT / "docs" / "read-json.md").read_text("utf-8"))
    wanted = dict(objects(schema()))
    assert set(told) == set(wanted)
    for heading, properties in wanted.items():
        rows = dict(re.findall(r"^\| `(\w+)` \| [^|]+ \| (.+) \|$", told[heading], re.MULTILINE))
        assert rows == {key: child["description"] for key, child in properties.items()}, heading


def test_every_object_of_the_schema_is_closed_and_whole() -> None:
    def check(node: dict[str, Any]) -> None:
        if "properties" in node:
            assert node["additionalProperties"] is False
            assert node["required"] == list(node["properties"])
        for child in [*node.get("properties", {}).values(), *filter(None, [node.get("items")])]:
            check(child)

    check(schema())


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", page.read_text("utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name} links to {target}"


def test_the_two_commands_of_the_readme_are_there() -> None:
    (block,) = re.findall(
        r"```sh\n(sh scripts.*?)```", (ROOT / "README.md").read_text("utf-8"), re.S
    )
    scripts = [line.split()[1] for line in block.splitlines()]
    assert scripts == ["scripts/try.sh", "scripts/check.sh"]
    assert all((ROOT / script).is_file() for script in scripts)
    assert "scripts/check.sh" in (ROOT / ".ci" / "run").read_text("utf-8")


def test_no_requirement_carries_an_address() -> None:
    for file in (ROOT / "requirements").glob("*.txt"):
        text = file.read_text("utf-8")
        assert "://" not in text and "--index" not in text and "--find-links" not in text
        pins = re.findall(r"^[a-z0-9_.-]+==\S+", text, re.MULTILINE)
        assert len(pins) > 30
        assert text.count("--hash=sha256:") >= len(pins)
