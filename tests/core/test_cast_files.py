"""Scan files in and out. The other side of each format is trimesh, an independent reader and writer; damage is done by hand."""

import io
import struct
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh
from claspwright.core.cast import read_mesh, write_mesh
from claspwright.core.cast import threemf as package
from claspwright.core.errors import CastError, WriteError
from claspwright.core.mesh import Mesh

BALL = trimesh.creation.icosphere(subdivisions=2, radius=20.0)
BALL.apply_translation([3.0, -7.0, 11.0])


def save(path: Path, data: bytes | str) -> Path:
    path.write_bytes(data.encode("latin-1") if isinstance(data, str) else data)
    return path


def soup(mesh: Mesh) -> np.ndarray:
    """Triangles in an order that no format can change."""
    t = np.round(mesh.triangles, 4)
    first = np.lexsort(t.transpose(2, 1, 0)[::-1].reshape(9, -1)) if len(t) else []
    return t[first]


WRITERS = {
    "binary.stl": lambda: BALL.export(file_type="stl"),
    "text.stl": lambda: BALL.export(file_type="stl_ascii"),
    "little.ply": lambda: BALL.export(file_type="ply", encoding="binary"),
    "text.ply": lambda: BALL.export(file_type="ply", encoding="ascii"),
    "plain.obj": lambda: BALL.export(file_type="obj"),
}


@pytest.mark.parametrize("name", WRITERS)
def test_reads_what_another_program_wrote(tmp_path, name):
    data = WRITERS[name]()
    mesh, header = read_mesh(save(tmp_path / name, data))
    assert np.allclose(soup(mesh), soup(Mesh(BALL.vertices, BALL.faces)), atol=2e-4)
    assert header["triangles"] == len(BALL.faces) and header["format"] == name[-3:]


def ply_big_endian(extra: bool) -> bytes:
    """Built by the format's own words: big-endian, other elements first, other properties between, one square face."""
    head = "ply\nformat binary_big_endian 1.0\ncomment made by hand\nelement camera 2\nproperty float f\nproperty list uchar short l\n"
    head += "element vertex 4\nproperty uchar red\nproperty double x\nproperty float y\nproperty float z\n"
    head += "element face 1\nproperty list uchar uint vertex_index\n" + ("property float quality\n" if extra else "") + "end_header\n"
    body = struct.pack(">fBhh", 1.0, 2, 5, 6) + struct.pack(">fB", 2.0, 0)
    for p in ((0, 0, 0), (40, 0, 0), (40, 50, 0), (0, 50, 0)):
        body += struct.pack(">Bdff", 9, *map(float, p))
    body += struct.pack(">BIIII", 4, 0, 1, 2, 3) + (struct.pack(">f", 1.0) if extra else b"")
    return head.encode() + body


@pytest.mark.parametrize("extra", [False, True])
def test_big_endian_ply_with_polygons_and_unknown_elements(tmp_path, extra):
    mesh, _ = read_mesh(save(tmp_path / "a.ply", ply_big_endian(extra)))
    assert mesh.faces.tolist() == [[0, 1, 2], [0, 2, 3]]
    assert mesh.face_areas.sum() == pytest.approx(2000.0)


def test_decimal_commas_are_read_and_told(tmp_path):
    text = BALL.export(file_type="stl_ascii").replace(".", ",")
    mesh, header = read_mesh(save(tmp_path / "a.stl", text))
    assert np.allclose(mesh.bounds, BALL.bounds, atol=1e-3)
    assert header["remarks"] == ("decimal commas read as decimal points",)


def test_obj_with_negative_indices_and_texture(tmp_path):
    text = "mtllib a.mtl\nv 0 0 0\nv 40 0 0\nv 0 40 0\nvt 0 0\nvn 0 0 1\nf -3/1/1 -2/1/1 \\\n -1/1/1\n"
    mesh, _ = read_mesh(save(tmp_path / "a.obj", text))
    assert mesh.faces.tolist() == [[0, 1, 2]]


def test_3mf_units_components_and_mirrors(tmp_path):
    model = (
        f'<model unit="inch" xmlns="{package._CORE}"><resources><object id="1"><mesh><vertices><vertex x="0" y="0" z="0"/>'
        '<vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/></vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh>'
        '</object><object id="2"><components><component objectid="1"/><component objectid="1" transform="-1 0 0 0 1 0 0 0 1 5 0 2"/>'
        '</components></object></resources><build><item objectid="2" transform="1 0 0 0 1 0 0 0 1 0 10 0"/></build></model>'
    )
    mesh, header = read_mesh(save(tmp_path / "a.3mf", zipped({"3D/3dmodel.model": model})))
    assert header["unit"] == "inch"
    assert np.allclose(mesh.bounds, [[0, 10, 0], [5, 11, 2]])
    assert np.allclose(mesh.face_normals, [[0, 0, 1], [0, 0, 1]])


def zipped(parts: dict[str, str | bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def model(inside: str) -> bytes:
    return zipped({"3D/3dmodel.model": f'<model xmlns="{package._CORE}">{inside}</model>'})


STL = BALL.export(file_type="stl")
PLY = BALL.export(file_type="ply", encoding="binary")
SELF = (
    '<resources><object id="1"><components><component objectid="1"/></components></object></resources>'
    '<build><item objectid="1"/></build>'
)
BAD = {
    "empty.stl": (b"", "empty"),
    "short.stl": (STL[:60], "84 bytes"),
    "cut.stl": (STL[:-1000], "cut short"),
    "cut_text.stl": (BALL.export(file_type="stl_ascii")[:5000], "cut short"),
    "huge_count.stl": (STL[:80] + b"\xff\xff\xff\xff" + STL[84:], "cut short"),
    "no_triangles.stl": (b"\0" * 84, "no triangles"),
    "word.stl": ("solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 x1\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid", "x1"),
    "cut.ply": (PLY[:-1000], "cut short"),
    "head.ply": (PLY[:60], "header"),
    "points.ply": (b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nend_header\n0\n", "no faces"),
    "type.ply": (PLY.replace(b"float x", b"quark x"), "makes no sense"),
    "count.ply": (PLY.replace(b"element face 320", b"element face 99999999999"), "more than"),
    "minus.ply": (PLY.replace(b"element face 320", b"element face -5"), "unknown"),
    "noxyz.ply": (PLY.replace(b"float z", b"float w"), "no property"),
    "index.obj": ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "vertex 8"),
    "negative.obj": ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -9\n", "does not exist|names vertex"),
    "words.obj": ("v 0 0 0\nf one two three\n", "makes no sense"),
    "little.obj": ("v 0 0\nf 1 2 3\n", "lacks coordinates"),
    "nothing.obj": ("# hello\n", "no surface"),
    "notzip.3mf": (b"hello", "zip"),
    "cut.3mf": (zipped({"3D/3dmodel.model": "x" * 9000})[:-30], "zip"),
    "outside.3mf": (
        zipped({"_rels/.rels": '<Relationships><Relationship Target="../../secret" Type="a/3dmodel"/></Relationships>'}), "not inside"
    ),
    "empty.3mf": (model(""), "no mesh"),
    "loop.3mf": (model(SELF), "contains itself"),
    "missing.3mf": (model('<build><item objectid="7"/></build>'), "does not hold"),
    "entity.3mf": (zipped({"3D/3dmodel.model": '<!DOCTYPE m [<!ENTITY a "aaaa">]><model>&a;</model>'}), "entities"),
    "broken.3mf": (zipped({"3D/3dmodel.model": "<model><resources>"}), "breaks off"),
    "unit.3mf": (zipped({"3D/3dmodel.model": f'<model unit="mile" xmlns="{package._CORE}"/>'}), "unknown unit"),
    "scan.dcm": (b"whatever", "not a scan format"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_files_get_one_clear_line(tmp_path, name):
    data, words = BAD[name]
    with pytest.raises(CastError, match=words) as caught:
        read_mesh(save(tmp_path / name, data))
    line = str(caught.value)
    assert line.startswith(name) and "\n" not in line and len(line) < 220


def test_missing_file_and_folder(tmp_path):
    for path in (tmp_path / "none.stl", tmp_path):
        with pytest.raises(CastError, match="cannot be read"):
            read_mesh(path)


def test_3mf_that_unpacks_to_too_much_is_refused_early(tmp_path, monkeypatch):
    monkeypatch.setattr(package, "MAX_UNPACKED", 1_000_000)
    data = zipped({"3D/3dmodel.model": b" " * 50_000_000})
    assert len(data) < 100_000
    with pytest.raises(CastError, match="unpacks to more"):
        read_mesh(save(tmp_path / "bomb.3mf", data))


def test_a_wrong_ending_is_forgiven(tmp_path):
    mesh, header = read_mesh(save(tmp_path / "scan.stl", PLY))
    assert header["format"] == "ply" and len(mesh.faces) == len(BALL.faces)


def from_3mf(path: Path) -> trimesh.Trimesh:
    """By the words of the 3MF core specification, with the standard library's XML reader."""
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None and {"[Content_Types].xml", "_rels/.rels"} < set(archive.namelist())
        target = ElementTree.fromstring(archive.read("_rels/.rels"))[0].get("Target")
        root = ElementTree.fromstring(archive.read(target.lstrip("/")))
    space = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
    assert root.tag == f"{space}model" and root.get("unit") == "millimeter"
    points = [[float(v.get(k)) for k in "xyz"] for v in root.iter(f"{space}vertex")]
    faces = [[int(t.get(k)) for k in ("v1", "v2", "v3")] for t in root.iter(f"{space}triangle")]
    assert [i.get("objectid") for i in root.iter(f"{space}item")] == [o.get("id") for o in root.iter(f"{space}object")]
    return trimesh.Trimesh(points, faces, process=False)


@pytest.mark.parametrize("suffix", ["stl", "ply", "3mf"])
def test_written_files_are_read_by_another_program_and_repeat_byte_for_byte(tmp_path, suffix):
    mesh = Mesh(BALL.vertices, BALL.faces)
    for name in ("a", "b"):
        write_mesh(tmp_path / f"{name}.{suffix}", mesh)
    assert (tmp_path / f"a.{suffix}").read_bytes() == (tmp_path / f"b.{suffix}").read_bytes()
    other = from_3mf(tmp_path / "a.3mf") if suffix == "3mf" else trimesh.load(tmp_path / f"a.{suffix}", force="mesh")
    assert other.is_watertight and len(other.faces) == len(mesh.faces)
    assert other.volume == pytest.approx(BALL.volume, rel=1e-6)
    assert np.allclose(other.bounds, BALL.bounds, atol=1e-5)


def test_ply_keeps_values_of_each_point(tmp_path):
    mesh = Mesh(BALL.vertices, BALL.faces)
    n = len(mesh.vertices)
    rng = np.random.default_rng(1)
    values = {"undercut": rng.random(n), "visible": rng.random(n) > 0.5, "tooth": rng.integers(0, 49, n).astype(np.int16)}
    write_mesh(tmp_path / "a.ply", mesh, vertex_data=values)
    text = (tmp_path / "a.ply").read_bytes()
    assert b"property float undercut\nproperty uchar visible\nproperty short tooth\n" in text
    stored = trimesh.load(tmp_path / "a.ply", process=False).metadata["_ply_raw"]["vertex"]["data"]
    assert np.allclose(stored["undercut"].ravel(), values["undercut"], atol=1e-6)
    assert np.array_equal(stored["visible"].ravel() == 1, values["visible"])
    assert np.array_equal(stored["tooth"].ravel(), values["tooth"])
    back, _ = read_mesh(tmp_path / "a.ply")
    assert np.array_equal(back.vertices, mesh.vertices) and np.array_equal(back.faces, mesh.faces)


def test_values_that_do_not_fit_are_refused(tmp_path):
    mesh = Mesh(BALL.vertices, BALL.faces)
    for name, data in (("a.ply", {"u": np.zeros(3)}), ("a.ply", {"a b": np.zeros(len(mesh.vertices))}), ("a.stl", {"u": np.zeros(3)})):
        with pytest.raises(CastError):
            write_mesh(tmp_path / name, mesh, vertex_data=data)
    with pytest.raises(CastError, match="endings"):
        write_mesh(tmp_path / "a.xyz", mesh)
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_the_old_file_and_no_rest(tmp_path, monkeypatch):
    import os

    mesh = Mesh(BALL.vertices, BALL.faces)
    target = save(tmp_path / "a.stl", b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(WriteError, match="No space left"):
        write_mesh(target, mesh)
    assert target.read_bytes() == b"old" and list(tmp_path.iterdir()) == [target]
    with pytest.raises(WriteError, match="cannot be written"):
        write_mesh(tmp_path / "nowhere" / "a.stl", mesh)
