"""The turns file: what one round leaves for the next, as TOML that a hand may edit."""

import json
import math
import tomllib
from pathlib import Path
from typing import Any, Final

import numpy as np

from hoopwise import __version__
from hoopwise.errors import RoundError
from hoopwise.plan.memory import Memory

FORMAT: Final = 1
_HEAD: Final = """\
# Turns of one round, kept by hoopwise read --save-turns; go on with --after THIS FILE.
# Change `made` where you turned otherwise: turns of each rod from rod 1, + tightens.
"""
KEYS: Final[dict[str, dict[str, str]]] = {
    "": {"format": "whole", "hoopwise": "text"},
    "head": {"drum": "text", "side": "text", "other_head": "text"},
    "round": {
        "number": "whole", "note_hz": "positive", "mean_tension_n_m": "positive",
        "deviation": "rods", "covariance": "square",
    },
    "gain": {"value": "positive", "sd": "positive"},
    "turns": {"advised": "rods", "made": "rods"},
}  # fmt: skip
"""Keys of each table and what they hold."""
_WORDS: Final = {
    "whole": "a whole number",
    "text": "text in quotes",
    "positive": "a number above 0",
    "rods": "one number for each rod",
    "square": "as many lists as rods, each of one number for each rod",
}
_MOST_TURNS: Final = 5.0


def save_turns(path: Path, memory: Memory) -> None:
    """Write what the next round builds on.

    Raises
    ------
    RoundError
        The file cannot be written.
    """
    data: dict[str, dict[str, Any]] = {
        "": {"format": FORMAT, "hoopwise": __version__},
        "head": {"drum": memory.drum, "side": memory.side, "other_head": memory.other_head},
        "round": {
            "number": memory.rounds,
            "note_hz": memory.note_hz,
            "mean_tension_n_m": memory.mean_tension_n_m,
            "deviation": list(memory.deviation),
            "covariance": [list(row) for row in memory.covariance],
        },
        "gain": {"value": memory.gain, "sd": memory.gain_sd},
        "turns": {"advised": list(memory.advised), "made": list(memory.made)},
    }
    lines = []
    for table, values in data.items():
        lines += ["", f"[{table}]"] if table else []
        lines += [f"{k} = {json.dumps(v, ensure_ascii=False)}" for k, v in values.items()]
    try:
        path.write_text(_HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    except OSError as error:
        raise RoundError(f"{path}: the turns cannot be written ({error}).") from None


def load_turns(path: Path) -> Memory:
    """Read a turns file.

    Raises
    ------
    RoundError
        It is no turns file, or a value in it makes no sense; the message names the key.
    """
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        raise RoundError(f"{path}: there is no such turns file; --save-turns writes one.") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise RoundError(f"{path}: cannot be read as a turns file ({error}).") from None
    if data.get("format") != FORMAT:
        raise RoundError(f"{path}: is no turns file of format {FORMAT}, as --save-turns writes it.")
    turns = data.get("turns")
    made = turns.get("made") if isinstance(turns, dict) else None
    rods = len(made) if isinstance(made, list) else 0
    for table, keys in KEYS.items():
        values = data if not table else data.get(table)
        for key, kind in keys.items():
            value = values.get(key) if isinstance(values, dict) else None
            if not _fits(value, kind, rods):
                raise RoundError(f"{path}: [{table}] {key} must be {_WORDS[kind]}.")
    memory = _memory(data)
    _check(path, memory)
    return memory


def _memory(data: dict[str, Any]) -> Memory:
    head, last, gain, turns = data["head"], data["round"], data["gain"], data["turns"]
    return Memory(
        drum=head["drum"],
        side=head["side"],
        other_head=head["other_head"],
        rounds=last["number"],
        note_hz=float(last["note_hz"]),
        mean_tension_n_m=float(last["mean_tension_n_m"]),
        deviation=tuple(map(float, last["deviation"])),
        covariance=tuple(tuple(map(float, row)) for row in last["covariance"]),
        gain=float(gain["value"]),
        gain_sd=float(gain["sd"]),
        advised=tuple(map(float, turns["advised"])),
        made=tuple(map(float, turns["made"])),
    )


def _check(path: Path, memory: Memory) -> None:
    """Numbers that are numbers may still make no sense together."""
    worst = max(range(len(memory.made)), key=lambda i: abs(memory.made[i]))
    if abs(memory.made[worst]) > _MOST_TURNS:
        raise RoundError(
            f"{path}: rod {worst + 1} is said to be turned by {memory.made[worst]:g} turns; "
            f"at most {_MOST_TURNS:g} can be followed. Read the head afresh, without --after."
        )
    cov = np.array(memory.covariance)
    if not np.allclose(cov, cov.T) or np.linalg.eigvalsh(cov).min() <= 0.0:
        raise RoundError(f"{path}: [round] covariance is none; do not change it by hand.")


def _fits(value: Any, kind: str, rods: int) -> bool:
    if kind == "whole":
        return isinstance(value, int) and not isinstance(value, bool) and value >= 0
    if kind == "text":
        return isinstance(value, str)
    if kind == "positive":
        return _is_number(value) and value > 0.0
    if kind == "rods":
        return isinstance(value, list) and len(value) == rods > 0 and all(map(_is_number, value))
    return (
        isinstance(value, list)
        and len(value) == rods
        and all(
            isinstance(row, list) and len(row) == rods and all(map(_is_number, row))
            for row in value
        )
    )


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
