"""What is kept between rounds: it goes on as if the work had not been left."""

from pathlib import Path

import numpy as np
import pytest

from hoopwise.cli.turns_file import KEYS, load_turns, save_turns
from hoopwise.errors import RoundError
from hoopwise.infer.head.prior import Belief
from hoopwise.plan.headwork import HeadWork
from hoopwise.plan.memory import Memory
from hoopwise.plan.turns import Gain
from tests.rounds import SNARE, TOM, told

DOCS = Path(__file__).resolve().parent.parent / "docs"


def work_after_a_round() -> HeadWork:
    """A head whose round was made up: rods from slack to tight."""
    work = HeadWork(TOM)
    rng = np.random.default_rng(2)
    mean = 0.08 * rng.normal(size=8)
    root = 0.01 * np.eye(8) + 0.002 * rng.normal(size=(8, 8))
    work.readings.append(told(tension=1772.25))
    work._belief = Belief(mean - mean.mean(), root @ root.T)
    work.gain = Gain(0.83, 0.11)
    work.rounds = 2
    return work


def test_going_on_from_the_file_is_going_on(tmp_path: Path) -> None:
    stayed, plan = work_after_a_round(), work_after_a_round().advise()
    file = tmp_path / "turns.toml"
    save_turns(file, work_after_a_round().memory(plan))
    stayed.turned(plan)
    back = HeadWork(TOM)
    back.resume(load_turns(file))
    assert back.rounds == stayed.rounds == 2
    assert back.gain == stayed.gain
    for one, other in ((back._belief, stayed._belief),):
        assert one is not None and other is not None
        assert np.array_equal(one.mean, other.mean) and np.array_equal(one.cov, other.cov)
    assert back._turned is not None and stayed._turned is not None
    assert np.array_equal(back._turned[2], stayed._turned[2])
    assert back._turned[1].tension_n_m == 1772.25


def test_turns_made_otherwise_are_what_counts(tmp_path: Path) -> None:
    file = tmp_path / "turns.toml"
    save_turns(file, work_after_a_round().memory(work_after_a_round().advise()))
    lines = [
        "made = [0, 0, 0, 0.25, 0, 0, 0, 0]" if line.startswith("made") else line
        for line in file.read_text().splitlines()
    ]
    file.write_text("\n".join(lines))
    back, stayed = HeadWork(TOM), work_after_a_round()
    back.resume(load_turns(file))
    stayed.turned([0, 0, 0, 0.25, 0, 0, 0, 0])
    assert back._belief is not None and stayed._belief is not None
    assert np.array_equal(back._belief.mean, stayed._belief.mean)


def test_no_turns_made_leaves_what_is_known() -> None:
    work = work_after_a_round()
    back = HeadWork(TOM)
    back.resume(work.memory())
    assert back._turned is None and back._belief is not None and work._belief is not None
    assert np.array_equal(back._belief.mean, work._belief.mean)


def test_another_drum_or_head_is_refused() -> None:
    memory = work_after_a_round().memory()
    for work in (HeadWork(SNARE), HeadWork(TOM, "resonant")):
        with pytest.raises(RoundError, match=r"belong to tom 14 x 14 \(batter, 8 rods\), not"):
            work.resume(memory)


def test_nothing_read_nothing_to_keep() -> None:
    with pytest.raises(RoundError, match="no reading"):
        HeadWork(TOM).memory()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("format = 1", "format = 2", "no turns file of format 1"),
        ("value = 0.83", "value = -1", r"\[gain\] value must be a number above 0"),
        ("value = 0.83", "value = nan", r"\[gain\] value must be a number above 0"),
        ("made = [", "made = [0.1, ", r"must be one number for each rod"),
        ("made = [", 'made = ["a", ', r"must be one number for each rod"),
        ("number = 2", "number = true", r"\[round\] number must be a whole number"),
        ("covariance = [[", "covariance = [[9.0, ", r"covariance must be as many lists as rods"),
        ('drum = "', "drum = [1] #", r"\[head\] drum must be text"),
        ("[turns]", "[turn]", r"\[round\] deviation must be one number for each rod"),
        ("format = 1", "format = ", "cannot be read as a turns file"),
    ],
)
def test_a_spoilt_file_is_one_sentence(tmp_path: Path, old: str, new: str, words: str) -> None:
    file = tmp_path / "turns.toml"
    save_turns(file, work_after_a_round().memory())
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new, 1))
    with pytest.raises(RoundError, match=words):
        load_turns(file)


def test_turns_and_covariances_that_cannot_be(tmp_path: Path) -> None:
    file = tmp_path / "turns.toml"
    kept = work_after_a_round().memory()
    for bad, words in (
        (Memory(**{**kept.__dict__, "made": (7.0,) + (0.0,) * 7}), "rod 1 is said to be turned"),
        (Memory(**{**kept.__dict__, "covariance": ((0.0,) * 8,) * 8}), "covariance is none"),
    ):
        save_turns(file, bad)
        with pytest.raises(RoundError, match=words):
            load_turns(file)
    with pytest.raises(RoundError, match="no such turns file"):
        load_turns(tmp_path / "none.toml")
    with pytest.raises(RoundError, match="cannot be written"):
        save_turns(tmp_path / "no" / "such.toml", kept)


def test_every_key_of_the_file_is_documented() -> None:
    page = (DOCS / "turns-toml.md").read_text("utf-8")
    for table, keys in KEYS.items():
        heading = f"## [{table}]" if table else "## The top"
        section = page.split(heading)[1].split("\n## ")[0]
        rows = [line.split("`")[1] for line in section.splitlines() if line.startswith("| `")]
        assert rows == list(keys), table
