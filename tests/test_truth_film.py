"""The simulated truth, film and hoop: closed forms of plane stress and of rings."""

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import benchmarks.truth
from benchmarks.truth.film import Hardware, film_response
from benchmarks.truth.hoop import evaluation, ring, ring_quadrature
from benchmarks.truth.mesh import disc, interpolation

HELD = Hardware(
    radius_m=0.1778,
    stretch_n_m=1.27e6,
    poisson=0.38,
    collar_m=0.012,
    slip=0.5,
    hoop_bending_n_m2=2.2e3,
    hoop_torsion_n_m2=13.0,
    rod_compliance_m_n=5e-8,
    rods=8,
)


def test_truth_knows_nothing_of_what_it_tests() -> None:
    folder = Path(benchmarks.truth.__file__).parent
    for path in sorted(folder.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            ours = [name for name in names if name.split(".")[0] == "hoopwise"]
            assert all(name == "hoopwise.drum" for name in ours), (path.name, ours)


def test_mesh_is_round_and_reads_quadratics() -> None:
    shape = disc()
    fine = shape.fine
    assert fine.weight.sum() == pytest.approx(np.pi, rel=1e-6)
    places = np.asarray(shape.mesh.doflocs)
    nodes, weights = interpolation(shape, 0.31, -0.52)
    x, y = places[:, : shape.nodes]
    assert weights @ (x * y - y**2)[nodes] == pytest.approx(0.31 * -0.52 - 0.52**2, abs=1e-12)
    with pytest.raises(ValueError, match="outside"):
        interpolation(shape, 1.2, 0.0)


@pytest.mark.parametrize("k", [2, 3, 5])
def test_hoop_stiffness_is_that_of_a_thin_ring(k: int) -> None:
    """Love, Mathematical Theory of Elasticity, ring bent out of its plane:
    EI/a^4 k^2 (k^2 - 1)^2 / (k^2 + EI/GJ) per length."""
    nodes, bending, torsion, a = 72, 2.2e3, 13.0, 0.1778
    beam = ring(nodes)
    stiffness = (bending * beam.bending + torsion * beam.torsion).toarray() / a**3
    angles, weight = ring_quadrature(nodes)
    push = evaluation(nodes, angles, 0).T @ (weight * np.cos(k * angles)) * a
    lift = np.linalg.lstsq(stiffness, push, rcond=1e-13)[0][0::4]
    size = lift @ np.cos(2.0 * np.pi * k * np.arange(nodes) / nodes) / (nodes / 2)
    wanted = bending / a**4 * k**2 * (k**2 - 1) ** 2 / (k**2 + bending / torsion)
    assert 1.0 / size == pytest.approx(wanted, rel=1e-3)


def test_tilting_a_hoop_does_not_bend_it() -> None:
    nodes = 72
    beam = ring(nodes)
    angle = 2.0 * np.pi * np.arange(nodes) / nodes
    tilt = np.stack([np.cos(angle), -np.sin(angle), -np.cos(angle), np.sin(angle)], 1).ravel()
    assert abs(tilt @ (beam.bending @ tilt)) < 1e-6
    assert abs(tilt @ (beam.torsion @ tilt)) < 1e-6


def test_even_pull_gives_the_tension_of_a_stretched_disc() -> None:
    """Timoshenko & Goodier: N = E h u / ((1 - nu) a), the collar and the rods in series."""
    rigid = replace(HELD, hoop_bending_n_m2=1e9, hoop_torsion_n_m2=1e9)
    response = film_response(rigid)
    pulled = response.around[:, :8].sum(axis=1)
    per_rod = 2.0 * np.pi * HELD.radius_m / 8
    yielding = (HELD.radius_m * (1 - HELD.poisson) + HELD.collar_m) / HELD.stretch_n_m
    assert pulled == pytest.approx(
        np.full(360, 1.0 / (yielding + per_rod * HELD.rod_compliance_m_n)), rel=1e-4
    )
    inside = response.stress[:, :, :8].sum(axis=2)
    assert inside[0] == pytest.approx(np.full(inside.shape[1], pulled[0]), rel=1e-3)
    assert np.abs(inside[2]).max() < 1e-3 * pulled[0]


def test_rim_tension_does_not_depend_on_the_mesh() -> None:
    coarse, fine = film_response(HELD), film_response(HELD, rings=16)
    pulls = np.cos(np.arange(8.0) ** 2) + 3.0
    a, b = coarse.at_rods[:, :8] @ pulls, fine.at_rods[:, :8] @ pulls
    assert a / a.mean() == pytest.approx(b / b.mean(), abs=1e-3)


def test_tilted_hoop_on_a_sliding_rim_leaves_no_difference() -> None:
    """Rigid shift of the film: with no grip the first harmonic carries no tension."""
    tilt = np.cos(HELD.rod_angles)
    gain = []
    for slip in (1.0 - 1e-6, 0.0):
        response = film_response(replace(HELD, slip=slip))
        even = response.at_rods[:, :8].sum(axis=1).mean()
        gain.append(np.abs(response.at_rods[:, :8] @ tilt).max() / even)
    assert gain[0] < 1e-3
    assert 0.15 < gain[1] < 0.4
