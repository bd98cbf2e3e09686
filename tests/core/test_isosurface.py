"""The mesher of fields, against solids with known volumes (closed forms)."""

import numpy as np
import pytest
import trimesh
from claspwright.core.errors import GeometryError
from claspwright.core.isosurface import isosurface, isosurface_grid

BOX = np.array([[-6.0, -6.0, -6.0], [6.0, 6.0, 6.0]])


def sphere(points: np.ndarray) -> np.ndarray:
    return np.linalg.norm(points, axis=1) - 5.0


def test_sphere_volume_converges_with_the_square_of_the_spacing() -> None:
    exact = 4.0 / 3.0 * np.pi * 125.0
    errors = [abs(isosurface(sphere, BOX, s).volume - exact) for s in (0.8, 0.4)]
    assert errors[1] < errors[0] / 3.5
    assert errors[1] / exact < 7e-4


def test_every_vertex_lies_on_the_field_and_triangles_are_well_shaped() -> None:
    mesh = isosurface(sphere, BOX, 0.4)
    assert np.abs(sphere(mesh.vertices)).max() < 1e-5
    assert np.degrees(trimesh.triangles.angles(mesh.triangles)).min() > 25.0


def test_random_noise_still_gives_a_closed_manifold() -> None:
    noise = np.random.default_rng(1).normal(size=(18, 18, 18))
    mesh = isosurface_grid(noise, np.zeros(3), 1.0, relax=0)
    assert mesh.is_closed
    assert mesh.to_trimesh().is_watertight
    mesh.to_manifold()


def test_a_solid_that_leaves_the_box_is_closed_at_its_walls() -> None:
    mesh = isosurface(lambda p: p[:, 0], np.array([[-1.0, -1, -1], [1.0, 1, 1]]), 0.25)
    assert mesh.is_closed


def test_nothing_to_mesh_is_an_error() -> None:
    with pytest.raises(GeometryError, match="no surface"):
        isosurface(lambda p: np.ones(len(p)), BOX, 1.0)
