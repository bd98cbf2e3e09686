"""The survey against closed forms of solids whose contour and depth are known exactly."""

import numpy as np
import pytest
import trimesh

from claspwright.core.mesh import Mesh
from claspwright.core.survey import Path, depth_at, gauge_lines, survey

TILTS = (Path(0.0, 0.0), Path(7.0, -4.0))


def _mesh(solid: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(solid.vertices), np.asarray(solid.faces))


@pytest.fixture(scope="module")
def sphere() -> Mesh:
    return _mesh(trimesh.creation.icosphere(subdivisions=5, radius=4.0))


@pytest.mark.parametrize("path", TILTS)
def test_sphere_depth_is_radius_less_half_chord(sphere: Mesh, path: Path) -> None:
    height = sphere.vertices @ path.vector
    true = np.where(height < 0, 4.0 - np.sqrt(np.maximum(16.0 - height**2, 0.0)), 0.0)
    result = survey(sphere, path)
    error = np.abs(result.undercut - true)
    assert error.mean() <= 0.005
    assert error.max() <= 0.02


@pytest.mark.parametrize("path", TILTS)
def test_sphere_contour_is_one_closed_equator(sphere: Mesh, path: Path) -> None:
    (line,) = survey(sphere, path).contours
    assert line.closed
    assert np.abs(line.points @ path.vector).max() < 0.005
    assert line.length == pytest.approx(8.0 * np.pi, rel=1e-3)


@pytest.mark.parametrize(("gauge", "drop"), [(0.25, 1.3919), (0.50, 1.9365), (0.75, 2.3318)])
def test_sphere_gauge_lines_at_the_drop_of_the_closed_form(sphere: Mesh, gauge: float, drop: float) -> None:
    # Drop below the equator sqrt(2 R u - u^2) for R = 4 mm.
    (line,) = gauge_lines(sphere, survey(sphere, Path()), gauge)
    assert line.closed
    assert np.abs(-line.points[:, 2] - drop).max() < 0.01


def test_sphere_convergence_is_the_angle_below_the_equator(sphere: Mesh) -> None:
    result = survey(sphere, Path())
    drop = -sphere.vertices[:, 2]
    told = (result.undercut > 0.05) & (drop < 3.5)
    assert np.abs(result.convergence - np.degrees(np.arcsin(np.clip(drop / 4.0, 0, 1))))[told].max() < 0.5


def test_depth_of_picked_points_inside_faces(sphere: Mesh) -> None:
    points = sphere.triangles.mean(axis=1)[::40]
    true = np.where(points[:, 2] < 0, 4.0 - np.hypot(points[:, 0], points[:, 1]), 0.0)
    assert np.abs(depth_at(survey(sphere, Path()), points) - true).max() < 0.01
