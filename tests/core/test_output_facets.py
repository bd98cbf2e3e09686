"""Refinement for light: finer where asked, the same surface, no cracks."""

import numpy as np
import pytest
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.output.facets import Facets, refine
from claspwright.core.output.normals import corner_normals

PLATE = trimesh.creation.box((40, 30, 4)).subdivide()
SHAPES = {
    "plate": Mesh(PLATE.vertices, PLATE.faces),
    "ball": Mesh(*(lambda t: (t.vertices, t.faces))(trimesh.creation.icosphere(2, 12.0))),
    "cone": Mesh(*(lambda t: (t.vertices, t.faces))(trimesh.creation.cone(10, 20, sections=24))),
}


def facets_of(mesh: Mesh) -> Facets:
    return Facets.of(mesh, np.linspace(0, 1, len(mesh.vertices), dtype=np.float32)[:, None].repeat(3, axis=1))


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("near", [3.0, 9.0, 100.0])
def test_the_surface_stays_and_closes(name, near):
    mesh = SHAPES[name]
    fine = refine(facets_of(mesh), mesh.vertices[:1] + 0.5, longest=1.0, near=near)
    after = Mesh(fine.vertices, fine.faces)
    assert len(after.faces) > len(mesh.faces)
    assert after.is_closed == mesh.is_closed is True
    assert after.volume == pytest.approx(mesh.volume, rel=1e-9)
    assert after.face_areas.sum() == pytest.approx(mesh.face_areas.sum(), rel=1e-9)
    assert np.allclose(fine.vertices[: len(mesh.vertices)], mesh.vertices)


def test_edges_near_the_other_part_are_short_and_far_ones_are_left():
    mesh = SHAPES["ball"]
    spot = np.array([[0.0, 0, 12]])
    fine = refine(facets_of(mesh), spot, longest=0.4, near=4.0)
    after = Mesh(fine.vertices, fine.faces)
    a, b = after.vertices[after.edges[:, 0]], after.vertices[after.edges[:, 1]]
    length, distance = np.linalg.norm(b - a, axis=1), np.linalg.norm((a + b) / 2 - spot, axis=1)
    assert length[distance < 4.0].max() <= 0.4
    far = np.linalg.norm(mesh.vertices[mesh.edges].mean(axis=1) - spot, axis=1) > 12
    old = {tuple(e) for e in mesh.edges[far]}
    assert old <= {tuple(e) for e in after.edges}


def test_shading_is_the_same_after_as_before():
    mesh = SHAPES["plate"]
    fine = refine(facets_of(mesh), mesh.vertices, longest=2.0)
    # On a box every corner normal is the normal of its face, and so it stays.
    assert np.allclose(fine.corners, Mesh(fine.vertices, fine.faces).face_normals[:, None], atol=1e-5)
    ball = SHAPES["ball"]
    fine = refine(facets_of(ball), ball.vertices, longest=1.5)
    points = fine.vertices[fine.faces]
    cosine = np.einsum("mkj,mkj->mk", fine.corners, points / np.linalg.norm(points, axis=2, keepdims=True))
    before = np.einsum("mkj,mkj->mk", corner_normals(ball), ball.triangles / 12.0)
    assert cosine.min() > before.min() - 0.002


def test_colours_are_interpolated():
    mesh = SHAPES["cone"]
    colours = (mesh.vertices / 40 + 0.5).astype(np.float32)
    fine = refine(Facets.of(mesh, colours), mesh.vertices, longest=1.0)
    assert np.allclose(fine.colours, fine.vertices / 40 + 0.5, atol=1e-5)


def test_with_nothing_near_nothing_changes():
    facets = facets_of(SHAPES["ball"])
    assert refine(facets, np.zeros((0, 3))) is facets
    assert len(refine(facets, np.array([[500.0, 0, 0]])).faces) == len(facets.faces)
