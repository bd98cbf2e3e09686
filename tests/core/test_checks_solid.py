"""Checks of the solid: planted faults must fire the right check, sound solids must pass all.

Oracles: trimesh (general mesh library) for closedness, bodies and volume; exact whole-number arithmetic for crossings.
"""

import io

import manifold3d as m3
import numpy as np
import pytest
import trimesh
from claspwright.core.checks.intersections import check_self_intersection
from claspwright.core.checks.result import Landmarks, worst
from claspwright.core.checks.stored import as_stored, check_stored
from claspwright.core.checks.topology import (
    bodies,
    check_one_body,
    check_outward,
    check_scale,
    check_triangles,
    check_watertight,
    edge_faults,
    smallest_angles,
)
from claspwright.core.crossings import ROUNDING_MM, near_pairs, self_crossings, uncrossed
from claspwright.core.mesh import Mesh
from hypothesis import given, settings
from hypothesis import strategies as st

SOLID_CHECKS = (check_watertight, check_one_body, check_outward, check_scale, check_triangles, check_self_intersection)


def as_mesh(body: trimesh.Trimesh) -> Mesh:
    return Mesh(body.vertices, body.faces)


def joined(*meshes: Mesh) -> Mesh:
    return as_mesh(trimesh.util.concatenate([m.to_trimesh() for m in meshes]))


def bar() -> Mesh:
    """A bent bar, 44 mm long, with a knob: one sound solid from booleans."""
    arms = [m3.Manifold.cube(size).refine_to_length(1.0) for size in ((40, 4, 2), (4, 20, 2))]
    return Mesh.from_manifold(arms[0] + arms[1].translate((0.3, 0, 0)) + m3.Manifold.sphere(3, 64).translate((40, 2, 1)))


@pytest.fixture(scope="module")
def sound() -> Mesh:
    return bar()


def fired(mesh: Mesh) -> set[str]:
    return {c.id for c in (check(mesh) for check in SOLID_CHECKS) if c.status == "fail"}


def test_sound_solid_passes_everything(sound):
    assert [c(sound).status for c in SOLID_CHECKS] == ["pass"] * len(SOLID_CHECKS)
    other = sound.to_trimesh()
    assert other.is_watertight and other.is_winding_consistent
    assert trimesh.graph.connected_component_labels(other.face_adjacency).max() == 0


@pytest.mark.parametrize("face", [0, 57, 431])
def test_hole_is_found_with_its_place(sound, face):
    holed = Mesh(sound.vertices, np.delete(sound.faces, face, axis=0))
    check = check_watertight(holed)
    assert check.status == "fail" and check.value == 3
    assert np.linalg.norm(np.array(check.place) - sound.triangles[face].mean(axis=0)) < 1.5
    assert not holed.to_trimesh().is_watertight


@pytest.mark.parametrize("faces", [[3], [10, 11, 200], [77]])
def test_turned_faces_are_found(sound, faces):
    turned = sound.faces.copy()
    turned[faces] = turned[faces, ::-1]
    assert "solid.watertight" in fired(Mesh(sound.vertices, turned))


def read_back(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.load(io.BytesIO(mesh.to_trimesh().export(file_type="stl")), file_type="stl")


def near_twins() -> Mesh:
    """A closed ball with a pair of neighbours, and two strangers, nearer to each other than a 32-bit number can tell at 60 mm."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=3)
    vertices = ball.vertices + [60.0, 40.0, 0.0]
    a, b = ball.edges[0]
    vertices[a] = vertices[a].astype(np.float32)
    vertices[b] = vertices[a] + [1e-7, 0, 0]
    far = np.flatnonzero(np.linalg.norm(vertices - vertices[a], axis=1) > 5.5)[0]
    vertices[far] = vertices[a] - [1e-7, 0, 0]
    return Mesh(vertices, ball.faces)


def test_solid_that_does_not_outlive_a_file():
    mesh = near_twins()
    assert mesh.is_closed and check_watertight(mesh).status == "pass"
    check = check_stored(mesh)
    assert check.status == "fail" and not read_back(mesh).is_watertight
    assert np.linalg.norm(mesh.vertices - np.array(check.place), axis=1).min() < 1.0
    kept = as_stored(mesh)
    assert check_stored(kept).status == "pass" and read_back(kept).is_watertight
    assert np.abs(kept.vertices - mesh.vertices).max() < 2e-4
    assert read_back(kept).volume == pytest.approx(mesh.volume, rel=1e-5)


def test_sound_solid_outlives_a_file(sound):
    assert check_stored(sound).status == "pass" and read_back(as_stored(sound)).is_watertight
    assert np.array_equal(as_stored(sound).vertices, sound.vertices.astype(np.float32))


def test_whole_solid_inside_out(sound):
    assert fired(Mesh(sound.vertices, sound.faces[:, ::-1])) == {"solid.outward"}


def test_stray_shell_and_void(sound):
    speck = as_mesh(trimesh.creation.icosphere(subdivisions=1, radius=0.05))
    outside = Mesh(speck.vertices + [10.0, 2.0, 5.0], speck.faces)
    found = check_one_body(joined(sound, outside))
    assert found.status == "fail" and found.value == 2 and "0.10 mm" in found.words
    assert np.allclose(found.place, [10, 2, 5], atol=0.01)
    void = Mesh(speck.vertices + [10.0, 2.0, 1.0], speck.faces[:, ::-1])
    assert fired(joined(sound, void)) == {"solid.one_body", "solid.outward"}


def test_doubled_face_is_three_on_an_edge(sound):
    doubled = Mesh(sound.vertices, np.concatenate([sound.faces, sound.faces[5:6]]))
    assert len(edge_faults(doubled)[1]) == 3
    assert "solid.watertight" in fired(doubled)


def test_unwelded_corners_are_open_edges(sound):
    soup = Mesh(sound.triangles.reshape(-1, 3), np.arange(3 * len(sound.faces)).reshape(-1, 3))
    assert check_watertight(soup).value == 3 * len(sound.faces)
    assert bodies(soup)[0] == len(sound.faces)


@pytest.mark.parametrize("factor, word", [(0.001, "metres"), (1 / 25.4, "inches"), (0.1, "centimetres"), (1000.0, "micrometres")])
def test_wrong_unit_is_named(sound, factor, word):
    check = check_scale(Mesh(sound.vertices * factor, sound.faces))
    assert check.status == "fail" and word in check.words


def test_not_a_number_and_empty():
    empty = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int))
    assert all(check(empty).status in ("fail", "pass") for check in SOLID_CHECKS)
    assert "solid.watertight" in fired(empty)
    assert check_scale(Mesh(np.full((3, 3), np.nan), np.array([[0, 1, 2]]))).status == "fail"


def test_smallest_angles_against_trimesh(sound):
    expected = np.degrees(sound.to_trimesh().face_angles.min(axis=1))
    assert np.allclose(smallest_angles(sound), expected, atol=1e-6)


def test_slivers_warn():
    needle = np.array([[0, 0, 0], [30, 0, 0], [15, 0.01, 0], [15, 0, 1.0]])
    check = check_triangles(Mesh(needle, np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])))
    assert check.status == "warn" and check.value >= 0.25


# Crossings.


def exact_det(u, v, w):
    """Determinants of integer rows (k, 3): exact in 64 bits for entries under 2**19."""
    return (
        u[:, 0] * (v[:, 1] * w[:, 2] - v[:, 2] * w[:, 1])
        - u[:, 1] * (v[:, 0] * w[:, 2] - v[:, 2] * w[:, 0])
        + u[:, 2] * (v[:, 0] * w[:, 1] - v[:, 1] * w[:, 0])
    )


def exact_pierces(p, q, t):
    a, b, c = (t[:, k] for k in range(3))
    sides = np.sign(exact_det(b - a, c - a, p - a)) * np.sign(exact_det(b - a, c - a, q - a))
    s = [np.sign(exact_det(q - p, u - p, v - p)) for u, v in ((a, b), (b, c), (c, a))]
    return (sides < 0) & (s[0] == s[1]) & (s[1] == s[2]) & (s[0] != 0)


def exact_crossings(vertices, faces) -> set[tuple[int, int]]:
    """Every pair of faces, every edge against every face, in whole numbers."""
    tri = vertices[faces].astype(np.int64)
    i, j = np.triu_indices(len(tri), 1)
    hit = np.zeros(len(i), dtype=bool)
    for x, y in ((i, j), (j, i)):
        for k in range(3):
            hit |= exact_pierces(tri[x, k], tri[x, (k + 1) % 3], tri[y])
    return set(zip(i[hit].tolist(), j[hit].tolist(), strict=True))


def crossing_set(mesh: Mesh) -> set[tuple[int, int]]:
    return set(map(tuple, self_crossings(mesh)[0].tolist()))


def test_two_spheres_equal_exact_brute_force():
    a = trimesh.creation.icosphere(subdivisions=2, radius=20)
    grid = np.round(np.concatenate([a.vertices, a.vertices + [1.0, 0.3, 0.2]]) * 512).astype(np.int64)
    faces = np.concatenate([a.faces, a.faces + len(a.vertices)])
    both = Mesh(grid / 512, faces)
    pairs, depth = self_crossings(both)
    assert len(pairs) > 50 and (depth > 0).all()
    assert crossing_set(both) == exact_crossings(grid, faces)
    check = check_self_intersection(both)
    assert check.status == "fail" and check.value == len(pairs)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from([4, 16, 1000, 100_000]))
def test_random_triangles_equal_exact_brute_force(seed, grid):
    """A coarse grid makes many faces touch at corners and edges, the hard case: touching must not count."""
    rng = np.random.default_rng(seed)
    vertices = rng.integers(0, grid, (30, 3))
    faces = np.array([rng.choice(30, 3, replace=False) for _ in range(24)])
    tri = vertices[faces]
    normal = np.cross(tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0])
    with_area = (normal != 0).any(axis=1)  # a face without area has no plane; its neighbours cross where it would
    faces, tri, normal = faces[with_area], tri[with_area], normal[with_area]
    i, j = np.triu_indices(len(faces), 1)
    one_plane = (np.einsum("kd,kcd->kc", normal[i], tri[j] - tri[i][:, :1]) == 0).all(axis=1)
    flat = set(zip(i[one_plane].tolist(), j[one_plane].tolist(), strict=True))  # doubled area has its own test
    assert crossing_set(Mesh(vertices / 16.0, faces)) - flat == exact_crossings(vertices, faces) - flat


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from([0.2, 0.8, 2.0, 5.0]), st.booleans())
def test_crumpled_ball_equals_exact_brute_force(seed, crumple_mm, torn):
    """Neighbours round a vertex are passed over where they cannot cross: no crossing of a crumpled or torn surface may be lost by that."""
    rng = np.random.default_rng(seed)
    ball = trimesh.creation.icosphere(subdivisions=1, radius=10)
    grid = np.round((ball.vertices + rng.normal(0, crumple_mm, ball.vertices.shape)) * 512).astype(np.int64)
    faces = np.array(ball.faces)[rng.random(len(ball.faces)) > (0.1 if torn else 0.0)]
    assert crossing_set(Mesh(grid / 512, faces)) == exact_crossings(grid, faces)


def test_near_pairs_are_all_box_overlaps():
    rng = np.random.default_rng(7)
    tri = rng.uniform(0, 10, (300, 1, 3)) + rng.exponential(0.4, (300, 3, 3))
    low, high = tri.min(axis=1), tri.max(axis=1)
    overlap = ((low[:, None] <= high[None]) & (low[None] <= high[:, None])).all(axis=2)
    expected = {(i, j) for i, j in zip(*np.nonzero(overlap), strict=True) if i < j}
    found = set(map(tuple, near_pairs(tri).tolist()))
    assert expected <= found and len(found) <= len(expected) + 5


def test_fold_and_spike(sound):
    """A corner pushed through the far side of the bar crosses it; the solid stays closed, so only this check can know."""
    vertices = sound.vertices.copy()
    top = np.flatnonzero((vertices[:, 2] > 1.999) & (np.abs(vertices[:, :2] - [20, 2]).max(axis=1) < 0.8))[0]
    vertices[top, 2] = -0.7
    check = check_self_intersection(Mesh(vertices, sound.faces))
    assert fired(Mesh(vertices, sound.faces)) == {"solid.self_intersection"}
    assert check.value >= 1 and abs(check.place[0] - 20) < 2


def test_doubled_flat_faces_are_found():
    square = np.array([[0, 0, 0], [20, 0, 0], [0, 20, 0], [1, 1, 0], [21, 1, 0], [1, 21, 0]], dtype=float)
    pairs, depth = self_crossings(Mesh(square, np.array([[0, 1, 2], [3, 4, 5]])))
    assert pairs.tolist() == [[0, 1]] and depth[0] > 1
    apart = Mesh(square + np.array([0, 0, 1.0]) * (np.arange(6) > 2)[:, None], np.array([[0, 1, 2], [3, 4, 5]]))
    assert len(self_crossings(apart)[0]) == 0


def test_touching_is_not_crossing():
    """Two boxes face to face, edge to face, corner to corner."""
    box = as_mesh(trimesh.creation.box((1, 1, 1)))
    for shift in ([0, 0, 1.0], [1.0, 1.0, 0], [1.0, 1.0, 1.0], [0.3, 0.2, 1.0]):
        pairs, depth = self_crossings(joined(box, Mesh(box.vertices + shift, box.faces)))
        flat = shift[:2] == [0, 0] or shift[0] == 0.3
        assert (len(pairs) > 0) == flat, shift  # face on face is doubled area: reported


def test_worst_and_places():
    marks = Landmarks(np.array([[0.0, 0, 0], [10, 0, 0]]), np.array([34, 0]))
    assert marks.describe(np.array([1.0, 0, 0])).endswith("near 34")
    assert "near" not in marks.describe(np.array([40.0, 0, 0]))
    assert worst([check_scale(bar())]) == "pass" and worst([]) == "skip"


def test_crossing_faces_of_a_polished_side_are_drawn_apart() -> None:
    """A ball with three vertices pulled through its far side as spikes; the volume of trimesh's own ball is what must come back."""
    ball = trimesh.creation.icosphere(4, 5.0)
    vertices = np.array(ball.vertices)
    vertices[[7, 300, 1200]] *= -1.2
    torn = Mesh(vertices, np.array(ball.faces))
    assert (self_crossings(torn)[1] > ROUNDING_MM).any()
    mended = uncrossed(torn)
    assert not (self_crossings(mended)[1] > ROUNDING_MM).any()
    assert mended.is_closed and mended.volume == pytest.approx(ball.volume, rel=0.01)


def test_a_sound_surface_is_left_alone() -> None:
    ball = trimesh.creation.icosphere(3, 5.0)
    sound = Mesh(np.array(ball.vertices), np.array(ball.faces))
    assert np.array_equal(uncrossed(sound).vertices, sound.vertices)
