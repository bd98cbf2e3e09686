"""Insertion: rays along the path against closed forms and against brute force (booleans of the lifted framework, manifold3d).

The model is a crown in the shape of a sphere (radius 5 mm) on a post: undercut depth below its equator is known exactly,
u = R - sqrt(R^2 - z^2) (check case 8: drops of 1.5612, 2.1794, 2.6339 mm give 0.25, 0.50, 0.75 mm).
"""

import manifold3d as m3
import numpy as np
import pytest
import trimesh
from claspwright.core.checks.insertion import TipSpec, check_rigid, check_tip, densified, entry_depth, rigid_entries, tip_travel
from claspwright.core.checks.rays import Rays
from claspwright.core.checks.result import Landmarks
from claspwright.core.mesh import Mesh
from claspwright.core.survey.path import Path
from hypothesis import given, settings
from hypothesis import strategies as st

UP = np.array([0.0, 0.0, 1.0])
R = 5.0
GAUGE_DROP = {0.25: 1.5612, 0.50: 2.1794, 0.75: 2.6339}


def drop(depth: float) -> float:
    return float(np.sqrt(2 * R * depth - depth**2))


def ball(segments: int = 256) -> m3.Manifold:
    return m3.Manifold.sphere(R, segments)


def cylinder(height: float, radius: float, bottom: float, segments: int = 256) -> m3.Manifold:
    return m3.Manifold.cylinder(height, radius, radius, segments).translate((0, 0, bottom))


CAST = ball() + cylinder(8, 3, -10, 96)
BLOCKED = ball() + cylinder(5, R, -5)  # parallel block-out: the shadow of the ball


def clasp(tip_depth: float | None = 0.25, *, seat_gap: float = 0.0) -> m3.Manifold:
    """A rigid band above and below the equator with a rest over the top; on the +X side a tip that goes below by `tip_depth`."""
    band = cylinder(2.5, 6, -1.0) + cylinder(1.5, 1.5, 4.2, 64) + m3.Manifold.cube((12, 1.5, 1.5), True).translate((0, 0, 5.2))
    band = band + m3.Manifold.cube((1.5, 1.5, 4.0), True).translate((5.5, 0, 3.2))
    body = band.translate((0, 0, seat_gap)) - BLOCKED
    if tip_depth is not None:
        low = -drop(tip_depth)
        body = body + ((m3.Manifold.cube((3, 2, 0.6 - low), True).translate((4.5, 0, 0.5 * (0.6 + low)))) ^ cylinder(9, 6, -4)) - CAST
    return body


def tip_spec(planned: float = 0.25) -> TipSpec:
    return TipSpec("44", 44, planned, region=lambda p: (p[:, 0] > 3.4) & (np.abs(p[:, 1]) < 1.02) & (p[:, 2] < 0.61))


@pytest.fixture(scope="module")
def cast() -> Mesh:
    return Mesh.from_manifold(CAST)


@pytest.fixture(scope="module")
def good() -> Mesh:
    return Mesh.from_manifold(clasp())


def test_depth_on_a_sphere_is_the_closed_form(cast):
    z = np.concatenate([[-GAUGE_DROP[g] for g in (0.25, 0.5, 0.75)], [1.0, 3.0]])
    points = np.stack([np.sqrt(R**2 - z**2), 0 * z, z], axis=1)
    depth = entry_depth(Rays(cast), points, UP, horizontal_only=True)
    assert depth[:3] == pytest.approx([0.25, 0.50, 0.75], abs=0.005)
    assert (depth[3:] == 0).all()


@pytest.mark.parametrize("tilt", [5.0, 10.0, 15.0])
def test_depth_on_a_tilted_cylinder(tilt):
    """A point z down the wall is z sin(tilt) off the line through the rim, square to the path (z tan(tilt) for z along the path)."""
    post = Mesh.from_manifold(cylinder(20, 4, -20))
    path = Path(0.0, tilt)
    wall = np.array([[4.0, 0, -2.0], [4.0, 0, -4.0], [-4.0, 0, -2.0], [-4.0, 0, -4.0]])
    depth = entry_depth(Rays(post), wall, path.vector, horizontal_only=True)
    side = slice(0, 2) if path.vector[0] < 0 else slice(2, 4)
    other = slice(2, 4) if path.vector[0] < 0 else slice(0, 2)
    assert depth[side] == pytest.approx(np.array([2.0, 4.0]) * np.sin(np.radians(tilt)), abs=0.006)
    assert (depth[other] == 0).all()


def test_good_clasp_passes(good, cast):
    rigid = check_rigid(good, cast, UP, [tip_spec()])
    assert rigid.status == "pass", rigid
    tip = check_tip(good, Rays(cast), UP, tip_spec())
    assert tip.status == "pass" and tip.value == pytest.approx(0.25, abs=0.005)


def test_tip_left_out_of_the_list_is_a_rigid_fault(good, cast):
    """The same metal, not declared as flexible, must be caught, at its depth and at its place."""
    rigid = check_rigid(good, cast, UP, landmarks=Landmarks(np.array([[0.0, 0, 5]]), np.array([44])))
    assert rigid.status == "fail" and rigid.value == pytest.approx(0.25, abs=0.01)
    assert rigid.where.endswith("near 44") and rigid.place[0] > 4


@pytest.mark.parametrize("actual, passes", [(0.15, False), (0.21, False), (0.235, True), (0.27, True), (0.29, False), (0.5, False)])
def test_tip_depth_window(cast, actual, passes):
    framework = Mesh.from_manifold(clasp(actual))
    check = check_tip(framework, Rays(cast), UP, tip_spec())
    assert check.value == pytest.approx(actual, abs=0.006)
    assert (check.status == "pass") == passes


def test_tip_without_undercut_and_without_metal(cast):
    bare = Mesh.from_manifold(clasp(None))
    assert check_tip(bare, Rays(cast), UP, TipSpec("44", 44, 0.25, centre=np.array([5.0, 0, 0.5]), radius_mm=1.0)).status == "fail"
    missing = check_tip(bare, Rays(cast), UP, TipSpec("44", 44, 0.25, centre=np.array([50.0, 0, 0])))
    assert missing.status == "fail" and missing.value is None


@pytest.mark.parametrize(
    "fault",
    ["sideways", "pressed", "turned path", "swapped cast", "scaled", "band not blocked out", "speck in the way"],
)
def test_planted_faults(good, cast, fault):
    framework, stone, path, spec = good, cast, UP, [tip_spec()]
    if fault == "sideways":
        framework = Mesh(good.vertices + [0, 0.05, 0], good.faces)
    elif fault == "pressed":
        framework = Mesh(good.vertices - [0, 0, 0.05], good.faces)
    elif fault == "turned path":
        path = Path(3.0, 0.0).vector
    elif fault == "swapped cast":
        stone = Mesh.from_manifold(ball().scale((1.02, 1.0, 1.0)) + cylinder(8, 3, -10, 96))
    elif fault == "scaled":
        framework = Mesh(good.vertices * 0.99, good.faces)
    elif fault == "band not blocked out":
        framework = Mesh.from_manifold(clasp() + (cylinder(2, 5.5, -1.0) - CAST))
    elif fault == "speck in the way":
        stone = Mesh.from_manifold(CAST + m3.Manifold.cube((0.1, 0.1, 0.1), True).translate((-5.0, 0, 0.6)))
    check = check_rigid(framework, stone, path, spec)
    assert check.status == "fail" and check.value > 0.02, check
    assert check.place is not None


@pytest.mark.parametrize("shift", [0.0, 0.012])
def test_within_the_limit_passes(good, cast, shift):
    assert check_rigid(Mesh(good.vertices - [0, 0, shift], good.faces), cast, UP, [tip_spec()]).status == "pass"


def test_cusp_between_metal_points():
    """A thin spike of stone passes between the corners of one big metal face: only the cast's own points can tell."""
    plate = Mesh.from_manifold(m3.Manifold.cube((20, 20, 1), True).translate((0, 0, 3)))
    spike = Mesh.from_manifold(m3.Manifold.cube((20, 20, 2), True) + m3.Manifold.cylinder(3.2, 0.2, 0.01, 12).translate((0.13, 0.17, 0.5)))
    check = check_rigid(plate, spike, UP)
    assert check.status == "fail"
    assert check.place[:2] == pytest.approx([0.13, 0.17], abs=0.25)


def test_densified_points_cover_the_faces():
    box = Mesh.from_manifold(m3.Manifold.cube((6, 4, 2), True))
    points = densified(box, np.ones(len(box.faces), dtype=bool), 0.3)
    samples, _ = trimesh.sample.sample_surface(box.to_trimesh(), 2000, seed=3)
    gap = np.linalg.norm(samples[:, None] - points[None], axis=2).min(axis=1)
    assert gap.max() < 0.3
    assert box.to_trimesh().bounds == pytest.approx(np.array([points.min(axis=0), points.max(axis=0)]))


def catches_by_brute_force(framework: m3.Manifold, cast: m3.Manifold, path: np.ndarray, lift: float, steps: int) -> float:
    """Largest common volume over stepped lifts, mm3."""
    return max((framework.translate(tuple(path * t)) ^ cast).volume() for t in np.linspace(0, lift, steps))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31))
def test_random_bodies_agree_with_lifted_booleans(seed):
    """Random convex metal beside and above a crown, random path: caught exactly when some lifted copy shares volume with the cast."""
    rng = np.random.default_rng(seed)
    path = Path(*rng.uniform(-12, 12, 2)).vector
    metal = m3.Manifold.hull_points(rng.normal(0, 1.3, (12, 3)) + rng.uniform([-8, -8, -6], [8, 8, 8]))
    metal = metal - CAST  # seated metal never overlaps the cast; what counts is the travel
    if metal.is_empty() or metal.volume() < 0.5:
        return
    volume = catches_by_brute_force(metal, CAST, path, 22.0, 150)
    entries = rigid_entries(Mesh.from_manifold(metal), Mesh.from_manifold(CAST), path)
    deepest = entries.depth[0] if len(entries.depth) else 0.0
    if deepest > 0.1:
        assert volume > 0
    if volume > 1e-2:
        assert deepest > 0.02


def test_bending_over_the_lift_is_the_closed_form(good, cast):
    """A tip z below the equator, lifted by t, stands at z - t: bent by sqrt(R2 - (z - t)2) - sqrt(R2 - z2), most at the equator."""
    low = drop(0.25)
    lifts = np.array([0.0, 0.4, 0.8, 1.2, low, low + 0.5, low + 6.0])
    found = tip_travel(good, Rays(cast), UP, tip_spec(), [(np.eye(3), lift * np.asarray(UP)) for lift in lifts])
    expected = np.sqrt(R**2 - (low - lifts[:5]) ** 2) - np.sqrt(R**2 - low**2)
    assert found[:5] == pytest.approx(expected, abs=0.012)
    assert found[4] == pytest.approx(0.25, abs=0.01) and 0 < found[5] < 0.25 and found[-1] == 0
