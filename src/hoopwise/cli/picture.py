"""A spectrum drawn with characters, the modes marked below it."""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from hoopwise.listen.spectrum import Spectrum

WIDTH: Final = 66
HEIGHT: Final = 7
RANGE_DB: Final = 56.0
_FULL: Final = " ▁▂▃▄▅▆▇█"
_PLAIN: Final = " .:|#"
_TICKS_HZ: Final = (30, 50, 100, 200, 300, 500, 1000)


def spectrum_picture(
    spectrum: Spectrum, marks: Mapping[float, str], unicode: bool = True
) -> list[str]:
    """Lines of a picture, at most 74 characters wide.

    ``marks`` gives the frequencies (Hz) to mark and the character for each; where two
    share a column, the one named first stands.
    """
    shades = _FULL if unicode else _PLAIN
    # Rounding up to a whole number of columns, the highest level of each is drawn.
    columns = np.array_split(spectrum.level_db, WIDTH)
    height = np.array([1.0 + float(c.max()) / RANGE_DB for c in columns]) * HEIGHT
    lines = []
    for row in reversed(range(HEIGHT)):
        fill = np.clip(height - row, 0.0, 1.0) * (len(shades) - 1)
        bar = "".join(shades[round(f)] for f in fill)
        label = f"{round(RANGE_DB * (row + 1 - HEIGHT) / HEIGHT):4d}"
        lines.append(f"{label} {'│' if unicode else '|'}{bar}".rstrip())
    lines.append(" " * 6 + _marked(spectrum, marks))
    lines.append("  Hz  " + _axis(spectrum))
    return lines


def _column(spectrum: Spectrum, frequency_hz: float) -> int:
    grid = spectrum.frequency_hz
    share = np.log(frequency_hz / grid[0]) / np.log(grid[-1] / grid[0])
    return int(np.clip(share * WIDTH, 0, WIDTH - 1))


def _marked(spectrum: Spectrum, marks: Mapping[float, str]) -> str:
    line = [" "] * WIDTH
    for frequency, mark in marks.items():
        column = _column(spectrum, frequency)
        if line[column] == " ":
            line[column] = mark
    return "".join(line).rstrip()


def _axis(spectrum: Spectrum, ticks: Sequence[int] = _TICKS_HZ) -> str:
    line = [" "] * (WIDTH + 4)
    for tick in ticks:
        text = str(tick)
        start = max(0, _column(spectrum, tick) - len(text) // 2)
        line[start : start + len(text)] = text
    return "".join(line).rstrip()
