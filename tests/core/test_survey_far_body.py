"""A second body in the same file, however far away, changes neither the readings of the first nor the work that they take."""

import tracemalloc
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.phantom import SAMPLES, make_phantom
from claspwright.core.survey import Path, RayScene, survey
from claspwright.core.survey import border as border_module

PATH = Path(4.0, -3.0)
BALL = trimesh.creation.icosphere(subdivisions=3, radius=4.0)


@pytest.fixture(scope="module")
def cast() -> Mesh:
    return make_phantom(replace(SAMPLES["lower_class_i"], triangles=20_000)).mesh


def beside(mesh: Mesh, x: float, y: float) -> Mesh:
    """A mesh and a ball of 4 mm so far from it."""
    return Mesh(np.vstack([mesh.vertices, BALL.vertices + [x, y, 0.0]]), np.vstack([mesh.faces, BALL.faces + len(mesh.vertices)]))


class Work:
    """Rays sent, pairs of point and piece looked at, and most memory in use (bytes)."""

    def __init__(self) -> None:
        self.rays = self.pairs = self.memory = 0


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Iterator[Work]:
    work = Work()
    run, look = RayScene._run, border_module._Search._look

    def counting_run(scene: RayScene, origins: np.ndarray, *args: object, **how: object) -> list[object]:
        work.rays += len(origins)
        return run(scene, origins, *args, **how)  # type: ignore[arg-type]

    def counting_look(search: border_module._Search, todo: np.ndarray, count: int) -> np.ndarray:
        work.pairs += len(todo) * count
        return look(search, todo, count)

    monkeypatch.setattr(RayScene, "_run", counting_run)
    monkeypatch.setattr(border_module._Search, "_look", counting_look)
    yield work


def measured(mesh: Mesh, work: Work) -> tuple[np.ndarray, tuple[int, int, int]]:
    scene = RayScene(mesh)
    survey(mesh, Path(), scene=scene)  # what is kept for all paths is made at the first
    work.rays = work.pairs = 0
    tracemalloc.start()
    found = survey(mesh, PATH, scene=scene)
    work.memory = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return found.undercut, (work.rays, work.pairs, work.memory)


@pytest.mark.parametrize(("x", "y"), [(1_000.0, 1_000.0), (5_000.0, -3_000.0)])
def test_a_far_body_costs_no_more_than_a_near_one(cast: Mesh, counted: Work, x: float, y: float) -> None:
    near_depth, near = measured(beside(cast, 100.0, 0.0), counted)
    far_depth, far = measured(beside(cast, x, y), counted)
    # Cells of a metre by a metre at 0.2 mm would be 25 million; rows that share a place let a little more through.
    for told, allowed in zip(far, near, strict=True):
        assert told <= 1.5 * allowed
    # Rays work in single precision about the middle of both: 2^-24 of 3 m is 0.2 micrometres, so readings at edges may part a little.
    error = np.abs(far_depth - near_depth)
    print(f"\n{x:g}/{y:g}: rays, pairs, bytes {far} against {near}; error 99 % {np.quantile(error, 0.99):.6f}, most {error.max():.4f} mm")
    assert np.quantile(error, 0.99) <= 1e-3
    assert error.max() <= 0.02


def test_the_far_ball_is_read_as_its_closed_form(cast: Mesh) -> None:
    # Below its equator a ball of radius R is R - (distance from its axis) deep.
    mesh = beside(cast, 500.0, 0.0)
    told = survey(mesh, Path()).undercut[len(cast.vertices) :]
    x, y, z = np.asarray(BALL.vertices).T
    assert told == pytest.approx(np.where(z < -1e-9, 4.0 - np.hypot(x, y), 0.0), abs=0.03)  # chords of 0.4 mm edges stand 0.02 mm inside
