"""Draw the figures of acoustics-film.md: `python docs/figures_film.py` writes docs/figures."""

import dataclasses
from collections.abc import Callable
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle
from numpy.typing import NDArray

from hoopwise.acoustics.glide import berger_rise, pitch_glide
from hoopwise.acoustics.head_modes import HeadModel, head_model, label, shape_at, solve
from hoopwise.acoustics.stretch import even_pull, harmonic_gain, rim_map, tension_field
from hoopwise.drum import Drum, load_drum

Array = NDArray[np.float64]
BLUE, ORANGE, GREEN, GREY = "#0b6fb8", "#d9730d", "#2f7d55", "#6b7280"
HERE = Path(__file__).parent / "figures"
SNARE = "snare-14x5.5"


def with_hoop(kind: str, thickness_mm: float) -> Drum:
    """A 14 inch drum with 10 rods and another hoop."""
    return load_drum(
        {
            "drum": {"kind": "tom", "diameter_in": 14, "depth_in": 5.5, "rods": 10},
            "batter": {"film_mil": 10},
            "hoop": {"kind": kind, "thickness_mm": thickness_mm},
        }
    )


def limp(diameters: int = 8, circles: int = 4) -> HeadModel:
    """The 14 inch batter without bending."""
    model = head_model(load_drum(SNARE), "batter", 0.0, diameters=diameters, circles=circles)
    return dataclasses.replace(model, bending=np.zeros_like(model.bending))


def uneven(model: HeadModel) -> Array:
    """Pulls of 3 kN/m on average and 8 % apart."""
    noise = np.random.default_rng(3).normal(size=model.rim.rods)
    pull: Array = even_pull(model.rim, 3000.0) * (1 + 0.08 * noise / noise.std())
    return pull


def section() -> Figure:
    """The rim in section: what is pulled, what gives."""
    figure = Figure(figsize=(6.4, 3.0))
    axes = figure.subplots()
    axes.set_aspect("equal")
    axes.axis("off")
    axes.add_patch(Rectangle((0.0, -5.0), 0.5, 4.75, color="#c9a27a"))
    axes.plot([0.0, 0.25, 0.5], [-0.25, 0.0, -0.25], color="#8a6a48", lw=2)
    axes.plot([-6.0, 0.25], [0.06, 0.06], color=BLUE, lw=2.5)
    axes.plot([0.25, 0.85], [0.06, -2.2], color=BLUE, lw=2.5)
    axes.add_patch(Circle((0.95, -2.35), 0.22, color=BLUE))
    axes.add_patch(Rectangle((0.75, -2.1), 0.5, 1.9, color=GREY))
    axes.add_patch(Rectangle((1.25, -0.5), 0.7, 0.3, color=GREY))
    axes.plot([1.6, 1.6], [0.1, -4.2], color="black", lw=2)
    axes.add_patch(Rectangle((0.5, -4.6), 1.3, 0.5, color="#9aa0a6"))
    arrow = {"arrowstyle": "->", "color": ORANGE, "lw": 2}
    axes.annotate("", (2.5, -1.6), (2.5, -0.2), arrowprops=arrow)
    axes.text(2.7, -1.0, "hoop goes down by z", color=ORANGE, va="center")
    axes.annotate("", (-1.0, 0.5), (-2.6, 0.5), arrowprops=arrow)
    axes.text(-2.7, 0.55, "film drawn outward by z", color=ORANGE, ha="right", va="center")
    axes.text(-5.9, -0.45, "film, radius a, tension N", color=BLUE)
    axes.text(-0.15, -1.2, "collar, length L", color=BLUE, ha="right")
    axes.text(2.7, -2.2, "hoop: bends (EI), twists (GJ)", color=GREY, va="center")
    axes.text(2.7, -3.4, "rod: a spring", va="center")
    axes.text(-0.15, -3.6, "shell, bearing edge", color="#8a6a48", ha="right")
    axes.set_xlim(-6.2, 8.2)
    axes.set_ylim(-5.1, 1.1)
    return figure


def gains() -> Figure:
    """How much of a rod pattern arrives as tension, by harmonic."""
    figure = Figure(figsize=(7.2, 3.0))
    left, right = figure.subplots(1, 2)
    for slide, colour, mark in ((0.0, BLUE, "o"), (0.5, GREEN, "s"), (1.0, ORANGE, "^")):
        gain = harmonic_gain(rim_map(load_drum(SNARE), "batter", slide))
        left.plot(gain, color=colour, marker=mark, label=f"slide {slide:g}")
    for kind, mm, colour, mark in (
        ("flanged", 2.3, BLUE, "o"),
        ("cast", 5.0, GREEN, "s"),
        ("wood", 15.0, ORANGE, "^"),
    ):
        rim = rim_map(with_hoop(kind, mm), "batter", 0.5)
        force = np.fft.fft(rim.rod_force[:, 0]).real[:6]
        right.semilogy(force / force[0], color=colour, marker=mark, label=kind)
    left.set(title="film tension", ylabel="gain against k = 0", ylim=(-0.05, 1.2))
    right.set(title="force in the rods")
    for axes in (left, right):
        axes.set_xlabel("harmonic k of the rod pulls")
        axes.legend(frameon=False)
        axes.grid(alpha=0.25)
    return figure


def one_rod() -> Figure:
    """What one rod does: the field over the head, and the rim with three hoops."""
    figure = Figure(figsize=(7.2, 2.9), layout="constrained")
    disc, edge = figure.subplots(1, 2, width_ratios=(1.0, 1.3))
    r, theta = np.meshgrid(np.linspace(0, 1, 30), np.linspace(0, 2 * np.pi, 121), indexing="ij")
    around = np.linspace(-np.pi, np.pi, 361)
    pull = np.eye(10)[0] * 1e-4
    for kind, mm, colour in (
        ("flanged", 2.3, BLUE),
        ("cast", 5.0, GREEN),
        ("wood", 15.0, ORANGE),
    ):
        rim = rim_map(with_hoop(kind, mm), "batter", 0.5)
        rim_tension, _, _ = tension_field(rim, pull, rim.radius_m, around)
        edge.plot(np.degrees(around), rim_tension, color=colour, label=kind)
    rim = rim_map(load_drum(SNARE), "batter", 0.5)
    n_rr, _, n_tt = tension_field(rim, pull, r * rim.radius_m, theta)
    x, y = r * np.cos(theta), r * np.sin(theta)
    levels = np.linspace(-450, 450, 19)
    filled = disc.contourf(x, y, 0.5 * (n_rr + n_tt), levels=levels, cmap="PuOr_r", extend="both")
    disc.plot(1.06 * np.cos(rim.angles), 1.06 * np.sin(rim.angles), ".", color=GREY)
    disc.set_aspect("equal")
    disc.axis("off")
    figure.colorbar(filled, ax=disc, shrink=0.8).set_label("(N_rr + N_tt) / 2, N/m")
    edge.set(xlabel="degrees from the rod", ylabel="N_rr at the rim, N/m")
    edge.set_xticks(np.arange(-180, 181, 72))
    edge.legend(frameon=False)
    edge.grid(alpha=0.25)
    return figure


def mode_map() -> Figure:
    """Modes of an even and an uneven head."""
    figure = Figure(figsize=(7.2, 3.0))
    grid = figure.subplots(2, 6)
    model = head_model(load_drum(SNARE), "batter", 0.5)
    r, theta = np.meshgrid(np.linspace(0, 1, 25), np.linspace(0, 2 * np.pi, 73), indexing="ij")
    for row, pull, word in (
        (grid[0], even_pull(model.rim, 3000.0), "even"),
        (grid[1], uneven(model), "8 % uneven"),
    ):
        modes = solve(model, pull)
        names = label(modes)
        shapes = shape_at(model, modes.shapes[:, :6], r.ravel() * model.radius_m, theta.ravel())
        for i, axes in enumerate(row):
            level = shapes[:, i].reshape(r.shape)
            x, y = r * np.cos(theta), r * np.sin(theta)
            top = np.abs(level).max()
            axes.contourf(x, y, level, levels=np.linspace(-top, top, 10), cmap="PuOr_r")
            if names[i] != (0, 1):
                axes.contour(x[:-1], y[:-1], level[:-1], levels=[0.0], colors="black", linewidths=1)
            axes.set_aspect("equal")
            axes.set(xticks=[], yticks=[])
            axes.set_frame_on(False)
            m, n = names[i]
            axes.set_title(f"({m},{n}) {modes.frequency_hz[i]:.1f} Hz", fontsize=8)
        row[0].set_ylabel(word, fontsize=9)
    return figure


def splits() -> Figure:
    """Pairs against the unevenness that splits them."""
    figure = Figure(figsize=(6.4, 3.0))
    axes = figure.subplots()
    model = limp()
    rim, level = model.rim, even_pull(model.rim, 3000.0)
    size = np.linspace(0.0, 0.1, 11)
    for pair, k, law, colour in (
        ((1, 1), 2, 0.5, BLUE),
        ((2, 1), 4, 7 / 30, ORANGE),
        ((1, 1), 3, 0.0, GREEN),
    ):
        gain = rim.harmonics.rim_stiffness[k] * rim.rod_share[k] * 5
        found = []
        for eps in size:
            bump = eps * rim.film_mean_per_metre / gain * level * np.cos(k * rim.angles)
            modes = solve(model, level + bump)
            at = [modes.frequency_hz[i] for i, name in enumerate(label(modes)) if name == pair]
            found.append((max(at) - min(at)) / np.mean(at))
        axes.plot(100 * size, 100 * np.array(found), "o", color=colour, label=f"{pair}, k = {k}")
        axes.plot(100 * size, 100 * law * size, color=colour, lw=1)
    axes.set(xlabel="rim tension's harmonic k, % of the mean", ylabel="split, % of the pitch")
    axes.legend(frameon=False)
    axes.grid(alpha=0.25)
    return figure


def convergence() -> Figure:
    """Error of the first 12 modes of an uneven head against the size of the basis."""
    figure = Figure(figsize=(7.2, 2.9))
    left, right = figure.subplots(1, 2)

    def worst(diameters: int, circles: int, truth: Array) -> float:
        model = limp(diameters, circles)
        return float(np.max(solve(model, uneven(model)).frequency_hz[:12] / truth - 1))

    best = limp(14, 12)
    truth = solve(best, uneven(best)).frequency_hz[:12]
    circles = range(2, 9)
    left.loglog(circles, [worst(14, n, truth) for n in circles], "o-", color=BLUE)
    left.loglog(circles, 2e-5 * np.array(circles) ** -3.0, "--", color=GREY, label="circles⁻³")
    best = limp(16, 4)
    truth = solve(best, uneven(best)).frequency_hz[:12]
    diameters = range(3, 13)
    right.semilogy(diameters, [worst(m, 4, truth) for m in diameters], "o-", color=BLUE)
    left.set(xlabel="nodal circles in the basis", ylabel="worst error of 12 modes")
    left.set_xticks(circles, [str(n) for n in circles])
    left.minorticks_off()
    left.legend(frameon=False)
    right.set(xlabel="nodal diameters in the basis")
    for axes in (left, right):
        axes.axhline(1e-4, color=ORANGE, lw=1)
        axes.grid(alpha=0.25)
    return figure


def glide() -> Figure:
    """Rise of each mode: Berger, film settled on a fixed rim, and on an elastic one."""
    figure = Figure(figsize=(6.4, 3.0))
    axes = figure.subplots()
    model = limp()
    level = even_pull(model.rim, 3000.0)
    modes = solve(model, level)
    tension = model.rim.film_mean_per_metre * level[0]
    names = label(modes)
    first = [names.index(pair) for pair in dict.fromkeys(names[:12])]
    millimetre = 1e-3
    berger = [
        berger_rise(*names[i], model.rim.film, model.radius_m, tension, millimetre) for i in first
    ]
    at = np.arange(len(first))
    axes.bar(at - 0.27, 1200 * np.log2(1 + np.array(berger)), 0.25, color=GREY, label="Berger")
    for shift, rim, colour in ((0.0, "fixed", BLUE), (0.27, "elastic", ORANGE)):
        law = pitch_glide(model, modes, rim="fixed" if rim == "fixed" else "elastic")
        rise = (law.rise_hz_m2 / law.frequency_hz)[first] * millimetre**2
        axes.bar(at + shift, 1200 * np.log2(1 + rise), 0.25, color=colour, label=f"{rim} rim")
    axes.set_xticks(at, [f"({m},{n})" for m, n in (names[i] for i in first)])
    axes.set_ylabel("cents at 1 mm peak")
    axes.legend(frameon=False)
    return figure


FIGURES: dict[str, Callable[[], Figure]] = {
    "film-section": section,
    "film-gains": gains,
    "film-one-rod": one_rod,
    "film-modes": mode_map,
    "film-splits": splits,
    "film-convergence": convergence,
    "film-glide": glide,
}
"""Name of the file to what draws it."""


def main() -> None:
    """Write every figure as SVG, the same bytes each time."""
    mpl.rcParams.update({"svg.hashsalt": "hoopwise", "font.size": 9, "svg.fonttype": "none"})
    HERE.mkdir(exist_ok=True)
    for name, draw in FIGURES.items():
        figure = draw()
        figure.savefig(
            HERE / f"{name}.svg", bbox_inches="tight", metadata={"Date": None, "Creator": None}
        )


if __name__ == "__main__":
    main()
