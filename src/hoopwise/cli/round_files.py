"""Which recordings hold which rods: from ``--rods`` and a TOML list to parts of a round."""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hoopwise.errors import RoundError

_HINT = "name the rods as 1,2,3 in the order they were tapped (1.5: halfway to the next)"
_PLACE = re.compile(r"[0-9]{1,3}(\.[05])?")
_TAKE_KEYS = {"file", "rod", "rods"}


@dataclass(frozen=True)
class Part:
    """Recordings that run on from one to the next, and the rods visited in them, in order."""

    files: tuple[Path, ...]
    rods: tuple[float, ...]
    """Half more stands for halfway to the next rod."""


def parts_of(recordings: Sequence[Path], rods: Sequence[str]) -> list[Part]:
    """Parts of a round.

    One file a rod where there are as many recordings as rods named; one list a recording
    where ``--rods`` is given as often as there are recordings; else all lists are joined,
    and the recordings run on from one to the next.

    Parameters
    ----------
    recordings
        Sound files in the order recorded; empty where a TOML file lists them.
    rods
        What ``--rods`` was given, each time: ``1,2,3`` or a TOML file.

    Raises
    ------
    RoundError
        The rods cannot be understood, or recordings are missing or named twice.
    """
    listed = [_toml_parts(Path(text)) for text in rods if text.endswith(".toml")]
    takes = [part for parts in listed for part in parts if part.files]
    if takes:
        if recordings or len(listed) < len(rods) or any(not p.files for ps in listed for p in ps):
            raise RoundError(
                f"{rods[0]} lists the recordings already; give it alone, without others."
            )
        return takes
    named = [
        _toml_parts(Path(text))[0].rods if text.endswith(".toml") else _named(text) for text in rods
    ]
    if not recordings:
        raise RoundError("Which recordings? Name them, or list them in the TOML file for --rods.")
    files = tuple(recordings)
    if len(named) == len(files):
        return [Part((file,), one) for file, one in zip(files, named, strict=True)]
    joined = tuple(rod for one in named for rod in one)
    if len(joined) == len(files):
        return [Part((file,), (rod,)) for file, rod in zip(files, joined, strict=True)]
    return [Part(files, joined)]


def _named(text: str) -> tuple[float, ...]:
    words = [word for word in re.split(r"[,\s]+", text) if word]
    if not words or not all(_PLACE.fullmatch(word) for word in words):
        raise RoundError(f"{text}: {_HINT}.")
    return tuple(float(word) if "." in word else int(word) for word in words)


def _toml_parts(path: Path) -> list[Part]:
    """What a TOML file says: takes with their files, or one part without a file."""
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        raise RoundError(f"{path}: there is no such list of rods.") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise RoundError(f"{path}: cannot be read as a list of rods ({error}).") from None
    takes = data.get("take")
    if takes is not None:
        if not isinstance(takes, list) or not takes:
            raise RoundError(f"{path}: write each recording as [[take]] with file and rod or rods.")
        return [_take(path, number, take) for number, take in enumerate(takes, 1)]
    rods = data.get("rods")
    if rods is None and isinstance(data.get("taps"), dict):
        rods = data["taps"].get("rod")  # what `hoopwise simulate` writes
    return [Part((), _rod_list(f"{path}: rods", rods))]


def _take(path: Path, number: int, take: Any) -> Part:
    where = f"{path}: take {number}"
    if not isinstance(take, dict) or not isinstance(take.get("file"), str):
        raise RoundError(f"{where} names no file.")
    stranger = sorted(set(take) - _TAKE_KEYS)
    if stranger:
        raise RoundError(f"{where} has no key {stranger[0]!r}; legal are file, rod, rods.")
    if ("rod" in take) == ("rods" in take):
        raise RoundError(f"{where}: give rod (one) or rods (a list), one of the two.")
    rods = [take["rod"]] if "rod" in take else take["rods"]
    return Part((path.parent / take["file"],), _rod_list(f"{where}: rods", rods))


def _rod_list(where: str, rods: Any) -> tuple[float, ...]:
    places = isinstance(rods, list) and all(
        isinstance(rod, (int, float)) and not isinstance(rod, bool) and (2 * rod) % 1 == 0
        for rod in rods
    )
    if not rods or not places:
        raise RoundError(f"{where}: {_HINT}, as in rods = [1, 2, 3].")
    return tuple(rods)
