"""The terms of a path against closed forms, the survey itself, and the guide planes that the preparation would cut."""

import manifold3d
import numpy as np
import pytest
from claspwright.core.case import MinorConnector
from claspwright.core.charts import ArchChart
from claspwright.core.errors import GeometryError
from claspwright.core.mesh import Mesh
from claspwright.core.planning.path_search_grid import CONE_DEG, SPACING_DEG, hexagon, path_of, plane_of, vectors
from claspwright.core.planning.path_search_guide import guide_surface, open_triangle, removal
from claspwright.core.planning.path_search_parts import Footprints, rigid_parts
from claspwright.core.planning.path_search_plan import PathPlan, plan_path
from claspwright.core.planning.path_search_rays import Samples, block_out_volume, depths, sample_surface
from claspwright.core.planning.path_search_score import values
from claspwright.core.planning.path_search_terms import evaluate
from claspwright.core.preparation.planes import GuidePlaneSpec, plan
from claspwright.core.survey import Path, RayScene, depth_at, space_under_rod, survey
from claspwright.core.teeth import Teeth, teeth_from_labels
from scipy.spatial import cKDTree

from .path_casts import direction, planted_cast

UP = np.array([[0.0, 0.0, 1.0]])
TILTS = np.array([[0.0, 0.0], [8.0, 0.0], [-5.0, 9.0], [0.0, -12.0], [11.0, 6.0]])


@pytest.fixture(scope="module")
def cast() -> tuple[Mesh, Teeth]:
    return planted_cast({fdi: direction(5.0, -4.0) for fdi in (33, 35, 44, 47)})


@pytest.fixture(scope="module")
def judged(cast) -> PathPlan:
    return plan_path(*cast)


def test_the_grid_covers_the_cone_evenly():
    grid = hexagon(CONE_DEG, SPACING_DEG)
    assert 1250 <= len(grid) <= 1270 and (grid[0] == 0).all() and np.hypot(*grid.T).max() <= CONE_DEG
    d = vectors(grid)
    nearest = cKDTree(d).query(d, k=2)[0][:, 1]
    apart = np.degrees(2.0 * np.arcsin(0.5 * nearest))
    assert apart.min() > 0.97 * SPACING_DEG and apart.max() < 1.01 * SPACING_DEG
    assert np.allclose(plane_of(d), grid, atol=1e-9)
    assert np.allclose([path_of(p).vector for p in grid[::50]], d[::50], atol=1e-12)


def test_a_place_in_the_tilt_plane_is_the_tilt_of_a_path():
    """To the right is the X side lowered, upward the front lowered: the signs of Path; on the axes even the same numbers."""
    assert np.allclose(plane_of(Path(7.0, 0.0).vector), [0.0, 7.0]) and np.allclose(plane_of(Path(0.0, -3.0).vector), [-3.0, 0.0])
    assert np.hypot(*plane_of(Path(6.0, 5.0).vector)) == pytest.approx(Path(6.0, 5.0).tilt_deg)


def _sphere_on_floor() -> Mesh:
    ball = manifold3d.Manifold.sphere(5.0, 200).translate((0.0, 0.0, 5.0))
    floor = manifold3d.Manifold.cube((12.0, 12.0, 2.0), True).translate((0.0, 0.0, -0.98))
    return Mesh.from_manifold(ball + floor)


def _frustum_on_floor() -> Mesh:
    cone = manifold3d.Manifold.cylinder(6.0, 4.0, 5.0, 256)
    return Mesh.from_manifold(cone + manifold3d.Manifold.cube((12.0, 12.0, 2.0), True).translate((0.0, 0.0, -1.0)))


@pytest.mark.parametrize(("mesh", "exact"), [(_sphere_on_floor(), np.pi * 125.0 / 3.0), (_frustum_on_floor(), 87.9646)])
def test_block_out_volume_of_closed_forms(mesh, exact):
    """Sphere on a floor: pi R^3 / 3; inverted frustum 5 over 4, 6 high: pi (25 - (25 + 20 + 16) / 3) 6 = 87.9646 mm3."""
    samples = sample_surface(mesh, np.arange(len(mesh.faces)), 0.05)
    found = block_out_volume(RayScene(mesh), samples, UP)[0]
    assert found == pytest.approx(exact, rel=0.012)


def test_block_out_takes_a_neighbours_shadow_into_account():
    """A wall leaning over a floor: along the wall nothing is hidden on its outer side; upright, the wedge under it is."""
    wall = manifold3d.Manifold.cube((2.0, 20.0, 9.0)).translate((-1.0, -10.0, 0.0))
    leaning = wall.transform(np.array([[1.0, 0.0, np.tan(np.radians(15.0)), 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]]))
    mesh = Mesh.from_manifold(leaning + manifold3d.Manifold.cube((12.0, 22.0, 2.0), True).translate((0.0, 0.0, -1.0)))
    samples = sample_surface(mesh, np.arange(len(mesh.faces)), 0.15)
    upright, along = block_out_volume(RayScene(mesh), samples, vectors([[0.0, 0.0], [-15.0, 0.0]]))
    assert upright == pytest.approx(20.0 * 0.5 * 81.0 * np.tan(np.radians(15.0)), rel=0.02) and along < 0.02 * upright


def test_depth_under_an_overhang_is_the_survey_s(cast, judged):
    """Against core.survey, whose own depth is proven against exact slices elsewhere, at tips and under rigid parts."""
    mesh, _ = cast
    d = vectors(TILTS)
    places = [t.samples for t in judged.tips] + [p.samples for p in judged.parts]
    points = Samples(*(np.concatenate([getattr(s, n) for s in places]) for n in ("points", "normals", "areas")))
    found = depths(judged.scene, points, d, np.array([0.0, -22.0, 22.0, -44.0, 44.0]))
    checked = 0
    for k, v in enumerate(d):
        exact = depth_at(survey(mesh, Path.from_vector(v), scene=judged.scene), points.points)
        deep = (exact > 0.02) & (exact < 3.5)
        error = found[deep, k] - exact[deep]
        checked += int(deep.sum())
        assert np.abs(error).mean() < 0.006 and error.max() < 0.05 and error.min() > -0.02
        assert (found[exact < 0.005, k] < 0.05).all() and (found[exact > 0.05, k] > 0.0).all()
    assert checked > 300


def test_an_undercut_that_only_the_tilt_makes_does_not_hold():
    """A crown with upright walls has no undercut; a tilted path sees one, but pull straight up does not meet it."""
    wall = manifold3d.Manifold.cylinder(8.0, 4.0, 4.0, 128).refine_to_length(0.6)
    lone = Mesh.from_manifold(manifold3d.Manifold.batch_boolean(
        [wall.translate((x, y, 0.0)) for x, y in ((-16.0, -11.0), (16.0, -11.0))]
        + [manifold3d.Manifold.cube((70.0, 60.0, 8.0), True).translate((0.0, -20.0, -4.0)).refine_to_length(2.0)],
        manifold3d.OpType.Add))  # fmt: skip
    labels = np.where(lone.vertices[:, 2] > 0.05, np.where(lone.vertices[:, 0] < 0, 34, 44), 0)
    teeth = teeth_from_labels(lone, "lower", labels, (35, 36, 37, 45, 46, 47))
    terms = evaluate(plan_path(lone, teeth), [[0.0, 0.0], [10.0, 0.0]])
    assert terms.undercut[0].max() < 0.02 and terms.undercut[1].max() > 0.2 and terms.held.max() < 0.02
    assert terms.shortfall == pytest.approx([0.25, 0.25], abs=0.02)


@pytest.mark.parametrize("lean", [2.0, 4.0, 7.0])
def test_enamel_of_a_flat_face_is_its_height_by_the_tangent(lean):
    """A plane leaning by an angle from the path: a band of height h parallel to the path costs h tan(angle) at its deepest."""
    mesh, teeth = planted_cast({34: direction(0.0, 0.0), 44: direction(0.0, 0.0)})
    surface = guide_surface(mesh, teeth[34], "distal", 2.0)
    outward = surface.axes[1]
    tilted = vectors(lean * np.array([[outward[0], outward[1]], [-outward[0], -outward[1]]]))
    found = removal(surface, np.vstack([UP, tilted]))
    assert found[0] < 0.01 and found[1:] == pytest.approx(2.0 * np.tan(np.radians(lean)), abs=0.02)


def test_enamel_and_open_triangle_against_the_preparation_and_the_probe(cast):
    """What the preparation would cut, and the space that the survey measures under the rod, at five tilts."""
    mesh, teeth = cast
    scene = RayScene(mesh)
    for fdi, side in ((33, "distal"), (44, "mesial")):
        surface = guide_surface(mesh, teeth[fdi], side, 2.5)
        d = vectors(TILTS)
        cuts, gaps = removal(surface, d), open_triangle(surface, d)
        for k, v in enumerate(d):
            cut = plan(GuidePlaneSpec(fdi, side, surface.axes[1], v, 2.5), teeth[fdi], mesh)
            core = np.abs(cut.across) <= surface.columns.max()
            assert cuts[k] == pytest.approx(float((cut.surface - cut.blade)[core].max()), abs=0.08)
            space = space_under_rod(survey(mesh, Path.from_vector(v), scene=scene), teeth[fdi].centre, surface.axes[1], teeth[fdi].margin)
            assert gaps[k] == pytest.approx(space.area_mm2, abs=0.12 + 0.1 * space.area_mm2)


def test_a_crown_without_height_is_refused(cast):
    mesh, teeth = cast
    flat = mesh.transformed(np.diag([1.0, 1.0, 0.1, 1.0]))
    small = teeth_from_labels(flat, "lower", np.asarray(teeth.labels), teeth.missing)
    with pytest.raises(GeometryError, match="no guide plane finds room"):
        guide_surface(flat, small[44], "mesial", 3.0)


def test_the_plan_of_a_scan_without_a_case_is_the_usual_one(judged):
    assert {s.name for s in judged.surfaces} == {"33 mesial", "33 distal", "35 mesial", "35 distal", "44 mesial", "44 distal", "47 mesial"}
    assert {t.fdi for t in judged.tips} == {33, 35, 44, 47} and all(t.gauge_mm == 0.25 for t in judged.tips)
    heights = {s.name: s.height_mm for s in judged.surfaces}
    assert heights["35 distal"] == pytest.approx(2.0) and heights["44 distal"] == pytest.approx(3.0)  # free end, bounded
    names = [p.name for p in judged.parts]
    assert "lingual bar" in names and "base behind 35" in names and "base between 44 and 47" in names


def test_same_cast_same_terms(cast, judged):
    again = evaluate(plan_path(*cast), TILTS)
    assert all(np.array_equal(getattr(again, n), v) for n, v in vars(evaluate(judged, TILTS)).items())
    assert all(v.shape == (len(TILTS),) and np.isfinite(v).all() and (v >= 0).all() for v in values(again).values())


def test_a_tooth_that_leans_to_the_tongue_stands_in_the_way():
    """A rigid part on the lingual face of a leaning crown must stand off, and a path that leans with it frees it again."""
    off = {}
    for lean in (0.0, 18.0):  # 44 stands at +X: a place to the right in the tilt plane leans to the tongue
        mesh, teeth = planted_cast({34: direction(0.0, 0.0), 44: direction(lean, 0.0)})
        plan = plan_path(mesh, teeth)
        brace = [p.name for p in plan.parts].index("bracing of 44, lingual")
        off[lean] = evaluate(plan, [[0.0, 0.0], [18.0, 0.0]]).stand_off[:, brace]
        exact = depth_at(survey(mesh, Path(), scene=plan.scene), plan.parts[brace].samples.points).mean()
        assert off[lean][0] == pytest.approx(exact, abs=0.01)
    assert off[18.0][0] > 4.0 * off[0.0][0] and off[18.0][1] < 0.4 * off[18.0][0]


def test_a_strut_from_the_cingulum_that_stands_near_another_has_an_arms_footprint(cast):
    """Under 5 mm apart (McCracken's, from memory) one is built as an arm of the other: the path is asked about no second way down."""
    mesh, teeth = cast
    on = Footprints.of(mesh, teeth, ArchChart(mesh, teeth, Path()))
    lone = MinorConnector("minor connector 33 lingual", 33, "lingual")
    beside = MinorConnector("minor connector 33 distal", 33, "distal")
    far = MinorConnector("minor connector 35 distal", 35, "distal")

    def footprint(*components: MinorConnector) -> np.ndarray:
        parts = {p.name: p.samples.points for p in rigid_parts(on, components, (), set())}
        return parts.get(lone.id, np.empty((0, 3)))

    alone, arm = footprint(lone), footprint(lone, beside)
    assert np.array_equal(footprint(lone, far), alone)
    assert alone[:, 2].min() < -0.5 and (len(arm) == 0 or arm[:, 2].min() > -0.5)  # nothing on the floor that the crowns stand on
