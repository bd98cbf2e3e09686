"""The arms of the samples as built, by the program's beam and by solid elements of a general finite-element library (scikit-fem).

The library knows nothing of beams: 27-node bricks of the half-round solid swept along the arm, built in at its root, pulled at its tip.
Also here, because it needs the samples: that every arm is analysed (how fast says `make bench`).
"""

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from claspwright.core.blockout import block_out
from claspwright.core.case import load_case
from claspwright.core.charts import ArchChart, CrownChart
from claspwright.core.checks import check_mechanics
from claspwright.core.components import Site, build_components
from claspwright.core.mechanics import CaseInput, ClaspArm, analyse, beam_of, bend_frame, half_round, sections
from claspwright.core.pipeline.build import mark_teeth, read_cast
from claspwright.core.pipeline.mechanics import case_input, framework_material
from claspwright.core.pipeline.preparing import prepare_mouth
from claspwright.core.survey import Path as PlacementPath
from claspwright.core.survey import survey
from scipy.spatial import cKDTree

skfem = pytest.importorskip("skfem")

SAMPLES = Path(__file__).resolve().parents[2] / "sample_scenes"
WITHIN = 0.10


@lru_cache(maxsize=2)
def sample(name: str) -> CaseInput:
    """What the mechanics see of a sample case, without a framework; palatal straps, slow to build and touching no arm, are left out."""
    case = load_case(SAMPLES / name / "case.json")
    case = replace(case, components=tuple(c for c in case.components if c.kind != "palatal_straps"))
    cast = read_cast(case)
    teeth = mark_teeth(case, cast)
    path = PlacementPath(case.path.anteroposterior_deg, case.path.lateral_deg)
    found = survey(cast.mesh, path, np.asarray(teeth.labels, dtype=np.int64))
    charts = {fdi: CrownChart(cast.mesh, tooth, found) for fdi, tooth in teeth.teeth.items()}
    prepared, _ = prepare_mouth(case, cast.mesh, teeth, path)
    blocked = block_out(prepared.mesh, path, step_mm=0.25)
    site = Site(cast.mesh, prepared.mesh, blocked, teeth, charts, ArchChart(cast.mesh, teeth, path), path)
    return case_input(case, build_components(case, site), site, framework_material(case)[0])


def bricks(arm: ClaspArm, across: int = 6, high: int = 3, along: int = 30):
    """The bending part of an arm in bricks, and the cross-section number of each corner. A half disc is mapped from a rectangle."""
    at = np.linspace(arm.free_mm, arm.length_mm, along + 1)

    def on_line(values):
        return np.stack([np.interp(at, arm.station, values[:, i]) for i in range(3)], axis=1)

    points, normals = on_line(arm.points), on_line(arm.normals)
    tangent = np.gradient(points, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normals -= tangent * np.einsum("ij,ij->i", normals, tangent)[:, None]
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    side = np.cross(tangent, normals)
    width, height = (np.interp(at, arm.station, v) for v in (arm.width, arm.thickness))
    mesh = skfem.MeshHex.init_tensor(np.linspace(-1, 1, across + 1), np.linspace(0, 1, high + 1), np.arange(along + 1.0))
    p, q, k = mesh.p
    k = k.round().astype(int)
    u, v = p * np.sqrt(1 - q * q / 2), q * np.sqrt(1 - p * p / 2)
    place = points[k] + side[k] * (u * width[k] / 2)[:, None] + normals[k] * (v * height[k])[:, None]
    return skfem.MeshHex(place.T.copy(), mesh.t), k


def solved(arm: ClaspArm, direction: np.ndarray):
    """Stiffness at the tip (N/mm), and the greatest von Mises stress of each cross-section for one newton (MPa)."""
    from skfem.models.elasticity import lame_parameters, linear_elasticity

    mesh, k = bricks(arm)
    material = arm.material
    element = skfem.ElementVector(skfem.ElementHex2())
    basis = skfem.Basis(mesh, element, intorder=4)
    lam, mu = lame_parameters(material.modulus_mpa, material.poisson)
    matrix = skfem.asm(linear_elasticity(lam, mu), basis)
    border = mesh.boundary_facets()
    tip, root = (border[np.all(k[mesh.facets[:, border]] == end, axis=0)] for end in (k.max(), 0))
    face = skfem.FacetBasis(mesh, element, facets=tip, intorder=4)
    area = skfem.asm(skfem.Functional(lambda w: 1.0 + 0.0 * w.x[0]), face)
    load = skfem.asm(skfem.LinearForm(lambda v, w: sum(direction[i] * v[i] for i in range(3)) / area), face)
    moved = skfem.solve(*skfem.condense(matrix, load, D=basis.get_dofs(root).all()))
    return 1.0 / float(load @ moved), _section_stress(mesh, element, moved, k, lam, mu)


def _section_stress(mesh, element, moved, k, lam, mu):
    """Stress tensors at the corners of the bricks, averaged where bricks meet."""
    corners = np.array([[0, 1, 0, 0, 1, 1, 0, 1], [0, 0, 1, 0, 1, 0, 1, 1], [0, 0, 0, 1, 0, 1, 1, 1]], dtype=float)
    basis = skfem.Basis(mesh, element, quadrature=(corners, np.ones(8) / 8))
    slope = basis.interpolate(moved).grad
    strain = 0.5 * (slope + np.swapaxes(slope, 0, 1))
    stress = 2 * mu * strain
    trace = strain[0, 0] + strain[1, 1] + strain[2, 2]
    for i in range(3):
        stress[i, i] += lam * trace
    spots = np.asarray(basis.global_coordinates()).reshape(3, -1).T
    _, corner = cKDTree(mesh.p.T).query(spots)
    count = np.bincount(corner, minlength=mesh.p.shape[1])
    s = np.array([[np.bincount(corner, weights=stress[i, j].ravel(), minlength=len(count)) / count for j in range(3)] for i in range(3)])
    normal = (s[0, 0] - s[1, 1]) ** 2 + (s[1, 1] - s[2, 2]) ** 2 + (s[2, 2] - s[0, 0]) ** 2
    mises = np.sqrt(0.5 * normal + 3 * (s[0, 1] ** 2 + s[1, 2] ** 2 + s[0, 2] ** 2))
    return np.array([mises[k == i].max() for i in range(k.max() + 1)])


def by_beam(arm: ClaspArm, direction: np.ndarray):
    """The same from the program's beam, loaded at the centroid of its tip."""
    frame, at = beam_of(arm)
    bent = bend_frame(frame, at, at[-1:], direction[None], frame.nodes[-1:], np.array([0.0, 0.0, 1.0]))
    stress = bent.stress(np.ones((1, 1)), np.zeros((1, 1)))[0]
    return bent.tip_stiffness, np.interp(np.linspace(at[0], at[-1], 31), bent.middle, stress)


@pytest.mark.slow
@pytest.mark.parametrize("name, arm_id", [("lower_class_i", "I-bar 34"), ("upper_class_iii_mod_1", "retentive arm 17")])
def test_beam_against_solid_elements_of_the_modelled_arm(name, arm_id):
    clasp = next(c for c in sample(name).clasps if c.id == arm_id)
    out = clasp.outward[clasp.profile.lead]
    stiffness, stress = solved(clasp.arm, out)
    ours, along = by_beam(clasp.arm, out)
    assert ours == pytest.approx(stiffness, rel=WITHIN)
    # The clamped end and the loaded face carry stresses of their own: compared from the fifth section to the last but four.
    inner = slice(4, -4)
    assert along[inner].max() == pytest.approx(stress[inner].max(), rel=WITHIN)
    assert np.median(np.abs(along[inner] / stress[inner] - 1)) < WITHIN


@pytest.mark.slow
@pytest.mark.parametrize("name, count", [("lower_class_i", 2), ("upper_class_iii_mod_1", 4)])
def test_every_arm_of_the_samples_is_analysed(name, count):
    data = sample(name)
    assert len(data.clasps) == count and data.remarks == ()
    found = analyse(data)
    checks = {c.id: c for c in check_mechanics(found)}
    assert sum(i.startswith("arm.stress.") for i in checks) == count
    for clasp, given in zip(found.clasps, data.clasps, strict=True):
        assert given.profile.depth == pytest.approx(given.undercut_mm, abs=0.04)  # measured on the scan, not taken from the plan
        assert clasp.peak.low < clasp.peak.likely < clasp.peak.high
        assert 0.5 * clasp.length_mm < clasp.bending_mm <= clasp.length_mm  # an arm that starts on the face of a plate bends all along
    if name == "lower_class_i":  # mesial rests: as the RPI clasp is meant to, both tips leave the tooth when a base sinks
        assert {t.word for s in found.sinkings for t in s.tips} == {"releases"}


def test_torsion_of_half_rounds_by_the_membrane_analogy():
    """Saint-Venant: lap phi = -2, J = 2 integral of phi, shear = slope of phi; solved on the half-ellipse by triangles."""
    for width, height in ((2.0, 1.0), (1.6, 0.8), (2.2, 0.8), (1.4, 0.9)):
        mesh = skfem.MeshTri.init_tensor(np.linspace(-1, 1, 41), np.linspace(0, 1, 21))
        p, q = mesh.p
        mesh = skfem.MeshTri(np.array([p * np.sqrt(1 - q * q / 2) * width / 2, q * np.sqrt(1 - p * p / 2) * height]), mesh.t)
        basis = skfem.Basis(mesh, skfem.ElementTriP2())
        stiff = skfem.asm(skfem.BilinearForm(lambda u, v, _: u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1]), basis)
        load = skfem.asm(skfem.LinearForm(lambda v, _: 2.0 * v), basis)
        phi = skfem.solve(*skfem.condense(stiff, load, D=basis.get_dofs().all()))
        torsion = float(load @ phi)
        slope = basis.interpolate(phi).grad
        shear = float(np.hypot(slope[0], slope[1]).max())
        ours = sections("half_round", width, height)
        assert ours.torsion[0] == pytest.approx(torsion, rel=0.05)
        assert ours.twist_radius[0] == pytest.approx(shear, rel=0.12)
    assert half_round(1.0).torsion == pytest.approx(0.2976, rel=0.03)  # Roark: 0.2976 r^4 for a half circle, from memory
