"""The film's page: its figures are there, and the numbers it quotes are the model's."""

import re
from pathlib import Path

import numpy as np
import pytest

from hoopwise.acoustics.head_modes import head_model, label, solve
from hoopwise.acoustics.stretch import even_pull, harmonic_gain, rim_map
from hoopwise.drum import load_drum

DOCS = Path(__file__).parent.parent / "docs"
PAGE = (DOCS / "acoustics-film.md").read_text(encoding="utf-8")


def test_every_figure_of_the_page_is_drawn_by_the_script() -> None:
    script = (DOCS / "figures_film.py").read_text(encoding="utf-8")
    named = re.findall(r"!\[[^\]]+\]\(figures/(film-[\w-]+)\.svg\)", PAGE)
    assert len(named) == 7
    for name in named:
        assert f'"{name}":' in script
        assert (DOCS / "figures" / f"{name}.svg").stat().st_size > 1000


@pytest.mark.parametrize(
    ("slide", "words"),
    [
        (0.0, "0.25, 0.61, 0.89, 0.92, 1.08 when the film"),
        (1.0, "0, 0.59, 0.89, 0.92, 1.07 when it slides"),
    ],
)
def test_the_gains_quoted_are_the_model_s(slide: float, words: str) -> None:
    assert words in " ".join(PAGE.split())
    quoted = [float(x) for x in re.findall(r"\d[\d.]*(?=[,\s])", words)]
    gain = harmonic_gain(rim_map(load_drum("snare-14x5.5"), "batter", slide))
    np.testing.assert_allclose(gain[1:], quoted, atol=0.0051)


@pytest.mark.parametrize(
    ("name", "m", "words"),
    [("tom-12x8", 3, "13 cents for (3,1)"), ("tom-14x14", 4, "4 cents for (4,1)")],
)
def test_the_lug_splits_quoted_are_the_model_s(name: str, m: int, words: str) -> None:
    assert words in " ".join(PAGE.split())
    model = head_model(load_drum(name), "batter", slide=0.5)
    modes = solve(model, even_pull(model.rim, 3000.0))
    low, high = (modes.frequency_hz[i] for i, x in enumerate(label(modes)) if x == (m, 1))
    assert 1200 * np.log2(high / low) == pytest.approx(float(words.split()[0]), abs=0.5)
