"""Draw the figures of acoustics-air.md: `python docs/figures_air.py` writes docs/figures."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from hoopwise.acoustics.air import Air, face_table
from hoopwise.acoustics.air_table import Enclosure
from hoopwise.acoustics.cylinder import end_fields
from hoopwise.acoustics.follow import follow_modes
from hoopwise.acoustics.heads import Heads
from hoopwise.acoustics.low_note import head_notes
from hoopwise.acoustics.two_heads import couple, modes_of
from hoopwise.cli.aim_plot import save_plot
from hoopwise.cli.aim_types import Findings
from hoopwise.drum import Film, load_drum
from hoopwise.plan.two_head_chart import two_head_chart

Array = NDArray[np.float64]
BLUE, ORANGE, GREEN, GREY = "#0b6fb8", "#d9730d", "#2f7d55", "#6b7280"
HERE = Path(__file__).parent / "figures"
SNARE = load_drum("snare-14x5.5")


def vacuum_tension(film: Film, radius_m: float, frequency_hz: float) -> float:
    """Tension (N/m) that puts a film's (0,1) at a frequency in vacuo."""
    return film.mass_kg_m2 * (2.0 * math.pi * frequency_hz * radius_m / 2.404826) ** 2


def snare_tensions(batter_hz: float = 220.0, second_hz: float = 360.0) -> tuple[float, float]:
    """Tensions (N/m) of the snare drum from both films' (0,1) in vacuo."""
    assert SNARE.second is not None
    radius = SNARE.radius_m
    return (
        vacuum_tension(SNARE.batter.film, radius, batter_hz),
        vacuum_tension(SNARE.second.film, radius, second_hz),
    )


def ladder() -> Figure:
    """The batter's modes as air is added: none, two faces, a shell, a second head."""
    batter, second = snare_tensions()
    film, radius = SNARE.batter.film, SNARE.radius_m
    bare = Enclosure(radius, 1.0, "none")
    steps = {
        "in vacuo": modes_of(Heads(replace(bare, air=Air(1e-9)), (film,)), [batter], 3, 2),
        "two bare faces": modes_of(Heads(bare, (film,)), [batter], 3, 2),
        "open shell": couple(SNARE, batter, m_max=3, n_max=2),
        "both heads": couple(SNARE, batter, second, m_max=3, n_max=2),
    }
    figure = Figure(figsize=(7.2, 4.2), layout="constrained")
    axes = figure.subplots()
    for column, modes in enumerate(steps.values()):
        for mode in modes:
            if mode.frequency_hz < 680.0:
                alone = mode.motion == "alone"
                colour = BLUE if alone or mode.share[0] > 0.5 else ORANGE
                axes.hlines(mode.frequency_hz, column - 0.36, column + 0.30, color=colour, lw=2)
                axes.annotate(
                    f"({mode.shape[0]},{mode.shape[1]})", (column + 0.31, mode.frequency_hz),
                    fontsize=7, va="center", color=colour,
                )  # fmt: skip
    axes.set_xticks(range(len(steps)), list(steps))
    axes.set(ylabel="frequency, Hz", ylim=(100, 690))
    axes.plot([], [], color=BLUE, lw=2, label="batter carries it")
    axes.plot([], [], color=ORANGE, lw=2, label="snare side carries it")
    axes.legend(frameon=False, fontsize=8, loc="lower right")
    return figure


def open_air() -> Figure:
    """Power of two (0,1) and two (1,1) in open air over that of baffled faces."""
    ka = np.concatenate([np.linspace(0.1, 1.0, 7), np.linspace(1.2, 3.4, 12)])
    figure = Figure(figsize=(7.6, 3.5), layout="constrained")
    for m, axes in enumerate(figure.subplots(1, 2, sharey=True)):
        for depth, style in ((0.4, ":"), (0.8, "-"), (2.0, "--")):
            fields = [end_fields(depth, m, (("head", 1),), float(k)) for k in ka]
            wall = ka * face_table("head", m, 1, ka)[1][:, 0, 0]
            for which, colour in ((0, ORANGE), (1, BLUE)):
                ratio = [f.resistance[which][0, 0] for f in fields] / wall
                axes.plot(ka, ratio, style, color=colour, lw=1.8)
        axes.axhline(1.0, color=GREY, lw=0.8)
        axes.set(xlabel="ka", title=f"({m},1)", ylim=(0, 1.5))
        axes.set_title(f"({m},1)", fontsize=10)
    first = figure.axes[0]
    first.set_ylabel("power over that of a baffle")
    first.annotate("heads opposed", (0.35, 1.08), color=ORANGE)
    first.annotate("heads together", (0.55, 0.08), color=BLUE)
    for depth, style in ((0.4, ":"), (0.8, "-"), (2.0, "--")):
        first.plot([], [], style, color=GREY, label=f"depth {depth:g} radius")
    first.legend(frameon=False, fontsize=8, loc="lower right")
    return figure


def crossing() -> Figure:
    """(0,1) and (1,1) of a snare while its snare side is tightened."""
    seconds = np.linspace(140.0, 520.0, 40)
    path = np.array([snare_tensions(220.0, hz) for hz in seconds])
    own = head_notes(SNARE, "snare_side", path[:, 1])
    figure = Figure(figsize=(7.2, 4.0), layout="constrained")
    axes = figure.subplots()
    for m in (0, 1):
        track = follow_modes(SNARE, path, m=m)
        for k in range(2):
            share = track.batter_share[:, k]
            for i in range(len(own) - 1):
                colour = _between(float(share[i]))
                axes.plot(own[i : i + 2], track.frequency_hz[i : i + 2, k], color=colour, lw=2.4)
        for k, words in enumerate(("lower", "upper")):
            axes.annotate(
                f"({m},1) {words}", (own[-1], track.frequency_hz[-1, k]), xytext=(5, 0),
                textcoords="offset points", fontsize=8, va="center",
            )  # fmt: skip
    axes.set(
        xlabel="snare side's own note, Hz", ylabel="frequency, Hz", xlim=(own[0], 1.12 * own[-1])
    )
    axes.plot([], [], color=BLUE, lw=2.4, label="batter carries it")
    axes.plot([], [], color=ORANGE, lw=2.4, label="snare side carries it")
    axes.legend(frameon=False, fontsize=8, loc="upper left")
    return figure


def _between(batter_share: float) -> tuple[float, float, float]:
    first, second = (np.array(mpl.colors.to_rgb(c)) for c in (BLUE, ORANGE))
    red, green, blue = batter_share * first + (1.0 - batter_share) * second
    return float(red), float(green), float(blue)


def ring() -> Figure:
    """How long the low note rings, by radiation and in all, as the snare side is tightened."""
    seconds = np.linspace(120.0, 560.0, 23)
    open_air, baffled, whole, own = [], [], [], []
    shell = Enclosure(SNARE.radius_m, SNARE.depth_m, "head", 0.005, "baffle")
    assert SNARE.second is not None
    for hz in seconds:
        pulls = snare_tensions(200.0, float(hz))
        modes = couple(SNARE, *pulls, m_max=0, n_max=1)
        low = next(mode for mode in modes if mode.shape == (0, 1))
        heads = Heads(shell, (SNARE.batter.film, SNARE.second.film))
        wall = next(m for m in modes_of(heads, pulls, 0, 1) if m.shape == (0, 1))
        open_air.append(low.radiation_t60_s)
        whole.append(low.t60_s)
        baffled.append(wall.radiation_t60_s)
        own.append(float(head_notes(SNARE, "snare_side", np.array([pulls[1]]))[0]))
    figure = Figure(figsize=(7.2, 3.4), layout="constrained")
    axes = figure.subplots()
    axes.plot(own, open_air, color=BLUE, lw=2, label="radiation alone, open air")
    axes.plot(own, whole, color=GREEN, lw=2, label="with film loss, open air")
    axes.plot(own, baffled, color=GREY, lw=2, ls="--", label="radiation alone, baffled")
    batter = float(head_notes(SNARE, "batter", np.array([snare_tensions(200.0)[0]]))[0])
    axes.axvline(batter, color=ORANGE, lw=1, ls=":")
    axes.annotate("batter's own note", (batter, axes.get_ylim()[1]), color=ORANGE, fontsize=8,
                  va="top", ha="left", xytext=(3, 0), textcoords="offset points")  # fmt: skip
    axes.set(xlabel="snare side's own note, Hz", ylabel="ring of the low note, s", ylim=(0, None))
    axes.legend(frameon=False, fontsize=8)
    return figure


PUBLISHED = {
    "kettledrum head\nin open air": {
        (0, 1): 82, (1, 1): 155, (2, 1): 229, (3, 1): 297, (4, 1): 366, (5, 1): 431,
    },
    "kettledrum\nwith its kettle": {
        (0, 1): 127, (1, 1): 150, (2, 1): 227, (0, 2): 252, (3, 1): 298, (4, 1): 366, (5, 1): 434,
    },
    "snare (batter's)\ntwo tensions fitted": {
        (0, 1): 182, (1, 1): 278, (2, 1): 403, (0, 2): 442, (3, 1): 512, (1, 2): 556, (4, 1): 619,
    },
    "bass drum\n(3,1) set": {(0, 1): 44, (1, 1): 76, (2, 1): 120, (4, 1): 198, (5, 1): 240},
}  # fmt: skip
"""Measured Hz, FROM MEMORY (sources in the page)."""


def published() -> Figure:
    """Deviation of the model from each published set."""
    air = Air(1.21, 344.0)
    film = Film(0.2653 / 1390.0, modulus_pa=0.0)
    kettle = Enclosure(0.328, 0.14 / (math.pi * 0.328**2), "rigid", 0.014, "baffle", air)
    bare = Enclosure(0.328, 1.0, "none", air=air)
    snare = Enclosure(0.178, 0.165, "head", 0.005)
    coated, plain = Film(0.254e-3 + 0.105 / 1390, modulus_pa=0.0), Film(76.2e-6, modulus_pa=0.0)
    bass = Film(0.265 / 1390.0, modulus_pa=0.0)
    solved = [
        modes_of(Heads(bare, (film,)), [3990.0], 5, 1),
        modes_of(Heads(kettle, (film,)), [3990.0], 5, 2),
        modes_of(Heads(snare, (coated, plain)), [4346.0, 2883.0], 4, 2),
        modes_of(Heads(Enclosure(0.41, 0.5, "head"), (bass, bass)), [1888.0, 1888.0], 5, 1),
    ]
    figure = Figure(figsize=(9.0, 3.2), layout="constrained")
    panels = figure.subplots(1, 4, sharey=True)
    for axes, (name, wanted), modes in zip(panels, PUBLISHED.items(), solved, strict=True):
        for row, (shape, value) in enumerate(wanted.items()):
            pair = [mode for mode in modes if mode.shape == shape]
            if shape not in ((0, 1), (1, 1)):
                pair.sort(key=lambda mode: -mode.share[0])
            off = 100.0 * (pair[0].frequency_hz / value - 1.0)
            axes.vlines(row, 0.0, off, color=BLUE, lw=2)
            axes.plot(row, off, "o", color=BLUE, ms=6)
        axes.axhline(0.0, color=GREY, lw=0.8)
        axes.set_xticks(range(len(wanted)), [f"({m},{n})" for m, n in wanted], fontsize=7)
        axes.set_title(name, fontsize=9)
        axes.set_ylim(-4, 4)
    panels[0].set_ylabel("model over measured, %")
    return figure


FIGURES: dict[str, Callable[[], Figure]] = {
    "air-ladder": ladder,
    "air-open": open_air,
    "air-crossing": crossing,
    "air-ring": ring,
    "air-published": published,
}


def main() -> None:
    """Write every figure, and the chart of a snare, as svg."""
    style: dict[Any, Any] = {
        "font.size": 9.0, "svg.hashsalt": "hoopwise", "svg.fonttype": "none",
        "axes.spines.top": False, "axes.spines.right": False,
    }  # fmt: skip
    HERE.mkdir(exist_ok=True)
    with mpl.rc_context(style):
        for name, draw in FIGURES.items():
            draw().savefig(HERE / f"{name}.svg", metadata={"Date": None})
    save_plot(Findings(SNARE, chart=two_head_chart(SNARE)), HERE / "air-chart.svg")


if __name__ == "__main__":
    main()
