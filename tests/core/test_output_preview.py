"""The preview page: the meshes in it are the meshes that went in, as far as its coarse numbers allow."""

import base64
import json
import re

import numpy as np
import pytest
import trimesh
from claspwright.core.errors import GeometryError
from claspwright.core.mesh import Mesh
from claspwright.core.output import Part, preview_html
from claspwright.core.output.preview import _shares
from claspwright.core.output.scene import Body
from claspwright.core.output.simplify import simplify


def mesh_of(t: trimesh.Trimesh) -> Mesh:
    return Mesh(t.vertices, t.faces)


BALL = mesh_of(trimesh.creation.icosphere(5, 10.0))
RING = mesh_of(trimesh.creation.torus(20.0, 1.5, major_sections=96, minor_sections=32))
BLOCK = mesh_of(trimesh.creation.box((30, 20, 10)))


def scene_of(html: str) -> dict:
    return json.loads(re.search(r'<script type="application/json" id="scene">(.*?)</script>', html, re.S).group(1))


def unpack(scene: dict, part: dict) -> tuple[trimesh.Trimesh, np.ndarray]:
    """The mesh a browser would draw, and its normals."""
    points = np.frombuffer(base64.b64decode(part["points"]), "<u2").reshape(-1, 3)
    normals = np.frombuffer(base64.b64decode(part["normals"]), "i1").reshape(-1, 4)
    faces = np.frombuffer(base64.b64decode(part["faces"]), "<u4" if part["wide"] else "<u2").reshape(-1, 3)
    assert len(points) == len(normals)
    where = np.array(scene["low"]) + points / 65535 * scene["size"]
    return trimesh.Trimesh(where, faces, process=False), normals


def test_meshes_arrive_within_a_step_of_their_numbers():
    parts = [Part("cast", BALL), Part("framework", RING, "metal"), Part("block", BLOCK, "wax")]
    scene = scene_of(preview_html(parts))
    assert [p["name"] for p in scene["parts"]] == ["cast", "framework", "block"]
    for part, packed in zip(parts, scene["parts"], strict=True):
        seen, _ = unpack(scene, packed)
        assert len(seen.faces) == len(part.mesh.faces)
        assert seen.volume == pytest.approx(part.mesh.volume, rel=1e-3)
        assert np.abs(seen.bounds - part.mesh.bounds).max() <= scene["size"] / 65535
        # Corner by corner, in the order of the faces.
        assert np.abs(seen.triangles - part.mesh.triangles).max() <= scene["size"] / 65535


def test_normals_arrive_sharp_at_edges_and_smooth_on_bulges():
    scene = scene_of(preview_html([Part("block", BLOCK), Part("ball", BALL)]))
    block, normals = unpack(scene, scene["parts"][0])
    assert len(block.vertices) == 24  # three for each corner of a box
    assert set(map(tuple, np.abs(normals[:, :3]))) == {(127, 0, 0), (0, 127, 0), (0, 0, 127)}
    ball, normals = unpack(scene, scene["parts"][1])
    cosine = np.einsum("ij,ij->i", normals[:, :3] / 127, ball.vertices / np.linalg.norm(ball.vertices, axis=1, keepdims=True))
    assert cosine.min() > 0.99


def test_colours_and_the_moving_part_are_told():
    tint = np.tile([0.2, 0.4, 0.6], (len(BALL.vertices), 1))
    scene = scene_of(preview_html([Part("cast", BALL, "stone", tint), Part("framework", RING, "metal")], path=[0, 0.6, 0.8], arch="upper"))
    cast, framework = scene["parts"]
    got = np.frombuffer(base64.b64decode(cast["tint"]), "u1").reshape(-1, 3)
    assert (got == [51, 102, 153]).all()
    assert "tint" not in framework and framework["metal"] and framework["moves"] and not cast["moves"]
    assert scene["path"] == [0, 0.6, 0.8] and scene["arch"] == "upper"


def test_names_cannot_break_out_of_the_page():
    evil = "</script><script>alert(1)</script>"
    html = preview_html([Part(evil, BLOCK)], title=evil, patient_code=evil)
    assert html.count("<script") == 2 and html.count("</script>") == 2
    assert scene_of(html)["parts"][0]["name"] == evil


def test_nothing_is_fetched_from_outside_and_the_caution_is_there():
    html = preview_html([Part("cast", BLOCK)])
    assert not re.search(r"https?://|\bsrc=|\bhref=|url\(|@import|fetch\(|XMLHttpRequest|WebSocket|import\(", html)
    assert "default-src 'none'" in html and "Not a certified medical device" in html


def test_no_parts_is_refused():
    with pytest.raises(GeometryError, match="at least one part"):
        preview_html([])


def bumpy_radius(unit: np.ndarray) -> np.ndarray:
    return 20 + 0.8 * np.sin(5 * unit).sum(axis=1)


def bumpy(level: int = 6) -> Mesh:
    """A ball with dents: curved both ways everywhere, its radius known in every direction."""
    t = trimesh.creation.icosphere(level, 1.0)
    return Mesh(t.vertices * bumpy_radius(t.vertices)[:, None], t.faces)


def test_a_simplified_mesh_keeps_to_its_budget_and_to_the_surface():
    mesh = bumpy()
    result = simplify(mesh, 20_000)
    assert 15_000 < len(result.mesh.faces) <= 20_000
    middles = result.mesh.triangles.mean(axis=1)
    radius = np.linalg.norm(middles, axis=1)
    assert np.abs(radius - bumpy_radius(middles / radius[:, None])).max() < 0.12  # sag of chords 0.7 mm long on bumps 2 mm in radius
    assert result.mesh.volume == pytest.approx(mesh.volume, rel=0.01)
    assert np.linalg.norm(result.average(mesh.vertices) - result.mesh.vertices, axis=1).max() < 0.8


def test_a_simplified_mesh_is_shaded_like_the_first():
    ball = mesh_of(trimesh.creation.icosphere(6, 10.0))
    result = simplify(ball, 12_000)
    radial = result.mesh.triangles / np.linalg.norm(result.mesh.triangles, axis=2, keepdims=True)
    cosine = np.einsum("mkj,mkj->mk", result.corner_normals(ball.vertex_normals), radial)
    assert np.degrees(np.arccos(np.clip(cosine, -1, 1))).max() < 6  # half a cell's worth of turn, no fold shows


def test_a_small_mesh_is_left_alone():
    result = simplify(BLOCK, 100)
    assert result.mesh is BLOCK


def test_the_two_sides_of_a_thin_sheet_do_not_merge():
    t = trimesh.creation.box((40, 40, 0.3))
    for _ in range(6):
        t = t.subdivide()
    mesh = mesh_of(t)
    result = simplify(mesh, 4_000)
    assert len(result.mesh.faces) <= 4_000
    grid = np.stack(np.meshgrid(np.linspace(-18, 18, 40), np.linspace(-18, 18, 40)), axis=-1).reshape(-1, 2)
    for side in (1.0, -1.0):  # seen from either side the sheet is whole and where it was
        rays = np.column_stack([grid, np.full(len(grid), side * 10)]), np.tile([0, 0, -side], (len(grid), 1))
        assert np.allclose(Body([Part("sheet", result.mesh)]).first(*rays).distance, 10 - 0.15, atol=1e-4)


@pytest.mark.parametrize("counts,total,expected", [([10, 1000, 1000], 410, [10, 200, 200]), ([5, 5], 100, [5, 5]), ([100], 40, [40])])
def test_small_parts_keep_all_and_large_parts_share_the_rest(counts, total, expected):
    assert _shares(counts, total) == expected


def test_a_full_size_case_stays_under_six_megabytes():
    t = trimesh.creation.icosphere(7, 35.0)  # 327,680 triangles
    tint = np.full((len(t.vertices), 3), 0.5)
    html = preview_html([Part("cast", mesh_of(t), "stone", tint), Part("framework", bumpy(), "metal")])
    assert len(html) < 6_000_000
    assert sum(len(unpack(scene_of(html), p)[0].faces) for p in scene_of(html)["parts"]) > 150_000
