"""Tripod marks: proposed on tissue, in one plane square to the path, and enough to find the path again."""

import numpy as np
import pytest
import trimesh
from claspwright.core.errors import GeometryError
from claspwright.core.mesh import Mesh
from claspwright.core.survey import Path, carry_path, path_from_marks, place_marks, propose_tripod, survey

PATHS = (Path(0.0, 0.0), Path(7.0, -4.0), Path(-9.0, 6.0))


def _angle(a: Path, b: Path) -> float:
    return float(np.degrees(np.arccos(np.clip(a.vector @ b.vector, -1.0, 1.0))))


@pytest.fixture(scope="module")
def palate() -> tuple[Mesh, np.ndarray]:
    """A vault 60 mm wide, with a bump on it that stands for a tooth, and labels."""
    grid = np.linspace(-30.0, 30.0, 121)
    x, y = (a.reshape(-1) for a in np.meshgrid(grid, grid, indexing="ij"))
    bump = 8.0 * np.exp(-((x - 12.0) ** 2 + (y - 5.0) ** 2) / 18.0)
    z = 0.012 * (x**2 + y**2) + 1.5 * np.sin(x / 4.0) * np.cos(y / 5.0) + bump
    n = len(grid)
    k = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).reshape(-1)
    faces = np.vstack([np.column_stack([k, k + n, k + n + 1]), np.column_stack([k, k + n + 1, k + 1])])
    return Mesh(np.column_stack([x, y, z]), faces), np.where(bump > 1.0, 26, 0)


@pytest.mark.parametrize("path", PATHS)
def test_proposed_marks_lie_on_tissue_in_one_plane_and_restore_the_path(palate: tuple[Mesh, np.ndarray], path: Path) -> None:
    mesh, labels = palate
    tripod = propose_tripod(survey(mesh, path, labels))
    assert np.ptp(tripod.marks @ path.vector) < 1e-6
    on_surface = trimesh.triangles.closest_point(
        mesh.triangles[np.argmin(np.linalg.norm(mesh.triangles.mean(axis=1)[None] - tripod.marks[:, None], axis=2), axis=1)], tripod.marks
    )
    assert np.linalg.norm(on_surface - tripod.marks, axis=1).max() < 0.3
    teeth = mesh.vertices[labels > 0]
    assert np.linalg.norm(teeth[None] - tripod.marks[:, None], axis=2).min() > 2.5
    sides = np.linalg.norm(tripod.marks - np.roll(tripod.marks, 1, axis=0), axis=1)
    assert sides.min() > 20.0
    assert _angle(path_from_marks(tripod.marks), path) < 0.05
    assert tripod.uncertainty_deg < 0.5


def test_marks_read_off_within_half_a_line_restore_the_path_as_promised(palate: tuple[Mesh, np.ndarray]) -> None:
    mesh, labels = palate
    path = PATHS[1]
    tripod = propose_tripod(survey(mesh, path, labels))
    random = np.random.default_rng(5)
    off = [_angle(path_from_marks(tripod.marks + 0.1 * random.normal(size=(3, 3))), path) for _ in range(400)]
    assert np.sqrt(np.mean(np.square(off))) < 1.15 * tripod.uncertainty_deg
    # Digital marks are good to 0.01 mm: then the path comes back within 0.05 degrees.
    fine = [_angle(path_from_marks(tripod.marks + 0.01 * random.normal(size=(3, 3))), path) for _ in range(400)]
    assert np.quantile(fine, 0.95) < 0.05


def test_marks_stay_away_from_what_is_kept_clear(palate: tuple[Mesh, np.ndarray]) -> None:
    mesh, labels = palate
    result = survey(mesh, Path(), labels)
    first = propose_tripod(result)
    again = propose_tripod(result, keep_clear=first.marks)
    assert np.linalg.norm(again.marks[:, None] - first.marks[None], axis=2).min() > 2.5


def test_hand_picked_marks_are_moved_into_one_plane(palate: tuple[Mesh, np.ndarray]) -> None:
    mesh, labels = palate
    path = PATHS[2]
    marks = propose_tripod(survey(mesh, path, labels)).marks
    placed = place_marks(mesh, path, marks + np.array([[0.4, 0.2, 0.1], [-0.3, 0.1, -0.2], [0.1, -0.4, 0.1]]))
    assert _angle(path_from_marks(placed), path) < 0.05


def test_marks_on_one_line_are_refused() -> None:
    with pytest.raises(GeometryError, match="one line"):
        path_from_marks(np.array([[0.0, 0, 0], [20.0, 1.0, 0], [40.0, 0, 0]]))


def test_without_teeth_marked_no_marks_are_proposed(palate: tuple[Mesh, np.ndarray]) -> None:
    with pytest.raises(GeometryError, match="mark the teeth"):
        propose_tripod(survey(palate[0], Path()))


def test_a_path_is_carried_to_a_scan_of_the_same_cast_made_anew(palate: tuple[Mesh, np.ndarray]) -> None:
    # Other points on the same surface (trimesh subdivides and thins them), scan noise, and the cast lying otherwise.
    mesh, _ = palate
    motion = trimesh.transformations.rotation_matrix(np.radians(9.0), [0.3, -0.5, 0.2])
    motion[:3, 3] = [1.5, -2.0, 1.0]
    fine = mesh.to_trimesh().subdivide()
    random = np.random.default_rng(2)
    again = Mesh(np.asarray(fine.vertices) + 0.01 * random.normal(size=fine.vertices.shape), np.asarray(fine.faces)).transformed(motion)
    path = Path(6.0, -3.0)
    carried = carry_path(path, mesh, again)
    true = Path.from_vector(motion[:3, :3] @ path.vector)
    assert _angle(carried.path, true) < 0.05
    assert carried.fit_mm < 0.02
    # A general library's registration (trimesh, point to point) onto spots that are no vertices of either mesh says the same.
    spots = again.to_trimesh().sample(60_000, seed=3)
    matrix = trimesh.registration.icp(mesh.vertices[::3], spots, threshold=1e-12, max_iterations=200, reflection=False, scale=False)[0]
    theirs = Path.from_vector(matrix[:3, :3] @ path.vector)
    assert _angle(theirs, carried.path) < 0.05
    assert _angle(carried.path, true) < _angle(theirs, true) + 0.005


def test_scans_of_different_casts_are_refused(palate: tuple[Mesh, np.ndarray]) -> None:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=25.0)
    with pytest.raises(GeometryError, match="one cast"):
        carry_path(Path(), palate[0], Mesh(np.asarray(ball.vertices), np.asarray(ball.faces)))
