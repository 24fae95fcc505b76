"""Which recordings hold which rods: lists on the command line and in TOML."""

from pathlib import Path

import pytest

from hoopwise.cli.round_files import Part, parts_of
from hoopwise.errors import RoundError

A, B, C = Path("a.wav"), Path("b.wav"), Path("c.wav")


def test_one_recording_holds_all_rods() -> None:
    assert parts_of([A], ["1,2,3"]) == [Part((A,), (1, 2, 3))]
    assert parts_of([A], ["1, 2 3"]) == [Part((A,), (1, 2, 3))]


def test_half_more_is_halfway_to_the_next_rod(tmp_path: Path) -> None:
    assert parts_of([A], ["1,1.5,2.0,2.5"]) == [Part((A,), (1, 1.5, 2, 2.5))]
    rods = tmp_path / "rods.toml"
    rods.write_text("rods = [1, 1.5, 2]\n")
    assert parts_of([A], [str(rods)]) == [Part((A,), (1, 1.5, 2))]
    for wrong in ("1,1.25", "1,.5", "1,1.5.5"):
        with pytest.raises(RoundError, match=r"1\.5: halfway to the next"):
            parts_of([A], [wrong])


def test_one_recording_a_rod() -> None:
    assert parts_of([A, B, C], ["2,3,1"]) == [
        Part((A,), (2,)),
        Part((B,), (3,)),
        Part((C,), (1,)),
    ]


def test_lists_given_again_are_joined_or_belong_each_to_a_recording() -> None:
    assert parts_of([A], ["1,2", "3,4", "1,2"]) == [Part((A,), (1, 2, 3, 4, 1, 2))]
    assert parts_of([A, B], ["1,2", "3,4"]) == [Part((A,), (1, 2)), Part((B,), (3, 4))]
    assert parts_of([A, B], ["1", "1"]) == [Part((A,), (1,)), Part((B,), (1,))]


def test_fewer_recordings_than_rods_run_on() -> None:
    assert parts_of([A, B], ["1,2,3,4"]) == [Part((A, B), (1, 2, 3, 4))]


def test_toml_lists_rods_or_recordings(tmp_path: Path) -> None:
    rods = tmp_path / "rods.toml"
    rods.write_text("rods = [1, 3, 2]\n")
    assert parts_of([A], [str(rods)]) == [Part((A,), (1, 3, 2))]
    takes = tmp_path / "takes.toml"
    takes.write_text(
        '[[take]]\nfile = "one.wav"\nrod = 1\n[[take]]\nfile = "rest.wav"\nrods = [2, 3]\n'
    )
    assert parts_of([], [str(takes)]) == [
        Part((tmp_path / "one.wav",), (1,)),
        Part((tmp_path / "rest.wav",), (2, 3)),
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("rods = [1, true]", "name the rods as 1,2,3"),
        ("rods = [1, 1.3]", "name the rods as 1,2,3"),
        ("rods = [1, nan]", "name the rods as 1,2,3"),
        ("rods = []", "name the rods as 1,2,3"),
        ("take = []", r"write each recording as \[\[take\]\]"),
        ("[[take]]\nrod = 1", "take 1 names no file"),
        ('[[take]]\nfile = "a.wav"', "give rod .* or rods"),
        ('[[take]]\nfile = "a.wav"\nrod = 1\nrods = [1]', "give rod .* or rods"),
        ('[[take]]\nfile = "a.wav"\nrod = 1\nhead = 2', "no key 'head'"),
        ("rods = ", "cannot be read as a list of rods"),
    ],
)
def test_a_list_that_makes_no_sense_is_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    file = tmp_path / "rods.toml"
    file.write_text(text)
    with pytest.raises(RoundError, match=words):
        parts_of([], [str(file)]) if "take" in text else parts_of([A], [str(file)])


def test_recordings_missing_or_listed_twice(tmp_path: Path) -> None:
    with pytest.raises(RoundError, match="Which recordings"):
        parts_of([], ["1,2"])
    takes = tmp_path / "takes.toml"
    takes.write_text('[[take]]\nfile = "one.wav"\nrod = 1\n')
    with pytest.raises(RoundError, match="lists the recordings already"):
        parts_of([A], [str(takes)])
    with pytest.raises(RoundError, match="no such list of rods"):
        parts_of([A], [str(tmp_path / "none.toml")])
    for bad in ("one,two", "", "-1,2", "1;2"):
        with pytest.raises(RoundError, match="name the rods as 1,2,3"):
            parts_of([A], [bad])
