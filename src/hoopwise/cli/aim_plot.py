"""Figures of ``hoopwise aim``: the coupled modes, and the two-head chart."""

from pathlib import Path
from typing import Any, Final

import matplotlib
import numpy as np
from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, LogNorm, to_rgb
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, NullLocator
from numpy.typing import NDArray

from hoopwise.acoustics.two_heads import CoupledMode
from hoopwise.cli.aim_print import spoken_side
from hoopwise.cli.aim_types import Findings
from hoopwise.plan.two_head_chart import TwoHeadChart
from hoopwise.units import note_frequency, note_name, spoken_note

Floats = NDArray[np.float64]

_INK: Final = "#22303c"
_PALE: Final = "#9aa7b1"
_BATTER: Final = "#0b6e8e"
_SECOND: Final = "#c2570c"
_RING: Final = LinearSegmentedColormap.from_list(
    "ring", ["#fbf6e9", "#d9e3cf", "#93c0b6", "#4a8f9f", "#23597c", "#14294a"]
)
"""From short to long, steadily darker, so that it reads without colour."""
_STYLE: Final[dict[Any, Any]] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.edgecolor": _PALE,
    "axes.labelcolor": _INK,
    "text.color": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
    "hatch.linewidth": 0.5,
    "svg.hashsalt": "hoopwise",
    "svg.fonttype": "none",
}
_RINGS_S: Final = (0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)


def save_plot(found: Findings, path: Path) -> None:
    """Draw what was found into a svg, png or pdf file: chart, modes, or both."""
    with matplotlib.rc_context(_STYLE):
        wide = found.chart is not None and bool(found.modes)
        figure = Figure(figsize=(14.0 if wide else 8.2, 6.6), layout="constrained")
        count = 2 if wide else 1
        panels = list(figure.subfigures(1, count, squeeze=False)[0])
        if found.chart is not None:
            panel = panels.pop(0)
            axes = panel.subplots()
            _draw_chart(axes, found, found.chart)
        if found.modes:
            panel = panels.pop(0)
            panel.suptitle(_title(found), x=0.02, ha="left", weight="bold", fontsize=11)
            _draw_modes(panel.subplots(), found)
        metadata = {"Date": None} if path.suffix.lower() == ".svg" else None
        figure.savefig(path, dpi=150, metadata=metadata)


def _title(found: Findings) -> str:
    heads = ", ".join(f"{spoken_side(h.side)} {spoken_note(h.pitch_hz)}" for h in found.heads)
    return f"{found.drum.name}: {heads}"


def _draw_modes(axes: Axes, found: Findings) -> None:
    """Ring time against frequency; colour and lean of the mark say which head carries it."""
    top = max(mode.t60_s for mode in found.modes)
    for mode in found.modes:
        colour = _between(mode.share[0])
        axes.vlines(mode.frequency_hz, 0.0, mode.t60_s, color=colour, lw=2.2)
        axes.plot(
            mode.frequency_hz, mode.t60_s, color=colour, ms=7, mew=1.4,
            marker={"together": "o", "opposed": "D", "alone": "o"}[mode.motion],
            mfc=colour if mode.motion != "opposed" else "white",
        )  # fmt: skip
    _label_modes(axes, found.modes, top)
    axes.set(xlabel="frequency, Hz", ylabel="ring time, s", ylim=(0.0, 1.2 * top))
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_xscale("log")
    low, high = found.modes[0].frequency_hz, found.modes[-1].frequency_hz
    axes.set_xlim(low / 1.12, high * 1.08)
    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_xticks([t for t in (30, 50, 70, 100, 150, 200, 300, 500, 700, 1000, 1500)
                     if low / 1.1 < t < high * 1.08])  # fmt: skip
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.0f}"))
    axes.grid(axis="y", color="#e6eaed", lw=0.8)
    axes.set_axisbelow(True)
    if any(mode.motion != "alone" for mode in found.modes):
        _key(axes, spoken_side(found.drum.second_side))


def _label_modes(axes: Axes, modes: tuple[CoupledMode, ...], top: float) -> None:
    """Shape and note above each mark, lowest first, where there is room for them."""
    marks = [(float(np.log(mode.frequency_hz)), mode.t60_s / top) for mode in modes]
    taken: list[tuple[float, float]] = []
    for mode, (x, height) in zip(modes, marks, strict=True):
        y = height + 0.015
        tries = 0
        while tries < 4 and _crowded(x, y, taken, marks):
            y, tries = y + 0.03, tries + 1
        if tries == 4:
            continue
        taken.append((x, y))
        axes.annotate(
            f"({mode.shape[0]},{mode.shape[1]}) {note_name(mode.frequency_hz)[0]}",
            (mode.frequency_hz, y * top), xytext=(0, 3), textcoords="offset points",
            ha="center", va="bottom", fontsize=7.5, color=_INK,
        )  # fmt: skip


def _crowded(
    x: float, y: float, taken: list[tuple[float, float]], marks: list[tuple[float, float]]
) -> bool:
    """Whether a label at log frequency x and relative height y would lie on another thing."""
    on_label = any(abs(x - tx) < 0.17 and abs(y - ty) < 0.035 for tx, ty in taken)
    on_stem = any(0.012 < abs(x - mx) < 0.09 and y < my + 0.02 for mx, my in marks)
    return on_label or on_stem


def _between(batter_share: float) -> tuple[float, ...]:
    """Blue for the batter, orange for the other head, mixed in between."""
    first, second = np.array(to_rgb(_BATTER)), np.array(to_rgb(_SECOND))
    return tuple(float(c) for c in batter_share * first + (1.0 - batter_share) * second)


def _key(axes: Axes, second: str) -> None:
    handles = [
        axes.plot([], [], marker="s", ls="", color=_BATTER, label="batter carries it")[0],
        axes.plot([], [], marker="s", ls="", color=_SECOND, label=f"{second} carries it")[0],
        axes.plot([], [], marker="o", ls="", color=_PALE, label="heads together")[0],
        axes.plot([], [], marker="D", ls="", color=_PALE, mfc="white", label="heads opposed")[0],
    ]
    axes.legend(handles=handles, loc="upper right", frameon=False, fontsize=8)


def _draw_chart(axes: Axes, found: Findings, chart: TwoHeadChart) -> None:
    x, y = np.log(chart.batter_tension_n_m), np.log(chart.second_tension_n_m)
    ring = chart.ring_s.T
    levels = [s for s in _RINGS_S if ring.min() / 1.6 < s < ring.max() * 1.6]
    filled = axes.contourf(
        x, y, ring, levels=np.geomspace(levels[0], levels[-1], 40), cmap=_RING,
        norm=LogNorm(levels[0], levels[-1]), extend="both",
    )  # fmt: skip
    filled.set_edgecolor("face")
    bar = axes.figure.colorbar(filled, ax=axes, ticks=levels, pad=0.02, aspect=32, shrink=0.9)
    bar.ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    bar.ax.yaxis.set_minor_locator(NullLocator())
    bar.outline.set_visible(False)
    bar.set_label("ring of the low note, s")
    _note_lines(axes, chart, x, y)
    _alike(axes, chart, x, y)
    _tight(axes, chart, x, y)
    _spots(axes, found)
    second = spoken_side(found.drum.second_side)
    _note_axis(axes, "x", chart.batter_note_hz, x, "batter's own note")
    _note_axis(axes, "y", chart.second_note_hz, y, f"{second}'s own note")
    axes.set_title(
        f"{found.drum.name}: low note (lines) and ring (shade) over both heads",
        loc="left", weight="bold", fontsize=11, pad=26,
    )  # fmt: skip


def _note_lines(axes: Axes, chart: TwoHeadChart, x: Floats, y: Floats) -> None:
    """A line for every semitone of the low note, every other one labelled."""
    midi = 69.0 + 12.0 * np.log2(chart.note_hz.T / 440.0)
    steps = np.arange(np.ceil(midi.min()), np.floor(midi.max()) + 1.0)
    axes.contour(x, y, midi, levels=steps, colors=_INK, linewidths=0.35, alpha=0.45)
    named = steps[steps % 2.0 == 0.0]
    lines = axes.contour(x, y, midi, levels=named, colors=_INK, linewidths=0.9, alpha=0.9)
    halo = [patheffects.withStroke(linewidth=2.6, foreground="white")]
    lines.set(path_effects=[patheffects.withStroke(linewidth=1.8, foreground="#ffffff55")])
    for label in axes.clabel(
        lines, fmt=lambda m: note_name(440.0 * 2.0 ** ((m - 69.0) / 12.0))[0], fontsize=8
    ):
        label.set(path_effects=halo, color=_INK)


def _alike(axes: Axes, chart: TwoHeadChart, x: Floats, y: Floats) -> None:
    """Where both heads have the same own note."""
    along = np.interp(np.log(chart.batter_note_hz), np.log(chart.second_note_hz), y,
                      left=np.nan, right=np.nan)  # fmt: skip
    axes.plot(x, along, color=_SECOND, lw=1.6, ls=(0, (5, 3)))
    held = np.flatnonzero(np.isfinite(along))
    at = held[int(0.12 * len(held))]
    axes.annotate(
        "heads alike", (x[at], along[at]), xytext=(7, -9), textcoords="offset points",
        color=_SECOND, fontsize=8.5, weight="bold",
        bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.8},
    )  # fmt: skip


def _tight(axes: Axes, chart: TwoHeadChart, x: Floats, y: Floats) -> None:
    """Hatch where a film passes half of its stress at 5 % strain."""
    step = np.log(0.7 / 0.5)
    style: dict[str, Any] = {"facecolor": "none", "edgecolor": _INK, "hatch": "///", "lw": 0.0}
    axes.axvspan(x[-1] - step, x[-1], alpha=0.35, **style)
    axes.axhspan(y[-1] - step, y[-1], alpha=0.35, **style)
    axes.annotate(
        "hatched: more than half of the stress at 5 % strain", (1.0, 1.0),
        xycoords="axes fraction", xytext=(0, 32), textcoords="offset points",
        ha="right", fontsize=7.5, color="#5d6b76",
    )  # fmt: skip


def _spots(axes: Axes, found: Findings) -> None:
    pairs = [] if found.aim is None else [pair.heads for pair in found.aim.pairs]
    for number, heads in enumerate(pairs or [found.heads], start=1):
        if len(heads) == 2:
            place = np.log(heads[0].tension_n_m), np.log(heads[1].tension_n_m)
            axes.plot(*place, marker="o", ms=13, color="white", mec=_INK, mew=1.4)
            axes.annotate(str(number), place, ha="center", va="center", fontsize=8.5)


def _note_axis(axes: Axes, which: str, notes_hz: Floats, place: Floats, label: str) -> None:
    """Ticks at the head's own notes; tensions on the far side."""
    names = [f"{letter}{octave}" for octave in range(8) for letter in ("C", "E", "G#")]
    inside = [n for n in names if notes_hz[0] <= note_frequency(n) <= notes_hz[-1]]
    at = np.interp(np.log([note_frequency(n) for n in inside]), np.log(notes_hz), place)
    far = axes.secondary_xaxis("top") if which == "x" else axes.secondary_yaxis("right")
    axis, other = (axes.xaxis, far.xaxis) if which == "x" else (axes.yaxis, far.yaxis)
    axis.set_ticks(at, inside)
    axis.set_label_text(f"{label} (its (0,1), the other head held still)")
    pulls = [t for t in (50, 100, 200, 500, 1000, 2000, 5000, 10000)
             if place[0] < np.log(t) < place[-1]]  # fmt: skip
    other.set_ticks(np.log(pulls), [f"{t:g}" for t in pulls])
    other.set_tick_params(labelsize=7.5, labelcolor="#5d6b76", color=_PALE)
    other.set_label_text("tension, N/m" if which == "x" else "")
