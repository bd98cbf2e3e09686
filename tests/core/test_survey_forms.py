"""The survey against closed forms of solids whose contour and depth are known exactly, at 0.15 mm edges; and with scan noise.

Noise of scanners on a flat wafer is 5 to 13 micrometres RMS (PLoS ONE 2017, intra-oral scanners).
"""

import numpy as np
import pytest
import shapely
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.survey import Path, depth_at, gauge_lines, survey
from scipy.spatial import ConvexHull

STEP = 0.15
MEAN_MM, MAX_MM = 0.005, 0.02
TURN = np.linspace(0.0, 2.0 * np.pi, 2001)


def turned(profile: list[tuple[float, float]], step: float) -> Mesh:
    """Solid of revolution about Z from a profile of (radius, height), in steps of about so many mm."""
    corners = np.asarray(profile, dtype=float)
    points = [corners[0]]
    for a, b in zip(corners[:-1], corners[1:], strict=True):
        n = max(1, round(float(np.linalg.norm(b - a)) / step))
        points += [a + (b - a) * k / n for k in range(1, n + 1)]
    solid = trimesh.creation.revolve(np.array(points), sections=round(2.0 * np.pi * corners[:, 0].max() / step))
    if solid.volume < 0.0:
        solid.invert()
    return Mesh(np.asarray(solid.vertices), np.asarray(solid.faces))


def even_sphere(radius: float, step: float) -> Mesh:
    """A sphere with points spread evenly (golden spiral), without the symmetry of a subdivided solid."""
    n = round(4.0 * np.pi * radius**2 / (0.866 * step**2))
    k = np.arange(n) + 0.5
    z, turn = 1.0 - 2.0 * k / n, np.pi * (1.0 + 5.0**0.5) * k
    v = np.column_stack([np.cos(turn) * np.sqrt(1.0 - z**2), np.sin(turn) * np.sqrt(1.0 - z**2), z])
    f = np.array(ConvexHull(v).simplices, dtype=np.int64)
    inward = np.einsum("ij,ij->i", np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]]), v[f[:, 0]]) < 0.0
    f[inward] = f[inward][:, ::-1]
    return Mesh(radius * v, f)


def _assert_depth(told: np.ndarray, true: np.ndarray) -> None:
    error = np.abs(told - true)
    assert len(error) > 100
    assert error.mean() <= MEAN_MM
    assert error.max() <= MAX_MM


@pytest.fixture(scope="module")
def sphere() -> Mesh:
    return even_sphere(4.0, STEP)


@pytest.mark.parametrize("path", [Path(0.0, 0.0), Path(7.0, -4.0)])
def test_sphere(sphere: Mesh, path: Path) -> None:
    height = sphere.vertices @ path.vector
    result = survey(sphere, path)
    _assert_depth(result.undercut, np.where(height < 0, 4.0 - np.sqrt(np.maximum(16.0 - height**2, 0.0)), 0.0))
    (line,) = result.contours
    assert line.closed
    assert np.abs(line.points @ path.vector).max() < 0.01
    assert line.length == pytest.approx(8.0 * np.pi, rel=2e-3)


@pytest.mark.parametrize(("gauge", "drop"), [(0.25, 1.3919), (0.50, 1.9365), (0.75, 2.3318)])
def test_sphere_gauge_lines_at_the_drop_of_the_closed_form(sphere: Mesh, gauge: float, drop: float) -> None:
    # Drop below the equator sqrt(2 R u - u^2) for R = 4 mm.
    (line,) = gauge_lines(sphere, survey(sphere, Path()), gauge)
    assert line.closed
    assert np.abs(-line.points[:, 2] - drop).max() < 0.015


def test_sphere_convergence_is_the_angle_below_the_equator(sphere: Mesh) -> None:
    result = survey(sphere, Path())
    drop = -sphere.vertices[:, 2]
    told = (result.undercut > 0.05) & (drop < 3.5)
    assert np.abs(result.convergence - np.degrees(np.arcsin(np.clip(drop / 4.0, 0, 1))))[told].max() < 0.5


def test_depth_of_picked_points_inside_faces(sphere: Mesh) -> None:
    points = sphere.triangles.mean(axis=1)[::40]
    true = np.where(points[:, 2] < 0, 4.0 - np.hypot(points[:, 0], points[:, 1]), 0.0)
    _assert_depth(depth_at(survey(sphere, Path()), points), true)


@pytest.mark.parametrize("path", [Path(0.0, 0.0), Path(9.0, -7.0)])
def test_ellipsoid_along_an_axis(path: Path) -> None:
    # Everything below the equator lies in the shadow of its ellipse; the distance to that comes from a fine polygon by shapely.
    unit = trimesh.creation.icosphere(subdivisions=5, radius=1.0)
    points = np.asarray(unit.vertices) * [5.0, 3.5, 4.2]
    result = survey(Mesh(points @ path.rotation, np.asarray(unit.faces)), path)
    rim = shapely.LinearRing(np.column_stack([5.0 * np.cos(TURN), 3.5 * np.sin(TURN)]))
    true = np.where(points[:, 2] < -1e-9, shapely.distance(rim, shapely.points(points[:, :2])), 0.0)
    _assert_depth(result.undercut[true < 1.5], true[true < 1.5])


def test_contour_of_a_tilted_ellipsoid_lies_in_its_plane() -> None:
    # n . path = 0 on x2/a2 + y2/b2 + z2/c2 = 1 is the plane (px/a2, py/b2, pz/c2) . x = 0.
    unit = trimesh.creation.icosphere(subdivisions=5, radius=1.0)
    axes, path = np.array([5.0, 3.5, 4.2]), Path(9.0, -7.0)
    result = survey(Mesh(np.asarray(unit.vertices) * axes, np.asarray(unit.faces)), path)
    plane = path.vector / axes**2
    (line,) = result.contours
    assert np.abs(line.points @ (plane / np.linalg.norm(plane))).max() < 0.02


def test_inverted_frustum() -> None:
    # Top radius 5, base 4, height 6: depth 1.0 at the base, angle atan(1/6) = 9.4623 degrees, undercut area 171.986 mm2.
    mesh = turned([(0, 0), (4, 0), (5, 6), (0, 6)], STEP)
    result = survey(mesh, Path())
    radius, height = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1]), mesh.vertices[:, 2]
    wall = (height < 5.999) & (height > 1e-6)
    _assert_depth(result.undercut[wall], 5.0 - radius[wall])
    assert result.undercut[(height < 1e-6) & (radius > 3.999)] == pytest.approx(1.0, abs=2e-3)
    middle = (height > 1.5) & (height < 4.5)
    assert result.convergence[middle & wall] == pytest.approx(9.4623, abs=0.2)
    side = np.abs(mesh.face_normals[:, 2] + np.sin(np.arctan(1.0 / 6.0))) < 0.01
    assert mesh.face_areas[side & (~result.visible[mesh.faces]).any(axis=1)].sum() == pytest.approx(171.986, rel=1e-3)
    (line,) = gauge_lines(mesh, result, 0.25)
    assert np.abs(line.points[:, 2] - 4.5).max() < 0.02


def test_torus_has_an_outer_and_an_inner_contour() -> None:
    ring = trimesh.creation.torus(5.0, 2.0, major_sections=210, minor_sections=84)
    mesh = Mesh(np.asarray(ring.vertices), np.asarray(ring.faces))
    radius, height = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1]), mesh.vertices[:, 2]
    result = survey(mesh, Path())
    _assert_depth(result.undercut, np.where(height < -1e-9, np.minimum(7.0 - radius, radius - 3.0), 0.0))
    lengths = [line.length for line in result.contours]
    assert lengths == pytest.approx([14.0 * np.pi, 6.0 * np.pi], rel=1e-3)


@pytest.mark.parametrize("path", [Path(10.0, 0.0), Path(0.0, 5.0)])
def test_tilted_cylinder(path: Path) -> None:
    # What lies above height z is the cylinder from its section there to its top: the shadow is the hull of the two outlines.
    mesh = turned([(0, 0), (4, 0), (4, 7), (0, 7)], STEP)
    rotation = path.rotation
    axis = rotation @ np.array([0.0, 0.0, 1.0])
    ring = np.column_stack([4.0 * np.cos(TURN), 4.0 * np.sin(TURN), np.zeros_like(TURN)]) @ rotation.T
    own, height = mesh.vertices @ rotation.T, mesh.vertices[:, 2]
    wall = (height > 0.5) & (height < 6.95) & (np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1]) > 3.999)
    chosen = np.flatnonzero(wall)[::61]
    true = []
    for p in own[chosen]:
        along = (p[2] - ring[:, 2]) / axis[2]
        section = ring + along[:, None] * axis
        top = ring + 7.0 * axis
        shadow = shapely.MultiPoint(np.vstack([section[(along >= 0) & (along <= 7.0)], top[top[:, 2] >= p[2]]])[:, :2]).convex_hull
        point = shapely.Point(p[:2])
        true.append(shadow.exterior.distance(point) if shadow.buffer(-1e-4).contains(point) else 0.0)
    _assert_depth(survey(mesh, path).undercut[chosen], np.array(true))


def test_vertical_walls_hide_nothing() -> None:
    mesh = turned([(0, 0), (4, 0), (4, 7), (0, 7)], 0.3)
    result = survey(mesh, Path())
    assert result.visible[mesh.vertices[:, 2] > 1e-6].all()


@pytest.mark.parametrize(("step", "noise"), [(0.25, 0.0125), (0.15, 0.0125)])
def test_contour_and_gauge_line_of_a_noisy_sphere(step: float, noise: float) -> None:
    clean, path = even_sphere(4.5, step), Path(6.0, -5.0)
    random = np.random.default_rng(7)
    contour, gauge = [], []
    for _ in range(3):
        mesh = Mesh(clean.vertices + noise * random.normal(size=clean.vertices.shape), clean.faces)
        result = survey(mesh, path)
        (line,) = result.contours
        assert line.closed
        assert line.length < 1.02 * 9.0 * np.pi
        contour.append(line.points @ path.vector)
        (level,) = gauge_lines(mesh, result, 0.25)
        gauge.append(level.points @ path.vector + np.sqrt(9.0 * 0.25 - 0.25**2))
    assert np.sqrt(np.mean(np.concatenate(contour) ** 2)) < 0.05
    assert np.sqrt(np.mean(np.concatenate(gauge) ** 2)) < 0.05


def test_smoothing_is_a_length_and_not_a_number_of_passes() -> None:
    # The same surface, four times as many points: the contour of a tilted ellipsoid must not move.
    lines = []
    for step in (0.3, 0.15):
        ball = even_sphere(1.0, step / 4.0)
        (line,) = survey(Mesh(ball.vertices * [5.0, 3.5, 4.2], ball.faces), Path(9.0, -7.0)).contours
        lines.append(line.points)
    gap = np.linalg.norm(lines[0][:, None] - lines[1][None], axis=2).min(axis=1)
    assert gap.max() < 0.08  # half of the point spacing of the lines, 0.15 mm, and a little


def _ellipsoid() -> tuple[Mesh, Path]:
    ball = even_sphere(1.0, 0.25 / 4.2)
    return Mesh(ball.vertices * [5.0, 3.5, 4.2], ball.faces), Path(9.0, -7.0)


def _cylinder() -> tuple[Mesh, Path]:
    return turned([(0, 0), (4, 0), (4, 9), (0, 9)], 0.25), Path(10.0, 0.0)


def _torus() -> tuple[Mesh, Path]:
    ring = trimesh.creation.torus(5.0, 2.0, major_sections=126, minor_sections=50)
    return Mesh(np.asarray(ring.vertices), np.asarray(ring.faces)), Path()


def _off_ellipsoid(points: np.ndarray, path: Path) -> np.ndarray:
    plane = path.vector / np.array([5.0, 3.5, 4.2]) ** 2  # the contour lies in the plane of normal . path = 0
    return points @ plane / np.linalg.norm(plane)


def _off_cylinder(points: np.ndarray, path: Path) -> np.ndarray:
    # Its axis leans along Y, so its contour is the two generators farthest to the sides, y = 0; near the ends edges take over.
    wall = points[(points[:, 2] > 1.5) & (points[:, 2] < 7.5)]
    assert len(wall) > 50
    return wall[:, 1]


def _off_torus(points: np.ndarray, path: Path) -> np.ndarray:
    return points[:, 2]  # both contours lie in the middle plane


# On a cylinder that leans by 10 degrees normal . path changes with sin 10 = 0.17 of the turn, so noise moves the line six times as far as
# on a sphere: there the line has to know its own uncertainty.
@pytest.mark.parametrize(("form", "off"), [(_ellipsoid, _off_ellipsoid), (_cylinder, _off_cylinder), (_torus, _off_torus)])
def test_contour_of_other_noisy_forms(form, off) -> None:
    # 0.0125 mm of noise at 0.25 mm edges, against the closed form's line, RMS over three scans.
    clean, path = form()
    random = np.random.default_rng(3)
    error = []
    for _ in range(3):
        mesh = Mesh(clean.vertices + 0.0125 * random.normal(size=clean.vertices.shape), clean.faces)
        error.append(off(np.vstack([line.points for line in survey(mesh, path).contours]), path))
    assert np.sqrt(np.mean(np.concatenate(error) ** 2)) < 0.05


def test_floor_that_falls_away_under_a_shelf() -> None:
    """A floor z = -x/20 of large triangles under a shelf over 0 < x < 3: in front of the shelf the floor is higher than any point under it.

    So the nearest free line to a point under the shelf is the one behind it, 3 - x away, however little the faces that the shelf's front
    edge crosses reach below the point. Such faces are cut to 0.03 mm: nearer the front edge than that nothing is promised.
    """
    x, y = np.meshgrid(np.arange(-4.03, 7.0, 0.4), np.arange(-6.0, 6.01, 0.4), indexing="ij")
    floor = np.column_stack([x.ravel(), y.ravel(), -x.ravel() / 20.0])
    k = (np.arange(x.shape[0] - 1)[:, None] * x.shape[1] + np.arange(x.shape[1] - 1)).reshape(-1)
    beside, across = k + x.shape[1], k + x.shape[1] + 1
    faces = np.vstack([np.column_stack([k, beside, across]), np.column_stack([k, across, k + 1])])
    shelf = trimesh.creation.box(bounds=[[0.0, -7.0, 1.0], [3.0, 7.0, 2.0]])
    mesh = Mesh(np.vstack([floor, shelf.vertices]), np.vstack([faces, np.asarray(shelf.faces) + len(floor)]))
    at = np.column_stack([np.repeat(np.linspace(0.04, 0.32, 15), 9), np.tile(np.linspace(-1.0, 1.0, 9), 15)])
    told = depth_at(survey(mesh, Path()), np.column_stack([at, -at[:, 0] / 20.0]))
    assert np.abs(told - (3.0 - at[:, 0])).max() < 1e-6
