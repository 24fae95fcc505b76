"""Drum files: what is legal loads, what is not is told in one sentence."""

from pathlib import Path
from typing import Any

import pytest

from hoopwise.drum import TEMPLATES, load_drum
from hoopwise.errors import DrumError

GOOD: dict[str, Any] = {"drum": {"diameter_in": 14, "depth_in": 5.5, "rods": 10}}


def changed(table: str, **keys: Any) -> dict[str, Any]:
    return {**GOOD, table: {**GOOD.get(table, {}), **keys}}


def test_every_template_loads() -> None:
    for name in TEMPLATES:
        drum = load_drum(name)
        assert drum.second is not None
        assert drum.rods in (6, 8, 10)


def test_inches_and_millimetres_mean_the_same() -> None:
    inch = load_drum(changed("batter", film_mil=10))
    metric = load_drum(
        {
            "drum": {"diameter_mm": 355.6, "depth_mm": 139.7, "rods": 10},
            "batter": {"film_um": 254},
        }
    )
    assert metric.diameter_m == pytest.approx(inch.diameter_m)
    assert metric.batter.film.mass_kg_m2 == pytest.approx(inch.batter.film.mass_kg_m2)


def test_pitch_of_the_unified_thread_table() -> None:
    # Unified thread table, No. 12-24 UNC: 24 threads an inch, 1.0583 mm.
    assert load_drum(GOOD).thread_pitch_m == pytest.approx(1.0583333e-3, rel=1e-6)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (changed("drum", rods=3), ("rods = 3", "from 4 to 16")),
        (changed("drum", diameter_in=40), ("diameter_in = 40", "from 6 to 26")),
        (changed("drum", depth_in=0), ("depth_in = 0",)),
        (changed("drum", depth_in="deep"), ("depth_in = 'deep'", "number")),
        (changed("drum", colour="red"), ("no key 'colour'",)),
        (changed("drum", depth_mm=140), ("depth_in and depth_mm", "keep one")),
        (changed("batter", film_mil=0), ("[batter] film_mil = 0",)),
        (changed("hoop", kind="rubber"), ("[hoop] kind = 'rubber'", "flanged, cast, wood")),
        (changed("snare_side", film_mil=3), ("[resonant]", "not [snare_side]")),
        (changed("wires", strands=20), ("[wires] belong on a snare",)),
        (changed("drum", thread="odd"), ("thread = 'odd'", "thread_pitch_mm")),
        ({"drum": {"depth_in": 5, "rods": 6}}, ("diameter_in is missing", "diameter_mm")),
        ({"drums": {}}, ("unknown table [drums]",)),
    ],
)
def test_a_mistake_is_one_sentence(data: dict[str, Any], words: tuple[str, ...]) -> None:
    with pytest.raises(DrumError) as caught:
        load_drum(data)
    message = str(caught.value)
    assert "\n" not in message and message.endswith(".")
    for word in words:
        assert word in message


def test_bad_files_are_named(tmp_path: Path) -> None:
    for text, word in [("[drum", "TOML"), ("[drum]\nrods = 99\n", "rods = 99")]:
        file = tmp_path / "mine.toml"
        file.write_text(text)
        with pytest.raises(DrumError, match=r"mine\.toml") as caught:
            load_drum(file)
        assert word in str(caught.value) or "diameter" in str(caught.value)
    with pytest.raises(DrumError, match="no such drum file"):
        load_drum(tmp_path / "none.toml")
