"""The insertion check against brute force by a general collision library (python-fcl: bounding-volume trees, triangle against triangle).

The framework is moved along the path in steps from seated to clear, and at each step asked whether any rigid triangle cuts the cast. A
seated framework touches the cast everywhere, so for the brute force the fitting side of its rigid part is taken back by the limit (0.02
mm along its normals): what still cuts the cast would enter it deeper than the limit. Faces along the seam that share a corner with the
polished side cannot be taken back wholly (1 to 3 mm2 of them still touch just above the seat, below 0.1 mm2 from 0.5 mm of lift on; the
faults below cut with 25 mm2 and more), hence a cut counts from 5 mm2 of cutting metal.
"""

import numpy as np
import pytest
from claspwright.core.case import load_case
from claspwright.core.checks import RIGID_LIMIT_MM, check_rigid
from claspwright.core.mesh import Mesh
from claspwright.core.pipeline import build

from . import planting as p
from .conftest import SAMPLES
from .test_scan_frameworks import made  # noqa: F401 (a fixture)

fcl = pytest.importorskip("fcl")
pytestmark = pytest.mark.slow

CUT_MM2 = 5.0
LIFTS = np.array([0.05, 0.15, 0.3, 0.6, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 11.0])


def tree(mesh: Mesh) -> "fcl.BVHModel":
    model = fcl.BVHModel()
    model.beginModel(len(mesh.vertices), len(mesh.faces))
    model.addSubModel(mesh.vertices, mesh.faces)
    model.endModel()
    return model


@pytest.fixture(scope="module")
def good(quick_lower):
    return quick_lower.checked


@pytest.fixture(scope="module")
def cast(good) -> "fcl.CollisionObject":
    return fcl.CollisionObject(tree(good.prepared), fcl.Transform())


def thinner_rigid_part(data, fitting: np.ndarray) -> Mesh:
    """What is left of the framework without its tips, every fitting face moved in by the limit.

    A vertex goes where all its fitting faces have moved in (least squares over their normals, each counting alike): by the mean normal
    alone it would slide along the smaller of them, and a rough scan has many of these.
    """
    mesh = data.framework
    soft = np.zeros(len(mesh.vertices), dtype=bool)
    for tip in data.tips:
        soft |= tip.mask(mesh)
    chosen = np.flatnonzero(fitting & (mesh.face_areas > 1e-7))
    faces, normals = mesh.faces[chosen], mesh.face_normals[chosen]
    matrix, aim = np.zeros((len(mesh.vertices), 3, 3)), np.zeros((len(mesh.vertices), 3))
    for corner in faces.T:
        np.add.at(matrix, corner, normals[:, :, None] * normals[:, None, :])
        np.add.at(aim, corner, -RIGID_LIMIT_MM * normals)
    count = np.bincount(faces.reshape(-1), minlength=len(mesh.vertices))
    matrix += 0.01 * np.maximum(count, 1)[:, None, None] * np.eye(3)  # along directions that no face asks for a vertex stays
    step = np.linalg.solve(matrix, aim[:, :, None])[:, :, 0]
    size = np.linalg.norm(step, axis=1, keepdims=True)
    thin = Mesh(mesh.vertices + step * np.minimum(1.0, 4.0 * RIGID_LIMIT_MM / np.maximum(size, 1e-12)), mesh.faces)
    return thin.submesh(~np.any(soft[thin.faces], axis=1))[0]


def cuts(data, cast, fitting: np.ndarray, least_mm2: float = CUT_MM2) -> list[float]:
    """Lifts at which the rigid metal cuts the cast."""
    part = thinner_rigid_part(data, fitting)
    metal = fcl.CollisionObject(tree(part), fcl.Transform())
    found = []
    for lift in LIFTS:
        metal.setTransform(fcl.Transform(np.eye(3), data.path * lift))
        seen = fcl.CollisionResult()
        fcl.collide(metal, cast, fcl.CollisionRequest(num_max_contacts=3000, enable_contact=True), seen)
        cutting = np.unique([contact.b1 for contact in seen.contacts]).astype(np.int64)
        if part.face_areas[cutting].sum() > least_mm2:
            found.append(float(lift))
    return found


def test_the_sample_goes_on_by_brute_force_too(good, cast):
    assert check_rigid(good.framework, good.prepared, good.path, good.tips, cast_scene=good.prepared_scene).status == "pass"
    assert cuts(good, cast, good.fitting) == []


def test_its_tips_do_not_go_on_without_bending(good, cast):
    """The same with the tips counted as rigid: they pass 0.25 mm of undercut on the way, and clear it before long."""
    stiff = p.replace(good, tips=())
    check = check_rigid(good.framework, good.prepared, good.path, (), cast_scene=good.prepared_scene)
    assert check.status == "fail" and check.value == pytest.approx(0.25, abs=0.03)
    found = [lift for lift in cuts(stiff, cast, good.fitting, 0.2) if lift > 0.5]
    assert len(found) > 2 and max(found) < 6.0
    assert [lift for lift in cuts(good, cast, good.fitting, 0.2) if lift > 0.5] == []


@pytest.mark.parametrize(
    "name, plant",
    [
        ("0.01 mm aside, within the limit", lambda d: p.moved(d, (0.008, 0, 0))),
        ("0.1 mm to the right", lambda d: p.moved(d, (0.1, 0, 0))),
        ("0.1 mm too deep", lambda d: p.moved(d, -0.1 * d.path)),
        ("0.3 mm too high: nothing is in its way", lambda d: p.moved(d, 0.3 * d.path)),
        ("path turned by 3 degrees to one side", lambda d: p.tilted(d, 3.0, 30)),
        ("path turned by 3 degrees to the back", lambda d: p.tilted(d, 3.0, 210)),
        ("a plate bent into its tooth", lambda d: p.part_lifted(d, "guide-plate-34", -0.15)),
        ("grown by 1 %", lambda d: p.scaled(d, 1.01)),
    ],
)
def test_both_say_the_same_of_a_framework_with_a_fault(good, cast, name, plant):
    data = plant(good)
    check = check_rigid(data.framework, data.prepared, data.path, data.tips, cast_scene=good.prepared_scene)
    assert (check.status == "fail") == bool(cuts(data, cast, good.fitting)), (name, check.words)


@pytest.mark.nightly
@pytest.mark.timeout(900)
def test_real_scans_agree_with_brute_force(made):  # noqa: F811 (the fixture)
    """Both ways of looking say the same of a framework on a real scan, as it is and with its tips counted as rigid."""
    data = made.checked
    stone = fcl.CollisionObject(tree(data.prepared), fcl.Transform())
    rigid = check_rigid(data.framework, data.prepared, data.path, data.tips, cast_scene=data.prepared_scene)
    found = cuts(data, stone, data.fitting)
    assert (rigid.status == "pass") == (found == [])
    stiff = p.replace(data, tips=())
    assert check_rigid(data.framework, data.prepared, data.path, (), cast_scene=data.prepared_scene).status == "fail"
    assert cuts(stiff, stone, data.fitting, 0.5) != []


@pytest.mark.nightly
@pytest.mark.timeout(900)
def test_the_upper_sample_goes_on_by_brute_force_too():
    data = build(load_case(SAMPLES / "upper_class_iii_mod_1" / "case.json")).checked
    stone = fcl.CollisionObject(tree(data.prepared), fcl.Transform())
    assert check_rigid(data.framework, data.prepared, data.path, data.tips, cast_scene=data.prepared_scene).status == "pass"
    assert cuts(data, stone, data.fitting) == []
    assert check_rigid(data.framework, data.prepared, data.path, (), cast_scene=data.prepared_scene).status == "fail"
    assert cuts(p.replace(data, tips=()), stone, data.fitting, 0.5) != []
