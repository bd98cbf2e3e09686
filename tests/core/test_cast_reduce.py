"""A large scan reduced for work: held within its bound by an independent distance, and the fitting side still cut from the whole of it."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from claspwright.core.case import load_case
from claspwright.core.cast import intake, load_cast, reduce, write_mesh
from claspwright.core.cast.gap import gap
from claspwright.core.mesh import Mesh
from claspwright.core.phantom import SAMPLES, make_phantom

SCENES = Path(__file__).parents[2] / "sample_scenes"


def off_surface(points: np.ndarray, mesh: Mesh, near_mm: float = 0.05) -> np.ndarray:
    """Exact distances, infinite beyond `near_mm`: every face whose box is near, by trimesh (a general library)."""
    low, high = mesh.triangles.min(axis=1) - near_mm, mesh.triangles.max(axis=1) + near_mm
    far = np.full(len(points), np.inf)
    for k, point in enumerate(points):
        corners = mesh.triangles[((low <= point) & (point <= high)).all(axis=1)]
        if len(corners):
            at = trimesh.triangles.closest_point(corners, np.broadcast_to(point, (len(corners), 3)))
            far[k] = np.linalg.norm(at - point, axis=1).min()
    return far


@pytest.fixture(scope="module")
def scan() -> Mesh:
    """Each triangle of a made-up cast in four, with 1 micrometre of noise: as a scanner writes more triangles than it has seen."""
    coarse = make_phantom(replace(SAMPLES["lower_class_i"], triangles=50_000)).mesh.to_trimesh().subdivide()
    vertices = np.array(coarse.vertices) + np.random.default_rng(7).normal(0.0, 0.001, coarse.vertices.shape)
    return Mesh(vertices, np.array(coarse.faces))


def test_gap_is_a_bound_and_close_on_a_sphere():
    """Closed form: points at a known distance from a sphere; the mesh lies up to its sagitta inside it."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=20.0)
    mesh = Mesh(ball.vertices, ball.faces)
    rng = np.random.default_rng(3)
    way = rng.normal(size=(5000, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    high = rng.uniform(-0.008, 0.008, 5000)
    sagitta = 20.0 - np.linalg.norm(mesh.triangles.mean(axis=1), axis=1).min()
    found = gap((20.0 + high)[:, None] * way, way, mesh, 0.1)
    assert (found >= np.maximum(np.abs(high) - sagitta, 0.0) - 1e-5).all()
    assert (found <= np.abs(high) + sagitta + 1e-5).all()


def test_gap_sees_a_point_over_an_edge_that_rays_pass_by():
    box = trimesh.creation.box([10.0, 10.0, 10.0])
    mesh = Mesh(box.vertices, box.faces)
    edge = np.array([[5.0 + 0.006, 5.0 + 0.006, 1.0]])
    sideways = np.array([[1.0, -1.0, 0.0]]) / np.sqrt(2.0)  # along this no ray meets the box
    assert gap(edge, sideways, mesh, 0.01)[0] == pytest.approx(0.006 * np.sqrt(2.0), abs=2e-5)


def test_reduced_surface_keeps_its_bound_by_another_library(scan, monkeypatch):
    monkeypatch.setattr(reduce, "_TARGETS", (60_000, 90_000))
    found = reduce.reduced(scan)
    assert found is not None
    small, off = found
    assert len(small.faces) < 0.5 * len(scan.faces) and small.is_closed
    assert off <= reduce.WITHIN_MM
    rng = np.random.default_rng(5)
    some = rng.choice(len(scan.vertices), 400, replace=False)
    assert off_surface(scan.vertices[some], small).max() <= off + 1e-5
    assert off_surface(small.vertices[rng.choice(len(small.vertices), 400, replace=False)], scan).max() <= off + 1e-5


def test_a_surface_too_rough_for_the_bound_is_left_whole(monkeypatch):
    monkeypatch.setattr(reduce, "_TARGETS", (10_000,))
    mesh = make_phantom(replace(SAMPLES["lower_class_i"], triangles=60_000)).mesh
    rough = Mesh(mesh.vertices + np.random.default_rng(1).normal(0.0, 0.05, mesh.vertices.shape), mesh.faces)
    assert reduce.reduced(rough) is None


def test_scan_up_to_the_limit_is_not_touched(tmp_path, scan):
    write_mesh(tmp_path / "scan.ply", scan)
    cast = load_cast(tmp_path / "scan.ply", arch="lower")
    assert cast.full is None and not any("reduced" in line for line in cast.changes)


@pytest.mark.nightly
def test_framework_of_a_reduced_cast_fits_the_full_scan(tmp_path, monkeypatch):
    """The fitting side is made of faces of the whole scan: where it touches it lies on them, within rounding."""
    from claspwright.core.pipeline.build import build

    scene = json.loads((SCENES / "lower_class_i" / "case.json").read_text())
    for file in (SCENES / "lower_class_i").iterdir():
        if file.suffix in (".ply", ".json"):
            (tmp_path / file.name).write_bytes(file.read_bytes())
    assert scene["cast"]["file"] == "cast.ply"
    monkeypatch.setattr(intake, "WORK_MOST", 100_000)
    monkeypatch.setattr(reduce, "_TARGETS", (60_000, 90_000))
    made = build(load_case(tmp_path / "case.json"), quick=True)
    assert made.cast.full is not None and len(made.cast.mesh.faces) < len(made.cast.full.faces) / 2
    spots = made.framework.triangles.mean(axis=1)[::40]
    on_full = off_surface(spots, made.cast.full) < 1e-5
    on_work = off_surface(spots, made.cast.mesh) < 1e-5
    # where the cast is so flat that both surfaces are one within rounding a spot lies on both
    assert (on_full & ~on_work).sum() > 200 and (on_work & ~on_full).sum() < 0.02 * on_full.sum()
    # Known to fail, and said in README: walls of the reduced block-out lie some micrometres beside those of the full scan.
    assert [c.id for c in made.checks if c.status == "fail"] in ([], ["fit.surface"])
