"""Fit, thickness, borders, mass and the whole run, on a small synthetic case with planted faults.

The case: a block with two crowns (spheres on posts, radius 4 mm, 36 mm apart). The framework: a bar, two rests in flat seats, two struts
and two bands with one retentive tip each, cut out of the master cast by a boolean, as the real one is. Closed forms: plates, wedges,
half-round rods; oracles: trimesh (closest points, volume), manifold3d (booleans).
"""

from dataclasses import replace

import manifold3d as m3
import numpy as np
import pytest
import trimesh
from claspwright.core.checks import (
    CheckInput,
    Region,
    TipSpec,
    check_feather_edges,
    check_fitting_surface,
    check_margin_distance,
    check_mass,
    check_overlap,
    check_thickness,
    face_gaps,
    local_thickness,
    region_from_solid,
    run_checks,
    worst,
)
from claspwright.core.checks.borders import interior_angles
from claspwright.core.checks.run import solid_checks
from claspwright.core.errors import GeometryError
from claspwright.core.mechanics import MATERIALS
from claspwright.core.mesh import Mesh

UP = np.array([0.0, 0.0, 1.0])
R, X = 4.0, 18.0
DROP = float(np.sqrt(2 * R * 0.25 - 0.25**2))  # 0.25 mm of undercut on a sphere of 4 mm: 1.3919 mm below the equator (check case 8)
COCR = MATERIALS["cocr_cast"]


def box(size, at) -> m3.Manifold:
    return m3.Manifold.cube(size, True).translate(at)


def rod(height, radius, bottom, x=0.0, segments=128) -> m3.Manifold:
    return m3.Manifold.cylinder(height, radius, radius, segments).translate((x, 0, bottom))


def build_case(*, tip=0.25, rest=1.4, bar_gap=1.5, sink=0.0):
    """(framework, prepared cast, master cast, parts) as manifolds; z = 0 is the equator of the crowns, the tissue lies at z = -5."""
    cast, blockout, metal, tips = box((50, 16, 6), (0, 0, -8)), m3.Manifold(), m3.Manifold(), m3.Manifold()
    rests = m3.Manifold()
    for side in (-1, 1):
        x = side * X
        crown = m3.Manifold.sphere(R, 160).translate((x, 0, 0)) + rod(6, 2.4, -6, x)
        cast += crown - box((3, 3, 2), (x, 0, 4.0))  # seat: flat floor at z = 3
        blockout += rod(5, R, -5.0, x, 160)
        rests += box((3.2, 3.2, rest), (x, 0, 3.0 + rest / 2 - 0.1 - sink))
        ring = rod(1.2, R + 0.9, 0.0, x, 160)
        arm = box((R + 0.9 - 1.0, 3.0, 1.2), (x - side * (1.0 + (R + 0.9 - 1.0) / 2), 0, 3.6))
        drop = box((1.2, 3.0, 3.6 + 0.6), (x - side * (R + 0.5), 0, 2.1))
        metal += ring + arm + drop
        # Bar end: from the tissue side of the band inward to the bar.
        metal += box((5.4, 3.0, 5.0 - bar_gap), (x - side * (R + 3.1), 0, -5 + bar_gap + (5.0 - bar_gap) / 2 + 0.6))
        low = -float(np.sqrt(2 * R * tip - tip**2))
        tips += box((2.0, 1.6, 0.6 - low), (x + side * R, 0, (0.6 + low) / 2)) ^ rod(6, R + 0.8, -4, x, 160)
    bar = box((2 * X - 2 * R - 7.5, 4.0, 2.0), (0, 0, -5 + bar_gap + 1.0))
    body = (metal + rests + bar) - (cast + blockout)
    body = body + (tips - cast)
    if sink:
        body += rests
    return body, cast, cast + blockout - tips, {"bar": bar, "rests": rests}


def tip_at(side: int, planned=0.25) -> TipSpec:
    def region(p):
        return (side * p[:, 0] > X + R - 1.1) & (np.abs(p[:, 1]) < 0.81) & (p[:, 2] < 0.61)

    return TipSpec("44" if side > 0 else "34", 44 if side > 0 else 34, planned, region)


def margins():
    phi = np.linspace(0, 2 * np.pi, 40)
    ring = np.stack([2.4 * np.cos(phi), 2.4 * np.sin(phi), np.full(40, -5.0)], axis=1)
    return {34: ring - [X, 0, 0], 44: ring + [X, 0, 0]}


def check_input(**kwargs) -> CheckInput:
    body, cast, master, parts = build_case(**kwargs)
    framework = Mesh.from_manifold(body)
    regions = (
        Region("bar", "bar", region_from_solid(framework, Mesh.from_manifold(parts["bar"]))),
        Region("rests", "rest", region_from_solid(framework, Mesh.from_manifold(parts["rests"]))),
    )
    return CheckInput(
        framework,
        UP,
        "lower",
        Mesh.from_manifold(cast),
        Mesh.from_manifold(master),
        tips=(tip_at(-1), tip_at(1)),
        regions=regions,
        margins=margins(),
        teeth={34: np.array([-X, 0, 0]), 44: np.array([X, 0, 0])},
    )


@pytest.fixture(scope="module")
def good() -> CheckInput:
    return check_input()


@pytest.fixture(scope="module")
def good_checks(good):
    return run_checks(good)


def failed(checks) -> set[str]:
    return {c.id for c in checks if c.status == "fail"}


def test_good_case_has_no_failure(good_checks):
    assert failed(good_checks) == set(), [c for c in good_checks if c.status == "fail"]
    assert not [c for c in good_checks if c.status == "skip"]
    by_id = {c.id: c for c in good_checks}
    assert by_id["insertion.tip.44"].value == pytest.approx(0.25, abs=0.01)
    assert by_id["fit.surface"].value < 1e-4
    assert len(by_id) == len(good_checks)  # each id once
    assert all(c.source and c.words for c in good_checks)


def test_plain_dictionaries_for_the_build_file(good_checks):
    import json

    again = json.loads(json.dumps([c.as_dict() for c in good_checks], allow_nan=False))
    assert {"id", "status", "value", "limit", "unit", "where", "source"} <= set(again[0])


@pytest.mark.parametrize(
    "kwargs, caught",
    [
        ({"tip": 0.40}, {"insertion.tip.34", "insertion.tip.44"}),
        ({"tip": 0.10}, {"insertion.tip.34", "insertion.tip.44"}),
        ({"rest": 0.45}, {"form.thickness.rests"}),
        ({"sink": 0.2}, {"insertion.rigid", "fit.overlap"}),
    ],
)
def test_faults_in_the_design(kwargs, caught, good_checks):
    checks = run_checks(check_input(**kwargs))
    assert caught <= failed(checks), checks


def moved(data: CheckInput, vertices) -> CheckInput:
    return replace(data, framework=Mesh(vertices, data.framework.faces))


def test_fault_framework_lifted(good):
    checks = run_checks(moved(good, good.framework.vertices + [0, 0, 0.05]))
    assert {"fit.surface", "fit.rest.rests"} <= failed(checks)


def test_fault_framework_moved_sideways(good):
    checks = run_checks(moved(good, good.framework.vertices + [0.06, 0, 0]))
    assert {"insertion.rigid", "fit.overlap", "fit.surface"} <= failed(checks)


def test_fault_path_turned(good):
    a = np.radians(3)
    checks = run_checks(replace(good, path=np.array([np.sin(a), 0, np.cos(a)])))
    assert "insertion.rigid" in failed(checks)


def test_fault_wrong_cast(good):
    other = Mesh(good.master.vertices + [0, 40, 0], good.master.faces)
    checks = run_checks(replace(good, master=other))
    assert failed(checks) == {"fit.gaps", "fit.surface"}


def test_fault_scale_and_hole_stop_the_measuring(good):
    for broken in (
        Mesh(good.framework.vertices * 0.001, good.framework.faces),
        Mesh(good.framework.vertices, good.framework.faces[:-1]),
    ):
        skipped = (Region("bar", "bar", np.ones(len(broken.vertices), dtype=bool)),)
        checks = run_checks(replace(good, framework=broken, regions=skipped))
        assert worst(checks) == "fail"
        assert {c.status for c in checks if c.id in ("insertion.rigid", "fit.surface")} == {"skip"}


def test_missing_casts_are_skipped_not_passed(good):
    checks = {c.id: c for c in run_checks(replace(good, prepared=None, master=None))}
    assert {checks[k].status for k in ("insertion.rigid", "fit.surface", "fit.overlap")} == {"skip"}


def test_wrong_input_is_named(good):
    with pytest.raises(GeometryError, match="region bar"):
        replace(good, regions=(Region("bar", "bar", np.ones(3, dtype=bool)),))
    with pytest.raises(GeometryError, match="arch"):
        replace(good, arch="middle")


# Fit.


def test_face_gaps_against_closest_points(good):
    gaps = face_gaps(good.framework, good.master)
    touching = gaps.touching()
    some = np.linspace(0, len(touching) - 1, 300).astype(int)
    centres = good.framework.triangles[touching[some]].mean(axis=1)
    _, distance, _ = trimesh.proximity.closest_point_naive(good.master.to_trimesh(), centres)
    assert np.quantile(np.abs(np.abs(gaps.gap[touching[some]]) - distance), 0.99) < 1e-4
    lifted = Mesh(good.framework.vertices + [0, 0, 0.02], good.framework.faces)
    centre = good.framework.triangles.mean(axis=1)
    seat = np.flatnonzero(
        (np.abs(centre[:, 2] - 3.0) < 1e-4) & (np.abs(np.abs(centre[:, 0]) - X) < 1.0) & (good.framework.face_normals[:, 2] < -0.99)
    )
    assert face_gaps(lifted, good.master).gap[seat] == pytest.approx(np.full(len(seat), 0.02), abs=1e-4)


def test_overlap_volume_and_place():
    plate = Mesh.from_manifold(box((10, 10, 1), (0, 0, 0.5)))
    cast = Mesh.from_manifold(box((30, 30, 10), (0, 0, -5)) + box((2, 3, 1), (3, 1, 0.0)))
    check = check_overlap(plate, cast)
    assert check.status == "fail" and check.value == pytest.approx(2 * 3 * 0.5, rel=1e-3)
    assert check.place[:2] == pytest.approx((3, 1), abs=0.3)
    assert check_fitting_surface(plate, cast).status == "pass"  # the rest of the underside still lies on it
    assert check_overlap(plate, Mesh.from_manifold(box((30, 30, 10), (0, 0, -5)))).status == "pass"


# Thickness.


@pytest.mark.parametrize("thick", [0.3, 0.5, 1.0, 2.0])
def test_thickness_of_a_plate(thick):
    plate = Mesh.from_manifold(box((30, 20, thick), (0, 0, 0)).rotate((10, 20, 30)))
    value = local_thickness(plate).value
    assert np.quantile(value, [0.1, 0.5]) == pytest.approx([thick, thick], abs=0.03)


def test_thickness_of_a_tapered_half_round_rod():
    """The largest circle in a half-disc of radius r has diameter r."""
    body = m3.Manifold.cylinder(20, 1.0, 0.5, 96).rotate((0, 90, 0)).trim_by_plane((0, 0, 1), 0)
    found = local_thickness(Mesh.from_manifold(body))
    radius = 1.0 - 0.025 * found.points[:, 0]
    top = (found.points[:, 2] > 0.85 * radius) & (found.points[:, 0] > 1) & (found.points[:, 0] < 19)
    assert np.median(found.value[top] / radius[top]) == pytest.approx(1.0, abs=0.03)


def test_thickness_of_a_thinned_bar_is_found_where_it_is():
    whole = box((30, 4, 2), (0, 0, 0)) - box((6, 6, 2), (8, 0, 0.3))  # 0.3 mm left between x = 5 and 11
    mesh = Mesh.from_manifold(whole)
    found = local_thickness(mesh)
    neck = (np.abs(found.points[:, 0] - 8) < 2.0) & (np.abs(found.points[:, 1]) < 1.5)
    assert found.value[neck] == pytest.approx(np.full(neck.sum(), 0.3), abs=0.03)
    assert np.median(found.value[np.abs(found.points[:, 0] + 8) < 4]) == pytest.approx(2.0, abs=0.05)
    check = check_thickness(mesh, found, Region("bar", "bar", np.ones(len(mesh.vertices), dtype=bool)))
    assert check.status == "fail" and check.value == pytest.approx(0.3, abs=0.03) and 5 < check.place[0] < 11


# Borders, mass.


def test_interior_angles_of_known_solids():
    angle, length, _ = interior_angles(Mesh.from_manifold(m3.Manifold.cube((1, 2, 3))))
    assert sorted(set(np.round(angle).astype(int))) == [90, 180]
    assert length[np.abs(angle - 90) < 1].sum() == pytest.approx(4 * (1 + 2 + 3))
    groove = m3.Manifold.cube((4, 4, 4), True) - m3.Manifold.cube((2, 6, 4), True).translate((0, 0, 3))
    assert np.isclose(interior_angles(Mesh.from_manifold(groove))[0], 270, atol=1).any()


@pytest.mark.parametrize("height, sharp", [(1.0, True), (3.0, True), (8.0, False)])
def test_feather_edge_of_a_wedge(height, sharp):
    """A wedge 10 mm long, 12 mm wide: its edge has the angle atan(height / 10)."""
    wedge = m3.Manifold.hull_points(np.array([[x, y, z] for x, z in ((0, 0), (10, 0), (0, height)) for y in (0.0, 12.0)]))
    check = check_feather_edges(Mesh.from_manifold(wedge))
    assert (check.status == "warn") == sharp
    assert check.value == pytest.approx(12.0 if sharp else 0.0, abs=1e-6)
    if sharp:
        assert check.place[0] == pytest.approx(10, abs=0.1)


@pytest.mark.parametrize("height, sharp", [(3.0, True), (8.0, False)])
def test_needles_neither_hide_a_feather_edge_nor_make_one(height, sharp):
    """The same wedge with a corner set on its edge, 0.00001 mm off the line, which makes a needle of a triangle."""
    wedge = Mesh.from_manifold(m3.Manifold.hull_points(np.array([[x, y, z] for x, z in ((0, 0), (10, 0), (0, height)) for y in (0, 12.0)])))
    (start, end) = np.flatnonzero(wedge.vertices[:, 0] > 9.9)
    at = [k for k, f in enumerate(wedge.faces) if {start, end} <= set(f)]
    assert len(at) == 2
    middle = len(wedge.vertices)
    vertices = np.vstack([wedge.vertices, [10.0 - 1e-5, 6.0, 1e-6]])
    faces = [f for k, f in enumerate(wedge.faces) if k != at[0]]
    a, b, c = next(np.roll(wedge.faces[at[0]], -r) for r in range(3) if {*np.roll(wedge.faces[at[0]], -r)[:2]} == {start, end})
    faces += [(a, middle, c), (middle, b, c), (a, b, middle)]
    check = check_feather_edges(Mesh(vertices, np.array(faces)))
    assert check.value == pytest.approx(12.0 if sharp else 0.0, abs=0.01)


@pytest.mark.parametrize("gap, status", [(5.0, "pass"), (3.4, "warn"), (2.0, "fail")])
def test_distance_of_a_bar_to_the_margin(gap, status):
    bar = Mesh.from_manifold(box((30, 2, 4), (0, 0, -2)))
    line = np.stack([np.linspace(-10, 10, 60), np.ones(60), np.full(60, gap)], axis=1)
    check = check_margin_distance(bar, np.ones(len(bar.vertices), dtype=bool), "bar", {34: line}, "lower")
    assert check.value == pytest.approx(gap, abs=0.05)
    assert check.status == status and "34" in check.words


@pytest.mark.parametrize("side, status", [(4.0, "fail"), (6.0, "warn"), (8.0, "pass"), (12.0, "warn"), (20.0, "fail")])
def test_mass_window(side, status):
    check = check_mass(Mesh.from_manifold(m3.Manifold.cube((side, side, side))), COCR)
    assert check.status == status and check.value == pytest.approx(side**3) and " g of " in check.words


def test_solid_checks_accept_an_empty_mesh():
    empty = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int))
    assert "solid.watertight" in failed(solid_checks(empty, check_input().landmarks))
