"""Mending, units and bases, against closed forms, trimesh, shapely and manifold3d."""

import numpy as np
import pytest
import shapely
import trimesh
from claspwright.core.cast import as_solid
from claspwright.core.cast.base import build_base, crossing_pairs
from claspwright.core.cast.holes import least_area
from claspwright.core.cast.repair import clean
from claspwright.core.cast.units import find_unit, widest
from claspwright.core.errors import CastError
from claspwright.core.mesh import Mesh
from scipy.spatial import cKDTree

BALL = trimesh.creation.icosphere(subdivisions=4, radius=20.0)
VOLUME = BALL.volume


def ball(keep: np.ndarray | None = None, vertices: np.ndarray | None = None) -> Mesh:
    return Mesh(BALL.vertices if vertices is None else vertices, BALL.faces if keep is None else BALL.faces[keep])


def test_a_sound_mesh_comes_back_untouched():
    mesh, changes = clean(ball())
    assert changes == [] and np.array_equal(mesh.vertices, BALL.vertices) and np.array_equal(mesh.faces, BALL.faces)


def test_a_soup_is_welded_also_with_jitter():
    rng = np.random.default_rng(2)
    corners = BALL.triangles.reshape(-1, 3)
    for jitter in (0.0, 2e-5):
        shaken = corners + rng.uniform(-jitter, jitter, corners.shape)
        mesh, changes = clean(Mesh(shaken, np.arange(len(corners)).reshape(-1, 3)))
        assert mesh.is_closed and len(mesh.vertices) == len(BALL.vertices)
        assert mesh.volume == pytest.approx(VOLUME, rel=1e-5)
        assert "welded" in changes[0]


def test_doubles_and_flat_triangles_go():
    extra = np.array([[0, 0, 1], BALL.faces[5], np.roll(BALL.faces[6], 1)])
    mesh, changes = clean(Mesh(BALL.vertices, np.concatenate([BALL.faces, extra])))
    assert mesh.is_closed and len(mesh.faces) == len(BALL.faces)
    assert changes == ["3 triangles without area or doubled removed"]


def test_a_triangle_whose_points_lie_in_one_line_is_swapped_away():
    a, b, c = BALL.faces[0]
    middle = len(BALL.vertices)
    vertices = np.vstack([BALL.vertices, (BALL.vertices[a] + BALL.vertices[b]) / 2])
    # one side of the edge knows the middle point, the other does not: a triangle without height fills the slit
    faces = np.concatenate([BALL.faces[1:], [[a, middle, c], [middle, b, c], [a, b, middle]]])
    assert Mesh(vertices, faces).is_closed
    mesh, changes = clean(Mesh(vertices, faces))
    assert mesh.is_closed and mesh.face_areas.min() > 0.01 and mesh.volume == pytest.approx(VOLUME, rel=1e-9)
    assert "swapped" in changes[0]


def test_inside_out_and_mixed_winding_are_mended():
    mesh, changes = clean(Mesh(BALL.vertices, BALL.faces[:, ::-1]))
    assert mesh.volume == pytest.approx(VOLUME) and "inside-out" in changes[-1]
    mixed = BALL.faces.copy()
    mixed[::7] = mixed[::7, ::-1]
    mesh, changes = clean(Mesh(BALL.vertices, mixed))
    assert mesh.is_closed and mesh.volume == pytest.approx(VOLUME) and "turned over" in changes[0]


def test_a_cavity_stays_a_cavity():
    inner = trimesh.creation.icosphere(subdivisions=3, radius=15.0)
    for turn in (1, -1):
        faces = np.concatenate([BALL.faces, inner.faces[:, ::turn] + len(BALL.vertices)])
        mesh, _ = clean(Mesh(np.vstack([BALL.vertices, inner.vertices]), faces))
        assert mesh.volume == pytest.approx(VOLUME - inner.volume)


def test_specks_go_and_large_shells_stay():
    speck = trimesh.creation.icosphere(subdivisions=1, radius=0.4)
    other = trimesh.creation.box([20, 20, 20])
    speck.apply_translation([40, 0, 0])
    other.apply_translation([60, 0, 0])
    joined = trimesh.util.concatenate([BALL, speck, other])
    mesh, changes = clean(Mesh(joined.vertices, joined.faces))
    assert mesh.volume == pytest.approx(VOLUME + 8000.0)
    assert changes == [f"1 loose specks removed ({len(speck.faces)} triangles, the largest 1.4 mm)"]


def test_pin_holes_are_closed_and_borders_left():
    cap = BALL.triangles_center[:, 2] > 12.0
    lost = np.zeros(len(cap), dtype=bool)
    lost[np.argmin(BALL.triangles_center[:, 2])] = True
    mesh, changes = clean(Mesh(BALL.vertices, BALL.faces[~lost & ~cap]))
    assert len(changes) == 1 and changes[0].startswith("1 pin-holes closed")
    open_edges = mesh.vertices[mesh.boundary_edges].mean(axis=1)
    assert len(open_edges) and (open_edges[:, 2] > 10.0).all()
    assert mesh.face_areas.sum() == pytest.approx(BALL.area_faces[~cap].sum(), rel=1e-9)


def test_sheets_that_share_an_edge_or_a_point_come_apart():
    fin = np.array([[0, 0, 40.0], [30, 0, 40.0]])
    a, b = BALL.edges_unique[0]
    vertices = np.vstack([BALL.vertices, fin])
    mesh, changes = clean(Mesh(vertices, np.vstack([BALL.faces, [a, b, len(BALL.vertices)]])))
    assert mesh.is_closed and any("three or more" in c for c in changes)
    other = BALL.vertices + [2 * BALL.vertices[np.argmax(BALL.vertices[:, 0]), 0], 0, 0]
    touch = np.argmin(np.linalg.norm(other - BALL.vertices[np.argmax(BALL.vertices[:, 0])], axis=1))
    shared = np.where(BALL.faces == touch, -1, BALL.faces + len(BALL.vertices))
    shared = np.where(shared < 0, np.argmax(BALL.vertices[:, 0]), shared)
    mesh, changes = clean(Mesh(np.vstack([BALL.vertices, other]), np.vstack([BALL.faces, shared])))
    assert mesh.is_closed and mesh.volume == pytest.approx(2 * VOLUME) and any("only touched" in c for c in changes)


def test_points_that_are_no_numbers():
    vertices = BALL.vertices.copy()
    vertices[7] = np.nan
    mesh, changes = clean(ball(vertices=vertices))
    assert np.isfinite(mesh.vertices).all() and "no numbers" in changes[0]
    vertices[::3] = np.inf
    with pytest.raises(CastError, match="no numbers"):
        clean(ball(vertices=vertices))


def test_a_one_sided_band_is_refused():
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    reach = np.array([-5.0, 5.0])[None, :] * np.array([np.cos(angle / 2), np.sin(angle / 2)])[:, :, None]
    points = np.stack(
        [(30 + reach[0]) * np.cos(angle)[:, None], (30 + reach[0]) * np.sin(angle)[:, None], reach[1] + 0 * angle[:, None]], axis=2
    )
    i = np.arange(59)
    faces = [[2 * k, 2 * k + 1, 2 * k + 2] for k in i] + [[2 * k + 1, 2 * k + 3, 2 * k + 2] for k in i] + [[118, 119, 1], [119, 0, 1]]
    with pytest.raises(CastError, match="one-sided"):
        clean(Mesh(points.reshape(-1, 3), np.array(faces)))


def test_least_area_of_a_bent_square():
    # saddle of four points: both diagonals give equal areas; with one forbidden the other is taken
    square = np.array([[0, 0, 0], [10, 0, 1], [10, 10, 0], [0, 10, 1.0]])
    allowed = np.ones((4, 4), dtype=bool)
    allowed[0, 2] = allowed[2, 0] = False
    triangles = least_area(square, allowed)
    assert triangles is not None and sorted(map(sorted, triangles.tolist())) == [[0, 1, 3], [1, 2, 3]]
    allowed[1, 3] = allowed[3, 1] = False
    assert least_area(square, allowed) is None


UNITS = {"millimetre": 1.0, "inch": 25.4, "centimetre": 10.0, "metre": 1000.0, "micrometre": 1e-3}


@pytest.mark.parametrize(("unit", "factor"), UNITS.items())
def test_units_of_an_arch_of_62_mm(unit, factor):
    found = find_unit(62.0 / factor, None)
    assert (found.name, found.factor) == (unit, factor) and bool(found.remark) == (unit != "millimetre")


def test_doubtful_units_are_asked():
    assert "inch" in find_unit(3.0, None).question and "centimetre" in find_unit(3.0, None).question
    assert "whole" in find_unit(33.0, None).question
    assert find_unit(62.0, "millimeter").question == "" and find_unit(2.4, "inch").name == "inch"
    assert "declares" in find_unit(62.0, "inch").question
    for size in (0.0, 1e-6, 400.0, 1e30):
        with pytest.raises(CastError, match="no unit"):
            find_unit(size, None)


def test_widest_does_not_hang_on_the_frame():
    box = trimesh.creation.box([70, 50, 20]).subdivide().subdivide()
    turn = trimesh.transformations.random_rotation_matrix(np.array([0.1, 0.5, 0.9]))[:3, :3]
    assert widest(np.asarray(box.vertices) @ turn.T) == pytest.approx(70.0, abs=0.5)


def bowl() -> Mesh:
    """Upper half of a ball: an open surface with a level border."""
    return ball(BALL.triangles_center[:, 2] > 0.0)


def test_base_under_half_a_ball_has_the_volume_of_a_dome_on_a_cylinder():
    solid = as_solid(bowl(), base_mm=5.0)
    low = float(bowl().vertices[:, 2].min())
    assert solid.is_closed and solid.bounds[0, 2] == pytest.approx(low - 5.0)
    # the border is not quite level: dome over z = 0 and a cylinder of that height, each 1 % for the facets
    expected = 2 / 3 * np.pi * 20**3 + np.pi * 20**2 * (5.0 - low)
    assert solid.volume == pytest.approx(expected, rel=0.015)
    assert solid.to_manifold().volume() == pytest.approx(solid.volume)
    assert np.array_equal(solid.vertices[: len(bowl().submesh(slice(None))[1])], bowl().submesh(slice(None))[0].vertices)


def test_base_of_a_closed_solid_is_itself():
    mesh = ball()
    assert as_solid(mesh) is mesh


def test_base_closes_inner_holes_and_joins_pieces():
    centre = BALL.triangles_center
    top = centre[:, 2] > 3.0
    hole = np.linalg.norm(centre - [0, 6, 19], axis=1) < 3.0
    solid, words = build_base(ball(top & ~hole))
    assert solid.is_closed and any("1 holes" in w for w in words)
    assert abs(solid.volume / as_solid(ball(top)).volume - 1) < 0.01
    second = Mesh(bowl().vertices + [30, 0, 0], bowl().faces)
    both = Mesh(np.vstack([bowl().vertices, second.vertices]), np.vstack([bowl().faces, second.faces + len(BALL.vertices)]))
    joined = as_solid(both)
    assert joined.is_closed and joined.volume < 2 * as_solid(bowl()).volume - 1000


def in_and_out(solid: Mesh, step: float) -> int:
    """Upward rays on a grid through the whole solid enter and leave by turns (trimesh's rays); returns how many met it."""
    low, high = solid.bounds
    x, y = (g.ravel() + 0.0123 for g in np.meshgrid(np.arange(low[0], high[0], step), np.arange(low[1], high[1], step)))
    start = np.c_[x, y, np.full(len(x), low[2] - 1.0)]
    ray = trimesh.ray.ray_pyembree.RayMeshIntersector(solid.to_trimesh(), scale_to_box=False)
    face, index, hit = ray.intersects_id(start, np.tile([0.0, 0.0, 1.0], (len(x), 1)), multiple_hits=True, return_locations=True)
    order = np.lexsort((hit[:, 2], index))
    sense, index = np.sign(solid.face_normals[face[order], 2]), index[order]
    first = np.r_[True, np.diff(index) > 0]
    assert (sense[first] < 0).all() and (sense[np.r_[first[1:], True]] > 0).all()
    assert (sense[1:] != sense[:-1])[~first[1:]].all()
    return int(first.sum())


def test_ragged_and_rolled_border_still_gets_straight_walls():
    centre = BALL.triangles_center
    rng = np.random.default_rng(4)
    # frayed: single triangles missing along the border; rolled: the surface goes on under itself on one side
    keep = (centre[:, 2] > 2.0 + rng.uniform(0, 4, len(centre))) | ((centre[:, 0] > 8.0) & (centre[:, 2] > -12.0))
    mesh, _ = clean(ball(keep))
    solid, words = build_base(mesh)
    assert solid.is_closed and solid.to_manifold().volume() > 0
    assert in_and_out(solid, 1.5) > 300
    assert words == ["base added, flat, 5 mm below the lowest point of the scan"]  # nothing trimmed
    # the rolled part is there: every point of the scan lies on the solid
    assert cKDTree(solid.vertices).query(mesh.vertices)[0].max() < 1e-6


def test_crossing_segments_match_shapely():
    rng = np.random.default_rng(8)
    a, b = rng.uniform(0, 10, (60, 2)), rng.uniform(0, 10, (60, 2))
    found = set(zip(*(x.tolist() for x in crossing_pairs(a, b)), strict=True))
    lines = [shapely.LineString([p, q]) for p, q in zip(a, b, strict=True)]
    assert found == {(i, j) for i in range(60) for j in range(i + 1, 60) if lines[i].crosses(lines[j])}
