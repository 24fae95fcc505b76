"""The rim strip of a round: the hoop unrolled, tension at each rod with its error bar."""

from pathlib import Path
from typing import Any, Final

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from hoopwise.cli.read_round import RoundTold
from hoopwise.cli.round_print import WIDE_90, fraction
from hoopwise.plan.order import across
from hoopwise.plan.turns import EVEN_ENOUGH
from hoopwise.units import spoken_note

_INK: Final = "#22303c"
_SLACK: Final = "#0b6e8e"
_TIGHT: Final = "#c2570c"
_PALE: Final = "#9aa7b1"
_BAND: Final = "#e3eae4"
_LEAST_SPAN: Final = 8.0
_STYLE: Final[dict[Any, Any]] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.5,
    "axes.edgecolor": _PALE,
    "axes.labelcolor": _INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.spines.bottom": False,
    "text.color": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
    "svg.hashsalt": "hoopwise",
    "svg.fonttype": "none",
}


def save_plot(told: RoundTold, path: Path) -> None:
    """Draw the rim strip into a svg, png or pdf file."""
    rods = told.drum.rods
    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=(2.2 + 0.85 * rods, 5.4), layout="constrained")
        figure.suptitle(_title(told), x=0.01, ha="left", weight="bold", fontsize=11)
        axes, below = figure.subplots(2, 1, height_ratios=(4.0, 1.0), sharex=True)
        _draw_strip(axes, told)
        _draw_across(below, rods)
        metadata = {"Date": None} if path.suffix.lower() == ".svg" else None
        figure.savefig(path, dpi=150, metadata=metadata)


def _title(told: RoundTold) -> str:
    note = told.reading.note.frequency_hz
    side = told.side.replace("_", " ")
    return (
        f"{told.drum.name}, {side}, round {told.number}   {spoken_note(note)} ({note:.1f} Hz)   "
        f"trust {told.reading.trust.level}"
    )


def _draw_strip(axes: Axes, told: RoundTold) -> None:
    """Deviation up and down; shape, place and colour each say slack, even or tight."""
    readings = told.reading.rods
    value = 100.0 * np.array([r.deviation for r in readings])
    bar = 100.0 * WIDE_90 * np.array([r.deviation_sd for r in readings])
    even = 100.0 * EVEN_ENOUGH
    axes.axhspan(-even, even, color=_BAND, lw=0.0, zorder=0)
    axes.axhline(0.0, color=_PALE, lw=0.8, zorder=1)
    for reading, d, b in zip(readings, value, bar, strict=True):
        colour = _SLACK if d < -even else _TIGHT if d > even else _INK
        mark = "v" if d < -even else "^" if d > even else "o"
        axes.errorbar(
            reading.rod, d, yerr=b, fmt=mark, color=colour, ms=8, capsize=4.0, lw=1.6,
            mfc=colour if reading.taps else "white", zorder=3,
        )  # fmt: skip
    span = max(_LEAST_SPAN, 1.04 * float(np.max(np.abs(value) + bar)))
    _write_turns(axes, told, span)
    axes.set(ylim=(-1.2 * span, 1.28 * span), ylabel="tension against the mean, %")
    # Above the strip the margin is the turns'.
    axes.set_yticks([tick for tick in axes.get_yticks() if abs(tick) <= span])
    axes.yaxis.set_major_formatter(
        FuncFormatter(lambda y, _: f"{y:+.0f}".replace("-", "−") if y else "0")
    )
    axes.tick_params(axis="x", length=0, labelbottom=False)
    bottom = "even enough: the band   bars: 90 %   hollow: not tapped"
    axes.annotate(
        bottom, (0.0, 0.0), xycoords="axes fraction", xytext=(6, 4), textcoords="offset points",
        fontsize=8.5, color=_INK,
    )  # fmt: skip


def _write_turns(axes: Axes, told: RoundTold, span: float) -> None:
    """The step for each rod, above the strip, with its place in the working order."""
    plan = told.advice.plan
    if plan is None:
        return
    for place, rod in enumerate(plan.order, start=1):
        turns = plan.rods[rod - 1]
        text = f"{'+' if turns > 0 else '−'}{fraction(turns)}"
        axes.text(rod, 1.20 * span, text, ha="center", va="center", weight="bold")
        axes.text(rod, 1.08 * span, f"{place}.", ha="center", va="center", fontsize=8.5)
    word = "trial turn" if told.advice.trial else "turns"
    axes.text(0.35, 1.20 * span, word, ha="right", va="center", fontsize=8.5)


def _draw_across(axes: Axes, rods: int) -> None:
    """Rod numbers, the rod across tied by a thin arc below."""
    axes.spines["left"].set_visible(False)
    axes.set(xlim=(0.4, rods + 0.6), ylim=(-1.0, 0.1), yticks=[], xticks=range(1, rods + 1))
    axes.xaxis.tick_top()
    axes.tick_params(axis="x", length=0, labelsize=12, pad=2)
    axes.set_xlabel("rod, clockwise seen from this head; arcs tie the rods across")
    angle = np.linspace(0.0, np.pi, 40)
    for rod in range(1, rods // 2 + 1):
        other = across(rod, rods)
        if other is not None:
            middle, half = 0.5 * (rod + other), 0.5 * (other - rod)
            deep = 0.55 + 0.4 * rod / (rods // 2)
            axes.plot(middle - half * np.cos(angle), -deep * np.sin(angle), color=_PALE, lw=0.8)
