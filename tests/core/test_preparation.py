"""Rest seats and guide planes: forms, laws and what they take, on blocks and cylinders whose answers are closed forms."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
from claspwright.core.errors import CaseError, GeometryError
from claspwright.core.mesh import Mesh
from claspwright.core.preparation import GuidePlaneSpec, RestSeatSpec, fit_ledge, floor_angle_deg, prepare, seat_field, seat_solid
from claspwright.core.preparation.prepare import Prepared
from claspwright.core.survey import Path, RayScene
from claspwright.core.teeth import Teeth, Tooth

KINDS = ["occlusal", "long", "embrasure", "cingulum", "ball", "incisal"]
UP, X, Y = np.eye(3)[2], np.eye(3)[0], np.eye(3)[1]


def seat(kind: str = "occlusal", **changes: object) -> RestSeatSpec:
    given: dict[str, object] = {"tooth": 46, "kind": kind, "point": np.zeros(3), "inward": X, "up": UP}
    given |= {"width_mm": 2.5, "length_mm": 2.6, "depth_mm": 1.2}
    return RestSeatSpec(**{**given, **changes})  # type: ignore[arg-type]


def barrel(radius: float = 4.0, bulge: float = 6.0, height: float = 6.0) -> tuple[Mesh, Teeth]:
    """A crown turned on a lathe: round across, its side an arc of radius `bulge`, furthest out at half height."""
    angle = np.arcsin(0.5 * height / bulge)
    side = np.linspace(-angle, angle, 97)
    profile = np.column_stack([radius - bulge + bulge * np.cos(side), bulge * np.sin(side) + 0.5 * height])
    outline = np.vstack([[0.0, 0.0], profile, [0.0, height]])
    mesh = Mesh.from_manifold(manifold3d.Manifold.revolve(manifold3d.CrossSection([outline]), 360))
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    margin = np.column_stack([profile[0, 0] * np.cos(turn), profile[0, 0] * np.sin(turn), np.zeros(60)])
    tooth = Tooth(46, margin, np.array([0, 0, 3.0]), UP, Y, X, np.array([[0, 0, height]]), np.arange(len(mesh.faces)))
    return mesh, Teeth("lower", np.full(len(mesh.vertices), 46), {46: tooth}, ())


@pytest.mark.parametrize("kind", KINDS)
def test_seats_are_closed_and_leave_no_undercut_and_no_vertical_wall(kind: str) -> None:
    path = Path(6.0, -4.0)
    spec = seat(kind, up=path.vector, point=np.array([3.0, 2.0, 1.0]))
    solid = seat_solid(spec)
    assert solid.is_closed and solid.volume > 0 and len(solid.to_manifold().decompose()) == 1
    local = (solid.triangles.mean(axis=1) - spec.point) @ spec.axes.T
    inner = (local[:, 2] < 3.5) & (local[:, 0] > -spec.reach_mm + 0.05) & (np.abs(local[:, 1]) < 3.4)
    if kind == "incisal":
        inner = (local[:, 2] < 3.5) & (np.abs(local[:, 1]) < 3.9) & (np.abs(local[:, 0]) < 3.3)
    facing = solid.face_normals[inner] @ path.vector
    assert inner.sum() > 500
    # Every part of floor and wall is seen from above, at a slope: 77 degrees at most, 80 in narrower or flared forms, 88 behind a ledge.
    steepest = {"cingulum": 88.0, "ball": 88.0, "long": 80.0, "embrasure": 80.0}.get(kind, 77.0)
    assert facing.max() < -np.cos(np.radians(steepest))


@pytest.mark.parametrize("kind", KINDS)
def test_field_and_solid_are_the_same_shape(kind: str) -> None:
    spec = seat(kind)
    rng = np.random.default_rng(1)
    points = rng.uniform([-0.8, -2, -2.5], [3, 2, 3], (3000, 3))
    value = seat_field(spec)(points)
    scene = RayScene(seat_solid(spec))
    inside = ~(scene.first_hit(points, -UP)[0] == np.inf) & scene.occluded(points, UP)
    clear = np.abs(value) > 0.05
    assert 0.1 < inside.mean() < 0.9
    assert np.array_equal(inside[clear], value[clear] < 0)


def test_occlusal_seat_in_a_flat_block() -> None:
    """On a flat top: width as asked at the ridge level is the outline's; deepest inside the ridge by 0.5; ridge lowered by the depth."""
    block = manifold3d.Manifold.cube((8, 8, 6)).translate((0, -4, -6))
    left = Mesh.from_manifold(block - seat_solid(seat()).to_manifold())
    scene = RayScene(left)
    x = np.linspace(0.02, 4, 200)
    depth = scene.first_hit(np.column_stack([x, 0 * x, 0 * x + 5]), -UP)[0] - 5.0
    assert depth[0] == pytest.approx(1.2, abs=0.03)
    assert depth.max() == pytest.approx(1.7, abs=0.03) and 0.8 < x[depth.argmax()] < 1.6
    assert 2.2 < x[depth > 1e-3].max() <= 2.75
    y = np.linspace(-3, 3, 601)
    across = scene.first_hit(np.column_stack([0 * y + 0.02, y, 0 * y + 5]), -UP)[0] - 5.0
    assert np.ptp(y[across > 1e-3]) == pytest.approx(2.5, abs=0.35)


def test_floor_falls_inward() -> None:
    assert floor_angle_deg(seat()) < 80.0
    assert floor_angle_deg(seat(length_mm=6.0)) < 90.0


def hollow(kind: str, **changes: object) -> RayScene:
    """A flat block, its top at the landmark, with a seat cut into it."""
    block = manifold3d.Manifold.cube((12, 12, 6)).translate((-4, -6, -6))
    return RayScene(Mesh.from_manifold(block - seat_solid(seat(kind, **changes)).to_manifold()))


def depths(scene: RayScene, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return scene.first_hit(np.column_stack([x, y, 0 * x + 5]), -UP)[0] - 5.0


def test_a_long_seat_falls_all_the_way_to_its_middle_and_no_further_than_asked() -> None:
    scene = hollow("long", length_mm=6.0, fall_mm=0.8)
    x = np.linspace(0.02, 6.5, 300)
    depth = depths(scene, x, 0 * x)
    assert depth[0] == pytest.approx(1.2, abs=0.03) and depth.max() == pytest.approx(2.0, abs=0.03)
    assert x[depth.argmax()] == pytest.approx(4.5, abs=0.3) and (np.diff(depth[x < 4.2]) > -1e-4).all()
    y = np.linspace(-3, 3, 601)
    assert np.ptp(y[depths(scene, 0 * y + 3.0, y) > 1e-3]) > 0.7 * 2.5  # a channel, not a point


def test_an_embrasure_seat_is_flared_over_the_ridge() -> None:
    y = np.linspace(-4, 4, 801)

    def width(kind: str, x: float) -> float:
        return float(np.ptp(y[depths(hollow(kind), 0 * y + x, y) > 1e-3]))

    assert width("embrasure", 1.2) == pytest.approx(width("occlusal", 1.2), abs=0.05)
    assert width("embrasure", -0.8) > width("occlusal", -0.8) + 0.8


@pytest.mark.parametrize("diameter", [1.5, 2.0])
def test_a_ball_seat_is_as_round_as_its_bur(diameter: float) -> None:
    """Floor of a sphere: depth at a distance d from the lowest place is less by r - sqrt(r^2 - d^2)."""
    r = 0.5 * diameter
    scene, centre = hollow("ball", width_mm=diameter, depth_mm=1.0), 1.0 - 0.5 * diameter
    d = np.linspace(0.0, 0.8 * r, 30)
    at = depths(scene, centre + 0 * d, d)
    assert np.allclose(at[0] - at, r - np.sqrt(r**2 - d**2), atol=0.03)
    y = np.linspace(-2, 2, 801)
    chord = 2.0 * np.sqrt(r**2 - (r - at[0]) ** 2)  # the ball is sunk by less than its radius
    assert np.ptp(y[depths(scene, centre + 0 * y, y) > 1e-3]) == pytest.approx(chord, abs=0.06)


def test_guide_plane_on_a_barrel_takes_the_sagitta_of_its_band() -> None:
    """A band h high on an arc of radius R needs a cut of R - sqrt(R^2 - h^2 / 4), and no more (circle)."""
    mesh, teeth = barrel()
    spec = GuidePlaneSpec(46, "mesial", Y, UP, height_mm=2.0)
    made = prepare(mesh, teeth, Path(), (), (spec,))
    sagitta = 6.0 - np.sqrt(36.0 - 1.0)
    assert made.cuts[0].deepest_mm == pytest.approx(sagitta, abs=0.02)
    assert made.mesh.is_closed and made.cuts[0].volume_mm3 == pytest.approx(mesh.volume - made.mesh.volume, abs=1e-3)
    # The band is parallel to the path and follows the crown round: same height across, not a flat slice.
    scene = RayScene(made.mesh)
    z = np.linspace(0.5, 5.5, 501)
    reach = []
    for shift in (-1.0, 0.0, 1.0):
        hit = 10.0 - scene.first_hit(np.column_stack([0 * z + shift, 0 * z + 10, z]), -Y)[0]
        flat = np.abs(hit - hit.max()) < 2e-3
        assert np.ptp(z[flat]) == pytest.approx(2.0, abs=0.25)
        reach.append(hit.max())
    drop = 4.0 - np.sqrt(16.0 - 1.0)  # of the round crown at 1 mm to the side
    assert reach[1] - 0.5 * (reach[0] + reach[2]) == pytest.approx(drop, abs=0.06)


def test_higher_planes_take_more_and_warn() -> None:
    mesh, teeth = barrel(bulge=4.0)
    cuts = [prepare(mesh, teeth, Path(), (), (GuidePlaneSpec(46, "mesial", Y, UP, height_mm=h),)).cuts[0] for h in (1.0, 2.0, 4.4)]
    assert cuts[0].deepest_mm < cuts[1].deepest_mm < cuts[2].deepest_mm
    assert not cuts[0].warning and "mm" in cuts[2].warning


def test_a_parallel_face_needs_no_cut() -> None:
    mesh, teeth = barrel(bulge=4000.0)
    cut = prepare(mesh, teeth, Path(), (), (GuidePlaneSpec(46, "mesial", Y, UP, height_mm=2.0),)).cuts[0]
    assert cut.deepest_mm < 0.01


def test_ledge_is_no_deeper_than_a_steep_face_allows() -> None:
    def wedge(degrees: float) -> Mesh:
        run = 8.0 / np.tan(np.radians(degrees))
        corners = [(x, y, z) for y in (-4.0, 4.0) for x, z in ((-2.0, -8.0), (9.0, -8.0), (9.0, 8.0), (run, 8.0), (0.0, 0.0))]
        return Mesh.from_manifold(manifold3d.Manifold.hull_points(np.array(corners)))

    spec = seat("cingulum", width_mm=2.8, length_mm=2.0, depth_mm=1.0)
    assert fit_ledge(spec, wedge(45.0)).depth_mm == 1.0
    steep = fit_ledge(spec, wedge(75.0))
    assert steep.depth_mm == pytest.approx(2.5 / np.tan(np.radians(75.0)) - 2.75 / 9.5, abs=0.05)  # run of face less run of wall
    assert fit_ledge(seat(), wedge(75.0)) == seat() or fit_ledge(seat(), wedge(75.0)).depth_mm == 1.2


def test_bad_input_is_refused() -> None:
    mesh, teeth = barrel()

    def with_seat(spec: RestSeatSpec) -> Prepared:
        return prepare(mesh, teeth, Path(), (spec,))

    for call, error, words in (
        (lambda: seat("molar"), GeometryError, "kind"),
        (lambda: seat(width_mm=0.1), GeometryError, "width_mm"),
        (lambda: seat(inward=UP), GeometryError, "parallel to the path"),
        (lambda: GuidePlaneSpec(46, "mesial", Y, UP, height_mm=0.0), GeometryError, "height_mm"),
        (lambda: with_seat(seat(tooth=11)), CaseError, "11"),
        (lambda: with_seat(seat(point=np.array([50.0, 0, 50]))), GeometryError, "does not meet its tooth"),
        (lambda: prepare(mesh, teeth, Path(), (), (GuidePlaneSpec(46, "mesial", Y, UP, height_mm=7.5),)), GeometryError, "lower"),
    ):
        with pytest.raises(error, match=words):
            call()


def test_seat_on_a_barrel_is_accounted_for() -> None:
    mesh, teeth = barrel()
    spec = seat(point=np.array([0.0, 2.9, 6.0]), inward=-Y)
    made = prepare(mesh, teeth, Path(), (spec,))
    assert made.cuts[0].volume_mm3 == pytest.approx(mesh.volume - made.mesh.volume, abs=1e-3)
    assert 1.0 < made.cuts[0].deepest_mm < 1.75 and made.mesh.is_closed
