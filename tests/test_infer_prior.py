"""What is expected of a head: how uneven it is, and the seat's waves that rods cannot make."""

import numpy as np
import pytest

from hoopwise.acoustics.stretch import rim_map
from hoopwise.drum import Drum, load_drum
from hoopwise.infer.head.even_head import SLIDE, even_head
from hoopwise.infer.head.prior import (
    FINEST_SEAT,
    FINEST_UNSEEN,
    UNEVEN,
    Belief,
    fresh_belief,
    seat_sd,
    seat_waves,
    unseen_seat,
    wave_matrix,
)


def drum(rods: int, inches: float = 13.0) -> Drum:
    return load_drum(
        {
            "drum": {
                "name": "prior",
                "kind": "tom",
                "diameter_in": inches,
                "depth_in": 8.0,
                "rods": rods,
            },
            "batter": {"film_mil": 10.0},
            "resonant": {"film_mil": 10.0},
        }
    )


@pytest.mark.parametrize("rods", [5, 6, 8, 10, 12])
def test_a_fresh_head_is_as_uneven_as_said_whatever_its_rods(rods: int) -> None:
    belief = fresh_belief(rim_map(drum(rods), "batter", slide=SLIDE))
    assert np.sqrt(np.trace(belief.cov) / rods) == pytest.approx(UNEVEN, rel=1e-3)
    ones = np.ones(rods)
    assert ones @ belief.cov @ ones < 1e-6


@pytest.mark.parametrize("rods", [5, 6, 7, 8, 10, 12])
def test_seat_waves_are_those_that_rods_cannot_make(rods: int) -> None:
    seat = seat_waves(rods)
    made = wave_matrix(rods)
    angle = 2 * np.pi * np.arange(rods) / rods
    for k, sine in seat.waves:
        shown = np.sin(k * angle) if sine else np.cos(k * angle)
        assert 2 * k >= rods
        # At the rods it looks like fewer waves, or like nothing.
        assert np.allclose(made.T @ (made @ shown), shown)
    assert np.allclose(seat.at_rods[:, rods:].mean(axis=0), 0.0)


@pytest.mark.parametrize("rods", [6, 8, 10])
def test_a_belief_at_the_rods_is_kept_with_the_seat_beside_it(rods: int) -> None:
    rng = np.random.default_rng(rods)
    root = rng.normal(size=(rods, rods))
    belief = Belief(rng.normal(size=rods), root @ root.T + 0.1 * np.eye(rods))
    seat = seat_waves(rods)
    mean, precision = seat.spread(belief)
    cov = np.linalg.inv(precision)
    assert np.allclose(seat.at_rods @ mean, belief.mean)
    assert np.allclose(seat.at_rods @ cov @ seat.at_rods.T, belief.cov)
    assert np.allclose(np.sqrt(np.diag(cov))[rods:], seat.sd)


def test_a_wave_of_the_seat_moves_the_modes_as_rods_do_that_make_it() -> None:
    # Three waves: four rods cannot make them, six can. The hoop smooths what is finer.
    lacking = even_head(drum(4), "batter", 2000.0)
    seat = lacking.coupling[4 + lacking.seat.waves.index((3, 0))]
    alternate = np.where(np.arange(6) % 2 == 0, 1.0, -1.0)
    made = np.tensordot(alternate, even_head(drum(6), "batter", 2000.0).coupling[:6], axes=1)
    assert np.linalg.norm(made - seat) < 0.15 * np.linalg.norm(seat)


@pytest.mark.parametrize("rods", [5, 6, 8, 10])
def test_unseen_is_what_a_finer_seat_leaves_at_the_rods(rods: int) -> None:
    rng = np.random.default_rng(rods)
    angle = 2 * np.pi * np.arange(rods) / rods
    shown = np.zeros((4000, rods))
    for k in range(FINEST_SEAT + 1, FINEST_UNSEEN + 1):
        size = seat_sd(k) * rng.normal(size=(4000, 2))
        shown += size @ np.stack([np.cos(k * angle), np.sin(k * angle)])
    shown -= shown.mean(axis=1, keepdims=True)
    drawn = shown.T @ shown / len(shown)
    assert np.allclose(drawn, unseen_seat(rods), atol=0.12 * drawn.max())
    assert np.allclose(drawn.trace(), np.trace(unseen_seat(rods)), rtol=0.05)
