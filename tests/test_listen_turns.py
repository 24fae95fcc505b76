"""Cosine and sine by table against the C library's, by way of numpy."""

import numpy as np

from hoopwise.listen.turns import cosine_sine


def test_agrees_with_the_library_over_many_turns() -> None:
    rest = np.random.default_rng(1).uniform(-0.5, 0.5, (3, 5000))
    turns = rest + np.array([[0.0], [-7.0], [900.0]])
    # what is left of the angle after rounding: the sum above is not exact
    rest = turns - np.rint(turns)
    cosine, sine = np.empty_like(turns), np.empty_like(turns)
    cosine_sine(turns, cosine, sine)
    assert np.abs(cosine - np.cos(2.0 * np.pi * rest)).max() < 1e-15
    assert np.abs(sine - np.sin(2.0 * np.pi * rest)).max() < 1e-15
