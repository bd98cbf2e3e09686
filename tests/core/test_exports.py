"""Every mesh file of a build read back by general libraries (trimesh, lib3mf, meshio, shapely), and compared with what was written."""

import dataclasses
import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from claspwright.core.cast.scenes import encode_glb, encode_obj
from claspwright.core.cast.threemf import encode_3mf
from claspwright.core.errors import CaseError
from claspwright.core.mesh import Mesh
from claspwright.core.pipeline import EXPORTS, wanted_exports
from claspwright.core.pipeline.additions import mark_lines, marked_cast, with_bar, with_stubs
from claspwright.core.pipeline.exports import made_size, write_meshes
from claspwright.core.pipeline.outputs import summary, write_manifest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

meshio = pytest.importorskip("meshio")
lib3mf = pytest.importorskip("lib3mf")

SHARE = 1e-4  # volumes agree within 0.01 % (issue G)


def read_by_lib3mf(path: Path) -> tuple[object, list[tuple[str, np.ndarray, np.ndarray]]]:
    model = lib3mf.Wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    objects = model.GetMeshObjects()
    found = []
    while objects.MoveNext():
        item = objects.GetCurrentMeshObject()
        points = np.array([v.Coordinates[:] for v in item.GetVertices()], dtype=np.float64)
        faces = np.array([t.Indices[:] for t in item.GetTriangleIndices()], dtype=np.int64)
        assert item.IsManifoldAndOriented()
        found.append((item.GetName(), points, faces))
    return model, found


def strewn(mesh: Mesh) -> cKDTree:
    """Points all over a surface, about 0.1 mm apart."""
    points, _ = trimesh.sample.sample_surface(mesh.to_trimesh(), int(100 * mesh.face_areas.sum()), seed=1)
    return cKDTree(points)


def volume(points: np.ndarray, faces: np.ndarray) -> float:
    return Mesh(points, faces).volume


@pytest.fixture(scope="module")
def small() -> dict[str, Mesh]:
    """Two parts with names that need escaping, off the origin."""
    ring = trimesh.creation.torus(18.0, 1.5, major_sections=48, minor_sections=16)
    ball = trimesh.creation.icosphere(2, 3.0)
    ball.apply_translation((3.0, -40.0, 7.0))
    return {'bar <"44" & 34>': Mesh(ring.vertices, ring.faces), "rest": Mesh(ball.vertices, ball.faces)}


def test_3mf_holds_unit_names_metadata_and_one_object_a_part(small, tmp_path):
    data = encode_3mf(small, {"Title": "Case <1> & more", "Application": "claspwright"})
    (tmp_path / "a.3mf").write_bytes(data)
    model, objects = read_by_lib3mf(tmp_path / "a.3mf")
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    group = model.GetMetaDataGroup()
    assert {group.GetMetaData(k).GetName(): group.GetMetaData(k).GetValue() for k in range(group.GetMetaDataCount())} == {
        "Title": "Case <1> & more", "Application": "claspwright",
    }  # fmt: skip
    assert [name for name, _, _ in objects] == list(small)
    for (_, points, faces), mesh in zip(objects, small.values(), strict=True):
        assert volume(points, faces) == pytest.approx(mesh.volume, rel=SHARE)
    assert encode_3mf(small, {"Title": "Case <1> & more", "Application": "claspwright"}) == data


def test_obj_keeps_parts_and_sizes(small, tmp_path):
    (tmp_path / "a.obj").write_bytes(encode_obj(small))
    assert sum(line.startswith("o ") for line in (tmp_path / "a.obj").read_text().splitlines()) == len(small)
    whole = sum(m.volume for m in small.values())
    assert trimesh.load(tmp_path / "a.obj", force="mesh").volume == pytest.approx(whole, rel=SHARE)
    other = meshio.read(tmp_path / "a.obj")
    assert volume(other.points, other.cells_dict["triangle"]) == pytest.approx(whole, rel=SHARE)


def test_glb_is_in_metres_and_upright(small, tmp_path):
    """glTF 2.0 has one unit, the metre, and Y up."""
    (tmp_path / "a.glb").write_bytes(encode_glb(small))
    seen = trimesh.load(tmp_path / "a.glb", force="scene")
    assert seen.units in (None, "meters") and set(seen.geometry) == set(small)
    for name, mesh in small.items():
        found = seen.geometry[name]
        assert found.volume * 1e9 == pytest.approx(mesh.volume, rel=SHARE)
        assert found.bounds[:, 1] * 1000 == pytest.approx(mesh.bounds[:, 2], abs=1e-4)


def test_unknown_exports_are_refused_in_one_line():
    assert wanted_exports("3mf, STL") == ("stl", "3mf")
    for text in ("stl,step", "", ","):
        with pytest.raises(CaseError, match="choose from"):
            wanted_exports(text)


@pytest.fixture(scope="module")
def folder(quick_lower, tmp_path_factory) -> Path:
    where = tmp_path_factory.mktemp("exports")
    names = list(write_meshes(quick_lower, where, tuple(name for name in EXPORTS if name not in ("bar", "stubs", "raised_cast"))))
    write_manifest(where, names)
    assert sorted(p.name for p in where.iterdir()) == sorted([*names, "manifest.json"])  # no temporary file is left
    return where


@pytest.mark.slow
def test_every_file_reopens_with_the_same_volume_and_unit(quick_lower, folder):
    whole = quick_lower.framework.volume
    span = np.ptp(quick_lower.framework.vertices, axis=0)
    for name in ("framework.stl", "framework.ply", "framework.obj"):
        seen = trimesh.load(folder / name, force="mesh")
        assert seen.is_watertight and seen.volume == pytest.approx(whole, rel=SHARE), name
        other = meshio.read(folder / name)
        assert volume(other.points, other.cells_dict["triangle"]) == pytest.approx(whole, rel=SHARE), name
        assert np.ptp(other.points, axis=0) == pytest.approx(span, abs=1e-3)
    model, objects = read_by_lib3mf(folder / "framework.3mf")
    assert [o[0] for o in objects] == ["framework"] and model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    assert volume(*objects[0][1:]) == pytest.approx(whole, rel=SHARE)
    scene = trimesh.load(folder / "framework.glb", force="scene")
    assert scene.geometry["framework"].volume * 1e9 == pytest.approx(whole, rel=SHARE)
    for name, mesh in (("master_cast.stl", quick_lower.master.mesh), ("trial_cast.stl", quick_lower.prepared.mesh)):
        seen = trimesh.load(folder / name)
        assert seen.is_watertight and seen.volume == pytest.approx(mesh.volume, rel=SHARE)


@pytest.mark.slow
def test_parts_fill_the_framework_without_overlap(quick_lower, folder):
    _, objects = read_by_lib3mf(folder / "framework_parts.3mf")
    names = [name for name, _, _ in objects]
    assert set(names) - {"joints"} == {c.id for c in quick_lower.case.components}
    assert sum(volume(p, f) for _, p, f in objects) == pytest.approx(quick_lower.framework.volume, rel=SHARE)
    joints = sum(volume(p, f) for name, p, f in objects if name == "joints")
    assert joints < 0.25 * quick_lower.framework.volume


@pytest.mark.slow
def test_the_coloured_framework_tells_contact_from_space(quick_lower, folder):
    data = trimesh.load(folder / "framework.ply", process=False).metadata["_ply_raw"]["vertex"]["data"]
    gap, thick = data["gap"].ravel(), data["thickness"].ravel()
    blue = data["blue"].ravel().astype(int) - data["red"].ravel() > 60
    assert np.nanmax(np.abs(gap[blue])) < 0.05  # contact
    assert 0.3 < np.median(thick) < 3.0
    # The relief under the lattices is 1 mm as planned (case file); distances to points that trimesh strews over the cast every 0.1 mm
    under = np.flatnonzero((gap > 0.9) & (gap < 1.1))
    assert len(under) > 500
    distance, _ = strewn(quick_lower.prepared.mesh).query(quick_lower.framework.vertices[under[::50]])
    assert np.quantile(np.abs(distance - gap[under[::50]]), 0.9) < 0.12


@pytest.mark.slow
def test_a_stabilising_bar_is_part_of_one_body(quick_lower):
    seen = with_bar(quick_lower, quick_lower.framework).to_trimesh()
    assert seen.is_watertight and len(with_bar(quick_lower, quick_lower.framework).to_manifold().decompose()) == 1
    ends = [quick_lower.assembly.built[name].rails["back"].points.mean(axis=0) for name in ("base 3", "base 4")]
    assert seen.volume - quick_lower.framework.volume > 0.5 * np.pi * 1.25**2 * np.linalg.norm(ends[0] - ends[1])


def made_by(build, process: str):
    from dataclasses import replace

    return replace(build, case=replace(build.case, manufacture=replace(build.case.manufacture, process=process)))


@pytest.mark.slow
@pytest.mark.parametrize("process", ["printed pattern", "milled"])
def test_stubs_stand_on_polished_metal_only_and_are_part_of_one_body(quick_lower, process):
    metal = quick_lower.framework.to_manifold()
    held = with_stubs(made_by(quick_lower, process), quick_lower.framework)
    seen = held.to_trimesh()
    assert seen.is_watertight and len(held.to_manifold().decompose()) == 1
    assert (metal - held.to_manifold()).volume() < 1e-3  # nothing of the framework is lost
    added = [piece for piece in (held.to_manifold() - metal).decompose() if piece.volume() > 1.0]
    # Two sprues and a vent on each base, or two pins, at the least; none smaller than most of its rod.
    least = np.pi * (1.0**2 * 3.0 if process == "milled" else 0.65**2 * 5.0)
    assert len(added) >= (2 if process == "milled" else 4) and min(piece.volume() for piece in added) > least
    assert (held.to_manifold() ^ quick_lower.master.mesh.to_manifold()).volume() < 0.01  # nor is anything under the fitting side


def test_printed_metal_gets_no_sprues(quick_lower):
    with pytest.raises(CaseError, match="needs no sprues"):
        with_stubs(quick_lower, quick_lower.framework)


@pytest.mark.slow
def test_survey_marks_are_cut_into_a_cast_or_raised_on_it(quick_lower, folder):
    """A half-round mark takes or adds half a rod of 0.25 mm radius: 0.098 mm2 times its length, less where lines meet and on bulges."""
    plain = quick_lower.cast.mesh
    length = sum(np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in mark_lines(quick_lower))
    assert length > 60.0
    cut, raised = trimesh.load(folder / "marked_cast.stl"), marked_cast(quick_lower, raised=True)
    for change, seen in ((plain.volume - cut.volume, cut), (raised.volume - plain.volume, raised.to_trimesh())):
        assert seen.is_watertight and change == pytest.approx(0.5 * np.pi * 0.25**2 * length, rel=0.2)
    # The marks lie on the height of contour: there the path grazes the surface (the cast's own normals, by trimesh).
    whole = plain.to_trimesh()
    for line in mark_lines(quick_lower)[:3]:
        distance, corner = cKDTree(whole.vertices).query(line[::10])
        assert distance.max() < 0.3 and np.abs(whole.vertex_normals[corner] @ quick_lower.survey.path.vector).mean() < 0.2


@pytest.mark.slow
def test_no_file_holds_the_name_of_the_scan(quick_lower, folder):
    """A scan's file name often is a patient's; what leaves the tool names it by its digest."""
    named = dataclasses.replace(quick_lower, cast=dataclasses.replace(quick_lower.cast, source_name="Placeholder_Person_scan.ply"))
    assert "Placeholder_Person" not in json.dumps(summary(named))
    assert summary(named)["scan"]["sha256"] == quick_lower.cast.sha256
    name = quick_lower.cast.source_name.encode()
    assert name and not [f.name for f in folder.iterdir() if name in f.read_bytes()]


def test_manifest_names_every_file_by_its_hash(folder):
    table = json.loads((folder / "manifest.json").read_text())["files"]
    assert {row["file"] for row in table} == {p.name for p in folder.iterdir()} - {"manifest.json"}
    for row in table:
        data = (folder / row["file"]).read_bytes()
        assert (row["bytes"], row["sha256"]) == (len(data), hashlib.sha256(data).hexdigest())


@pytest.mark.slow
def test_scale_and_finishing_touch_only_what_they_should(quick_lower):
    from dataclasses import replace

    def settled(**settings):
        case = replace(quick_lower.case, manufacture=replace(quick_lower.case.manufacture, **settings))
        return made_size(replace(quick_lower, case=case))

    plain = quick_lower.framework
    assert settled() is plain
    assert settled(scale=1.02).volume == pytest.approx(plain.volume * 1.02**3, rel=1e-5)
    thick = settled(finishing_mm=0.1)
    assert thick.to_trimesh().is_watertight
    moved = np.linalg.norm(thick.vertices - plain.vertices, axis=1)
    distance, _ = strewn(quick_lower.master.mesh).query(plain.vertices)
    assert np.quantile(moved[distance < 0.03], 0.95) < 1e-4  # the fitting side stays (a few of these are polished faces at the border)
    assert np.median(moved[distance > 0.5]) == pytest.approx(0.1, abs=1e-3)


@pytest.mark.slow
def test_slices_of_the_framework_are_closed_simple_contours(quick_lower):
    """Every 0.05 mm along the path, as a printer of metal slices it; planes from trimesh, contours judged by shapely.

    Closed: no segment is left over. Simple: cut where they cross, the segments bound no more faces than they have loops (E - V + C of
    a plane graph), but for specks under 1e-5 mm2, three micrometres square, from slivers that cross by the rounding of 32-bit numbers.
    """
    turn = np.eye(4)
    turn[:3, :3] = quick_lower.survey.path.rotation
    framework = quick_lower.framework.transformed(turn)
    solid, low, high = framework.to_manifold(), *framework.bounds[:, 2]
    levels = np.arange(low + 0.0137, high, 0.05)
    up = np.array([0.0, 0.0, 1.0])
    slices, _, _ = trimesh.intersections.mesh_multiplane(framework.to_trimesh(), up * levels[0], up, levels - levels[0])
    assert len(slices) == len(levels) > 250
    clean = 0
    for level, found in zip(levels, slices, strict=True):
        segments = np.round(found, 7)
        segments = segments[np.any(segments[:, 0] != segments[:, 1], axis=1)]
        lines = shapely.linestrings(segments)
        _, *left_over, wrong = shapely.polygonize_full(lines)
        assert [shapely.get_num_geometries(g) for g in left_over] == [0, 0], level
        whole = shapely.multilinestrings(lines)
        faces = shapely.get_parts(shapely.polygonize([shapely.node(whole)]))
        assert (shapely.area(faces) > 1e-5).sum() <= loops(segments), level
        if shapely.get_num_geometries(wrong) == 0:
            clean += 1
            assert shapely.build_area(whole).area == pytest.approx(solid.slice(float(level)).area(), rel=1e-3, abs=1e-3), level
    assert clean > 0.85 * len(levels), (clean, len(levels))


def loops(segments: np.ndarray) -> int:
    """Independent closed ways in the graph of the segments (k, 2, 2)."""
    _, ends = np.unique(segments.reshape(-1, 2), axis=0, return_inverse=True)
    ends = ends.reshape(-1, 2)
    nodes = int(ends.max(initial=-1)) + 1
    pieces, _ = connected_components(coo_matrix((np.ones(len(ends)), ends.T), shape=(nodes, nodes)), directed=False)
    return len(ends) - nodes + pieces
