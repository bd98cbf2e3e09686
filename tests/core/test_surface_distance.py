"""Distance to a surface against closed forms: plane and sphere, with the needles that a boolean and a trimmed base leave."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.solids.distance import SurfaceDistance, surface_samples
from scipy.spatial import cKDTree

SPACING = 0.35


def needles(count: int = 1200, long: float = 60.0, wide: float = 40.0) -> Mesh:
    """A rectangle in the plane z = 0 as a fan from one corner to points along the far side: needles down to a few hundredths of a mm."""
    far = np.column_stack([np.full(count, long), np.linspace(0.0, wide, count), np.zeros(count)])
    points = np.vstack([[0.0, 0.0, 0.0], far, [0.0, wide, 0.0]])
    i = np.arange(1, count + 1)
    return Mesh(points, np.column_stack([np.zeros(count, dtype=np.int64), i, i + 1]))


def test_needles_are_covered_once_and_not_crowded():
    mesh = needles()
    points, normals, areas = surface_samples(mesh, SPACING)
    assert areas.sum() == pytest.approx(60.0 * 40.0, rel=1e-6)  # the rectangle
    middle = (areas[:, None] * points).sum(axis=0) / areas.sum()
    assert np.abs(middle - [30.0, 20.0, 0.0]).max() < 0.05
    assert np.all(normals[:, 2] == 1.0)
    # A sample within reach of every place of the rectangle.
    grid = np.stack(np.meshgrid(np.linspace(1, 59, 117), np.linspace(1, 39, 77)), axis=-1).reshape(-1, 2)
    assert cKDTree(points[:, :2]).query(grid)[0].max() < SPACING
    # The fan's longest edges are 40 to 72 mm: 115 to 206 steps of 0.35 mm, one row of samples in each needle.
    assert len(points) < 206 * len(mesh.faces)


def test_no_sample_of_a_face_lies_outside_it():
    rng = np.random.default_rng(5)
    for _ in range(60):
        corners = rng.normal(size=(3, 3)) * [8.0, 8.0, 0.3] ** rng.integers(0, 2, 3)
        mesh = Mesh(corners, np.array([[0, 1, 2]]))
        points, normals, areas = surface_samples(mesh, SPACING)
        weights = trimesh.triangles.points_to_barycentric(np.repeat(corners[None], len(points), axis=0), points)
        assert weights.min() > -1e-6 and areas.sum() == pytest.approx(mesh.face_areas[0])
        assert np.allclose(np.einsum("ij,ij->i", points - corners[0], normals), 0.0, atol=1e-9)


@pytest.mark.parametrize("smoothing", [0.3, 0.8, 1.5])
def test_distance_to_a_plane_of_needles_is_exact(smoothing):
    rng = np.random.default_rng(1)
    points = np.column_stack([rng.uniform(5, 55, 400), rng.uniform(5, 35, 400), rng.uniform(-2, 2, 400)])
    assert np.abs(SurfaceDistance(needles(), smoothing=smoothing)(points) - points[:, 2]).max() < 1e-9


def test_distance_to_a_sphere():
    ball = trimesh.creation.icosphere(subdivisions=5, radius=10.0)
    rng = np.random.default_rng(2)
    way = rng.normal(size=(500, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    radius = rng.uniform(9.0, 12.0, 500)
    found = SurfaceDistance(Mesh(np.asarray(ball.vertices), np.asarray(ball.faces)), smoothing=0.3)(way * radius[:, None])
    # The mean of tangent planes within r of a point stands off a sphere of radius R by up to r2 / 2 R: here r is some 0.9 mm.
    assert np.abs(found - (radius - 10.0)).max() < 0.9**2 / 20
