"""A drum in open air: limits with closed forms, energy, and the field on finer rings."""

import math

import numpy as np
import pytest

from hoopwise.acoustics import cylinder
from hoopwise.acoustics.air import face_table
from hoopwise.acoustics.air_store import KA_FREE
from hoopwise.acoustics.air_table import Enclosure, air_table
from hoopwise.acoustics.cylinder import end_fields
from hoopwise.acoustics.free_field import Ends, baffled, free_ends
from hoopwise.acoustics.hankel import Family

PISTON: tuple[tuple[Family, int], ...] = (("duct", 1),)
HEADS: Ends = (("head", 4), ("head", 4))


@pytest.mark.parametrize("depth", [0.3, 0.8, 2.0])
@pytest.mark.parametrize("m", [0, 1, 2])
@pytest.mark.parametrize("k", [0.3, 1.0, 3.1])
def test_far_field_power_is_the_work_done_on_the_ends(depth: float, m: int, k: float) -> None:
    fields = end_fields(depth, m, (("head", 2),), k)
    for far, near in zip(fields.resistance, fields.surface_resistance, strict=True):
        np.testing.assert_allclose(np.diag(near), np.diag(far), rtol=0.01)


@pytest.mark.parametrize("depth", [0.3, 1.0, 2.0])
def test_small_breathing_drum_is_a_monopole(depth: float) -> None:
    """Power rho c k^2 Q^2 / (8 pi) of a small source of flow Q; here two pistons."""
    k = 0.05
    resistance = end_fields(depth, 0, PISTON, k).resistance[0][0, 0]
    assert resistance == pytest.approx(k * k / 4.0, rel=0.01)


def test_shallow_moving_drum_is_little_more_than_a_free_disc() -> None:
    """Power of a disc without a baffle, both faces: 16 (ka)^4/(27 pi^2) rho c pi a^2 (Rayleigh).

    As a dipole its arm is 8 a/(3 pi); the drum's depth adds to it, and a little by its edge.
    """
    k, depth, disc = 0.1, 0.2, 8.0 / (3.0 * math.pi)
    resistance = end_fields(depth, 0, PISTON, k).resistance[1][0, 0]
    arm = disc * math.sqrt(4.0 * resistance / (16.0 * k**4 / (27.0 * math.pi**2)))
    assert disc + depth < arm < 1.2 * disc + depth


def test_shallow_breathing_drum_is_nearly_baffled() -> None:
    """Two faces that breathe have a wall of symmetry between them."""
    k, depth = 0.5, 0.15
    fields = end_fields(depth, 0, (("head", 1),), k)
    mass, damping = face_table("head", 0, 1, np.asarray(k))
    assert fields.resistance[0][0, 0] == pytest.approx(k * damping[0, 0], rel=0.03)
    assert abs(fields.mass_change[0][0, 0]) < 0.03 * mass[0, 0]


def test_finer_rings_change_little(monkeypatch: pytest.MonkeyPatch) -> None:
    coarse = end_fields(0.7, 1, (("head", 2),), 0.9)
    for name, value in (("_CAP", 44), ("_ALONG", 14), ("_AROUND", 64)):
        monkeypatch.setattr(cylinder, name, value)
    cylinder.clear_caches()
    fine = end_fields(0.7, 1, (("head", 2),), 0.9)
    monkeypatch.undo()
    cylinder.clear_caches()
    for rough, good in zip(coarse.resistance, fine.resistance, strict=True):
        np.testing.assert_allclose(np.diag(rough), np.diag(good), rtol=5e-3)
    for rough, good in zip(coarse.mass_change, fine.mass_change, strict=True):
        np.testing.assert_allclose(rough[0, 0], good[0, 0], rtol=0.02)


def test_heads_that_move_along_lose_little() -> None:
    outside = free_ends(0.8, 0, HEADS)
    damping = outside.damping(np.asarray(0.3))
    baffled = face_table("head", 0, 4, np.asarray(0.3))[1][0, 0]
    along = damping[0, 0] + damping[0, 4]
    breathing = damping[0, 0] - damping[0, 4]
    assert along < 0.05 * baffled
    assert breathing == pytest.approx(baffled, rel=0.06)


@pytest.mark.parametrize("depth", [0.3, 0.8, 1.7])
@pytest.mark.parametrize("m", [0, 1, 2, 3])
def test_damping_never_feeds_the_drum(m: int, depth: float) -> None:
    outside = free_ends(depth, m, HEADS)
    for ka in np.linspace(0.05, 8.0, 60):
        values = np.linalg.eigvalsh(outside.damping(np.asarray(ka)))
        assert values.min() > -1e-5 * values.max()
        assert np.linalg.eigvalsh(outside.mass(np.asarray(ka))).min() > 0.0


@pytest.mark.parametrize(
    ("depth", "ka", "m"), [(0.21, 0.7, 0), (0.79, 1.33, 1), (1.3, 0.31, 0), (2.4, 2.9, 2)]
)
def test_stored_tables_are_the_field_solved_anew(depth: float, ka: float, m: int) -> None:
    """At depths and frequencies between those of `scripts/make_air_tables.py`."""
    both: Ends = (("head", 6), ("duct", 6))
    fields, at = end_fields(depth, m, both, ka), np.asarray(ka)
    outside = free_ends(depth, m, (("head", 6), ("head", 6)))
    gained = outside.mass(at) - baffled(outside.ends, m, at)[0]
    damping = ka * outside.damping(at)
    for sign, mass, resistance in zip((-1, 1), fields.mass_change, fields.resistance, strict=True):
        got = gained[:6, :6] + sign * gained[:6, 6:]
        np.testing.assert_allclose(got, mass[:6, :6], atol=2e-5)
        got = damping[:6, :6] + sign * damping[:6, 6:]
        size = np.abs(resistance[:6, :6]).max()
        np.testing.assert_allclose(got, resistance[:6, :6], atol=3e-3 * size)
    across = free_ends(depth, m, both).mass(at)[:6, 6:]
    breathing, along = (mass[:6, 6:] for mass in fields.mass_change)
    np.testing.assert_allclose(across, 0.5 * (along - breathing), atol=2e-5)


def test_baffle_takes_over_without_a_step() -> None:
    outside = free_ends(0.8, 1, HEADS)
    low, high = (outside.damping(np.asarray(KA_FREE + d))[0, 0] for d in (-1e-4, 1e-4))
    assert low == pytest.approx(high, rel=1e-3)
    beyond = face_table("head", 1, 4, np.asarray(7.0))[1][0, 0]
    assert outside.damping(np.asarray(7.0))[0, 0] == pytest.approx(beyond, rel=1e-3)


def test_table_follows_the_field_between_its_nodes() -> None:
    shell = Enclosure(0.178, 0.14, "head")
    top = 5.5 * 343.2 / 0.178
    table, outside = air_table(shell, 0, 4, top), free_ends(0.14 / 0.178, 0, HEADS)
    rest = Enclosure(0.178, 0.14, "head", surroundings="baffle")
    wall = air_table(rest, 0, 4, top)
    scale = 1.204 * 2.0 * math.pi * 0.178**3
    for ka in (0.2, 0.71, 1.33, 2.9):
        omega = np.asarray(ka * 343.2 / 0.178)
        gained = (table.mass(omega) - wall.mass(omega))[:8, :8] / scale
        want = outside.mass(np.asarray(ka)) - baffled(HEADS, 0, np.asarray(ka))[0]
        np.testing.assert_allclose(gained, want, atol=2e-4)
