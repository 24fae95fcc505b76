"""The two-head chart drawn with characters: ring as shade, notes along their lines."""

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hoopwise.drum import Drum
from hoopwise.plan.aim import HeadAim
from hoopwise.plan.two_head_chart import TwoHeadChart
from hoopwise.units import note_name

Floats = NDArray[np.float64]

_ROWS: Final = 20
_COLUMNS: Final = 60
_SHADES: Final = "·░▒▓█"
_PLAIN: Final = ".-+*#"


def chart_picture(
    drum: Drum, chart: TwoHeadChart, spots: Sequence[tuple[HeadAim, ...]], unicode: bool
) -> Iterator[str]:
    """Lines of the chart: the batter's own note to the right, the other head's upwards.

    Every fourth semitone of the low note is written along its line; ``spots`` are marked.
    """
    rows = np.linspace(len(chart.second_tension_n_m) - 1, 0, _ROWS).round().astype(int)
    columns = np.linspace(0, len(chart.batter_tension_n_m) - 1, _COLUMNS).round().astype(int)
    ring = chart.ring_s[np.ix_(columns, rows)].T
    edges = np.quantile(ring, (0.2, 0.4, 0.6, 0.8))
    shades = _SHADES if unicode else _PLAIN
    cells = [[shades[i] for i in line] for line in np.searchsorted(edges, ring)]
    _write_notes(cells, chart.note_hz[np.ix_(columns, rows)].T)
    for spot in spots:
        if len(spot) == 2:
            row = _nearest(chart.second_tension_n_m[rows], spot[1].tension_n_m)
            column = _nearest(chart.batter_tension_n_m[columns], spot[0].tension_n_m)
            cells[row][column] = "◆" if unicode else "X"
    second = "snare side" if drum.second_side == "snare_side" else "resonant head"
    yield f"  Low note over both heads, and its ring as shade. Up: the {second}'s own note;"
    yield "  to the right: the batter's."
    bar = "│" if unicode else "|"
    for row, line in zip(rows, cells, strict=True):
        yield f"  {note_name(float(chart.second_note_hz[row]))[0]:>4} {bar}{''.join(line)}"
    yield _axis(chart.batter_note_hz[columns])
    yield "  ring: " + "  ".join(
        f"{shade} {words}" for shade, words in zip(shades, _spans(edges), strict=True)
    )


def _nearest(grid: Floats, value: float) -> int:
    return int(np.argmin(np.abs(np.log(grid / value))))


def _write_notes(cells: list[list[str]], note_hz: Floats) -> None:
    """Write a note where the low note passes it, once in every third line of the picture."""
    step = np.floor((12.0 * np.log2(note_hz / 440.0) + 69.0) / 4.0)
    for row in range(1, len(cells), 3):
        free = 0
        for column in range(1, len(cells[row])):
            if step[row, column] == step[row, column - 1]:
                continue
            name = note_name(440.0 * 2.0 ** ((4.0 * step[row, column] - 69.0) / 12.0))[0]
            if free <= column <= len(cells[row]) - len(name):
                cells[row][column : column + len(name)] = name
                free = column + len(name) + 1


def _axis(notes_hz: Floats) -> str:
    line = [" "] * (_COLUMNS + 12)
    for column in range(0, len(notes_hz), 8):
        name = note_name(float(notes_hz[column]))[0]
        line[8 + column : 8 + column + len(name)] = name
    return "".join(line).rstrip()


def _spans(edges: Floats) -> list[str]:
    digits = max(0, 1 - math.floor(math.log10(float(edges[0]))))
    texts = [f"{edge:.{min(digits, 2)}f}" for edge in edges]
    inner = [f"to {b}" for b in texts[1:]]
    return [f"under {texts[0]}", *inner, f"over {texts[-1]} s"]
