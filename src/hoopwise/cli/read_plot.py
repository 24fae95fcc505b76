"""A figure of what was read: for each note its spectra, its modes and its hits."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, NullLocator

from hoopwise.cli.read_print import whole_db
from hoopwise.listen.hits import Hit, NoteGroup, RecordingHits, note_groups, pitch_hz
from hoopwise.units import cents, cents_sd, spoken_note

_INK: Final = "#22303c"
_LOW: Final = "#0b6e8e"
_EDGE: Final = "#c2570c"
_PALE: Final = "#9aa7b1"
_SAME_RING: Final = 0.05
_TICKS_HZ: Final = (30, 50, 70, 100, 150, 200, 300, 500, 700, 1000, 1500)
_STYLE: Final[dict[Any, Any]] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.edgecolor": _PALE,
    "axes.labelcolor": _INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
    "svg.hashsalt": "hoopwise",
    "svg.fonttype": "none",
}


def save_plot(readings: Sequence[RecordingHits], path: Path) -> None:
    """Draw one band of panels for each note into a svg, png or pdf file."""
    groups = note_groups([hit for reading in readings for hit in reading.hits])
    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=(10.0, 4.4 * len(groups)), layout="constrained")
        bands = figure.subfigures(len(groups), 1, squeeze=False)[:, 0]
        for band, group in zip(bands, groups, strict=True):
            axes = band.subplot_mosaic(
                [["spectrum", "hits"], ["ladder", "hits"]],
                width_ratios=(2.6, 1.0),
                height_ratios=(1.6, 1.0),
            )
            band.suptitle(_title(group), x=0.01, ha="left", weight="bold", fontsize=11)
            _draw_spectra(axes["spectrum"], group)
            _draw_ladder(axes["ladder"], group)
            _draw_hits(axes["hits"], group)
        metadata = {"Date": None} if path.suffix.lower() == ".svg" else None
        figure.savefig(path, dpi=150, metadata=metadata)


def _title(group: NoteGroup) -> str:
    count = len(group.hits)
    text = f"{spoken_note(group.frequency_hz)}   {group.frequency_hz:.2f} Hz"
    return f"{text}   {count} hits within {group.spread_cents:.1f} cents" if count > 1 else text


def _by_strength(group: NoteGroup) -> list[Hit]:
    return sorted(group.hits, key=lambda hit: hit.tap.strength_db)


def _edge_ring_hz(hits: Sequence[Hit]) -> float | None:
    """Frequency at which most hits have their edge ring, within 5 %."""
    found = np.array(
        [h.modes[i].frequency_hz for h in hits if (i := h.roles.edge_ring) is not None]
    )
    if found.size == 0:
        return None
    near = np.abs(found[:, None] / found - 1.0) < _SAME_RING
    return float(np.median(found[near[np.argmax(near.sum(axis=1))]]))


def _draw_spectra(axes: Axes, group: NoteGroup) -> None:
    hits = _by_strength(group)
    for rank, hit in enumerate(hits, start=1):
        shade = 0.25 + 0.75 * rank / len(hits)
        axes.plot(hit.spectrum.frequency_hz, hit.spectrum.level_db, color=_INK, alpha=shade, lw=0.9)
    marked = [("low note", group.frequency_hz, _LOW)]
    edge_hz = _edge_ring_hz(hits)
    if edge_hz is not None:
        marked.append(("edge ring", edge_hz, _EDGE))
    for name, frequency_hz, colour in marked:
        axes.axvline(frequency_hz, color=colour, lw=1.2, zorder=0)
        label = f"{name}\n{spoken_note(frequency_hz)}"
        axes.annotate(
            label, (frequency_hz, 4.0), xytext=(4, 0), textcoords="offset points",
            color=colour, va="bottom", fontsize=8.5, annotation_clip=False,
        )  # fmt: skip
    axes.set(ylabel="level, dB", ylim=(-62.0, 16.0), yticks=(-60, -40, -20, 0))
    _frequency_axis(axes, labelled=False)


def _draw_ladder(axes: Axes, group: NoteGroup) -> None:
    top = 0.1
    for hit in group.hits:
        strongest = max((mode.amplitude for mode in hit.modes), default=1.0)
        for index, mode in enumerate(hit.modes):
            colour = {hit.roles.low_note: _LOW, hit.roles.edge_ring: _EDGE}.get(index, _PALE)
            size = 3.0 + 5.0 * (mode.amplitude / strongest) ** 0.5
            axes.errorbar(
                mode.frequency_hz, mode.t60_s, yerr=min(mode.t60_sd_s, mode.t60_s), fmt="o",
                color=colour, ms=size, mew=0.0, alpha=0.7, elinewidth=0.9,
            )  # fmt: skip
            top = max(top, mode.t60_s)
    axes.set(ylabel="ring time, s", ylim=(0.0, 1.12 * top))
    axes.grid(axis="y", color="#e6eaed", lw=0.8)
    axes.set_axisbelow(True)
    _frequency_axis(axes, labelled=True)


def _draw_hits(axes: Axes, group: NoteGroup) -> None:
    hits = _by_strength(group)
    for row, hit in enumerate(hits):
        assert hit.note is not None
        off = cents(pitch_hz(hit), group.frequency_hz)
        bar = 1.645 * cents_sd(pitch_hz(hit), hit.note.sd_hz)
        axes.errorbar(off, row, xerr=bar, fmt="o", color=_LOW, ms=5, capsize=2.5, lw=1.2)
        text = f"{hit.note.t60_s:.2f} s   +{max(0.0, hit.note.glide_cents):.0f}"
        axes.annotate(
            text, (1.0, row), xycoords=("axes fraction", "data"), xytext=(6, 0),
            textcoords="offset points", va="center", fontsize=8, annotation_clip=False,
        )  # fmt: skip
    reach = max(2.0, 1.3 * group.spread_cents, *(abs(x) for x in axes.get_xlim()))
    axes.axvline(0.0, color=_PALE, lw=0.8, zorder=0)
    axes.set(
        xlim=(-reach, reach),
        ylim=(-0.6, len(hits) - 0.4),
        xlabel="settled note, cents from the median\n(bars hold 90 %)",
        yticks=range(len(hits)),
        yticklabels=[whole_db(hit.tap.strength_db) for hit in hits],
    )
    axes.set_title("hits by peak level", loc="left", fontsize=9)
    axes.annotate(
        "ring   glide, cents", (1.0, 1.0), xycoords="axes fraction", xytext=(6, 4),
        textcoords="offset points", fontsize=8, annotation_clip=False,
    )  # fmt: skip


def _frequency_axis(axes: Axes, labelled: bool) -> None:
    axes.set_xscale("log")
    axes.set_xlim(30.0, 1500.0)
    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_xticks(_TICKS_HZ)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.0f}"))
    axes.tick_params(labelbottom=labelled)
    if labelled:
        axes.set_xlabel("frequency, Hz")
