"""The table of bad inputs in DEVELOPERS.md, row by row: what is refused gets one line, exit code 2 and no file; what is taken is told.

`python test_bad_input.py` prints the table as it is meant to be.
"""

import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from claspwright.core.cast import intake, load_cast, reduce
from claspwright.core.cast.files import encode_ply, encode_stl
from claspwright.core.cli import main
from claspwright.core.mesh import Mesh
from claspwright.core.phantom import SAMPLES, make_phantom

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"


@cache
def arch(name: str = "lower_class_i", open_surface: bool = False) -> Mesh:
    return make_phantom(replace(SAMPLES[name], triangles=12000, open_surface=open_surface)).mesh


def moved(mesh: Mesh, *scale: float, up: float = 0.0) -> Mesh:
    return Mesh(mesh.vertices * scale + [0, 0, up], mesh.faces)


def both(a: Mesh, b: Mesh) -> Mesh:
    return Mesh(np.vstack([a.vertices, b.vertices]), np.vstack([a.faces, b.faces + len(a.vertices)]))


def spoiled(share: float) -> Mesh:
    mesh = arch()
    vertices = mesh.vertices.copy()
    vertices[: max(1, int(share * len(vertices)))] = np.nan
    return Mesh(vertices, mesh.faces)


def package(parts: dict[str, str | bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def text_stl() -> bytes:
    mesh = arch()
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(file_type="stl_ascii").replace(".", ",").encode()


def two_arches() -> Mesh:
    upper = Mesh(arch().vertices * [1, -1, -1] + [0, 0, 3.0], arch().faces)
    return both(arch(), upper)


def quadrant() -> Mesh:
    half = arch("upper_class_iii_mod_1", True)
    chosen = (half.triangles[:, :, 0].min(axis=1) > 2.0) & (half.triangles[:, :, 1].mean(axis=1) < 12.0)
    return half.submesh(chosen)[0]


def with_post() -> Mesh:
    top = arch().vertices[np.argmax(arch().vertices[:, 2])]
    post = trimesh.creation.cylinder(2.2, 14.0, sections=24)
    for _ in range(2):
        post = post.subdivide()
    return both(arch(), Mesh(post.vertices + top + [0, 0, 4.0], post.faces))


def touching() -> Mesh:
    """Two boxes that share an edge: four faces meet there."""
    box = trimesh.creation.box([20.0, 20.0, 20.0])
    for _ in range(3):
        box = box.subdivide()
    return both(Mesh(box.vertices, box.faces), Mesh(box.vertices + [20.0, 20.0, 0.0], box.faces))


def folded() -> Mesh:
    """A vertex of the outer side pulled over its neighbours: its faces cut through others."""
    mesh = arch()
    steep = np.flatnonzero((np.abs(mesh.vertex_normals[:, 2]) < 0.3) & (mesh.vertices[:, 2] > -6.0))
    vertices = mesh.vertices.copy()
    place = int(steep[len(steep) // 2])
    nearest = np.argsort(np.linalg.norm(vertices - vertices[place], axis=1))[1:8]
    vertices[place] += 2.5 * (vertices[nearest[-1]] - vertices[place])
    return Mesh(vertices, mesh.faces)


def many_triangles() -> Mesh:
    fine = arch().to_trimesh().subdivide().subdivide()
    return Mesh(np.array(fine.vertices), np.array(fine.faces))


def huge(path: Path) -> None:
    with open(path, "wb") as stream:
        stream.truncate(2_100_000_000)  # a hole: takes no room on the disk


STL = encode_stl(Mesh(*(lambda b: (b.vertices, b.faces))(trimesh.creation.icosphere(subdivisions=2, radius=20.0))))
NESTED = "<model><resources/></model>"
BOMB = {"3D/3dmodel.model": b" " * 40_000_000}

# what, file name, content, words that it gets
REFUSED: dict[str, tuple[str, Callable[[], bytes] | Callable[[Path], None], str]] = {
    "empty file": ("a.stl", lambda: b"", "the file is empty"),
    "truncated STL": ("a.stl", lambda: STL[:-1000], "cut short: the header promises"),
    "STL that promises 4 billion triangles": ("a.stl", lambda: STL[:80] + b"\xff" * 4 + STL[84:], "cut short: the header promises"),
    "file of 2.1 GB": ("a.stl", huge, "more than the 2 GB that can be read"),
    "all coordinates NaN": ("a.ply", lambda: encode_ply(spoiled(1.0), {}), "coordinates that are no numbers"),
    "triangles without an area": ("a.stl", lambda: STL[:84] + bytes(len(STL) - 84), "in no unit is that a dental arch"),
    "a ball instead of an arch": ("a.stl", lambda: STL, "no teeth"),
    "two arches in one file": ("a.ply", lambda: encode_ply(two_arches(), {}), "two arches that face each other"),
    "3MF that points outside itself": (
        "a.3mf", lambda: package({"_rels/.rels": '<Relationships><Relationship Target="../../x" Type="a/3dmodel"/></Relationships>'}),
        "which is not inside it",
    ),
    "3MF with XML entities": ("a.3mf", lambda: package({"3D/3dmodel.model": '<!DOCTYPE m [<!ENTITY a "a">]><m>&a;</m>'}), "XML entities"),
    "3MF without a mesh": ("a.3mf", lambda: package({"3D/3dmodel.model": NESTED}), "holds no mesh"),
    "3MF cut short": ("a.3mf", lambda: package({"3D/3dmodel.model": NESTED})[:-20], "no readable zip package"),
    "3MF that unpacks to gigabytes": ("a.3mf", lambda: package(BOMB), "unpacks to more than"),
    "another kind of file": ("a.dcm", lambda: b"whatever", "not a scan format"),
}  # fmt: skip
TAKEN: dict[str, tuple[str, Callable[[], bytes], str]] = {
    "a few coordinates NaN": ("a.ply", lambda: encode_ply(spoiled(0.0002), {}), "coordinates that are no numbers removed"),
    "ASCII STL with decimal commas": ("a.stl", text_stl, "decimal commas read as decimal points"),
    "inside-out": ("a.ply", lambda: encode_ply(Mesh(arch().vertices, arch().faces[:, ::-1]), {}), "inside-out surfaces turned"),
    "file in metres": ("a.ply", lambda: encode_ply(moved(arch(), 1e-3, 1e-3, 1e-3), {}), "scaled from metre to mm"),
    "one quadrant": ("a.ply", lambda: encode_ply(quadrant(), {}), "which way is the front?"),
    "scan body on a crown": ("a.ply", lambda: encode_ply(with_post(), {}), "is that all teeth? Something stands"),
    "words in the header": (
        "a.stl", lambda: b"Patient: Invented Person".ljust(80, b"\0") + encode_stl(arch())[80:], "it was not taken over into any result"
    ),
    "four faces at one edge": ("frame.ply", lambda: encode_ply(touching(), {}), "at edges with three or more faces removed"),
    "wrong arch named": ("upper.ply", lambda: encode_ply(arch(), {}), "is it really the upper?"),
    "self-intersecting": ("solid.ply", lambda: encode_ply(folded(), {}), "where the surface cut through itself"),
    "5,000,000 triangles": ("many.ply", lambda: encode_ply(many_triangles(), {}), "the fitting surface is still cut from the full scan"),
    "wrong ending": ("a.stl", lambda: encode_ply(arch(), {}), ""),
}  # fmt: skip
GOOD = {"format": "claspwright-case", "version": 1, "cast": {"file": "cast.ply", "sha256": "", "arch": "lower"}}
ONE_TOOTH = {"chart": {"teeth": [{"fdi": 34, "seeds": [[0, 0, 0]]}]}}
CASES: dict[str, tuple[str, str]] = {
    "case: no JSON": ("{", "not valid JSON"),
    "case: 100,000 brackets": ("[" * 100_000, "not valid JSON"),
    "case: number of 5,000 digits": ('{"version": ' + "1" * 5000 + "}", "not valid JSON"),
    "case: another format": ('{"format": "other"}', "not a Claspwright case file"),
    "case: unknown version": (json.dumps(GOOD | {"version": 99}), "99 is not known to this release"),
    "case: wrong type": (json.dumps(GOOD | {"chart": {"teeth": "all"}}), "case.chart.teeth: a list is needed, not text"),
    "case: unknown field": (json.dumps(GOOD | {"tooths": []}), "case.tooths: no such field"),
    "case: path that leaves the folder": (
        json.dumps(GOOD | {"cast": {"file": "../../x.ply", "sha256": "", "arch": "lower"}}), "must be a plain file name beside the case"
    ),
    "case: placement that mirrors the scan": (
        json.dumps(GOOD | ONE_TOOTH | {"cast": GOOD["cast"] | {"to_cast": np.diag([-1.0, 1, 1, 1]).tolist()}}), "mirrors or distorts it"
    ),
    "case: control characters": (json.dumps(GOOD | {"title": "a\x1b[2J"}), "case.title: the text holds a control character"),
    "case: scan is missing": (json.dumps(GOOD | ONE_TOOTH), "cast.ply: cannot be read"),
}  # fmt: skip


def file_of(folder: Path, name: str, content: Callable) -> Path:
    path = folder / name
    if content is huge:
        huge(path)
    else:
        path.write_bytes(content())
    return path


def one_line_and_no_file(arguments: list[str], folder: Path, words: str, capsys) -> None:
    assert main([*arguments, "-o", str(folder / "out"), "--quiet"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and words in err and err.count("\n") == 1 and err.startswith("claspwright: ") and len(err) < 400
    assert not (folder / "out").exists() or list((folder / "out").iterdir()) == []


@pytest.mark.parametrize("what", REFUSED)
def test_refused_scans(tmp_path, capsys, monkeypatch, what):
    from claspwright.core.cast import threemf

    monkeypatch.setattr(threemf, "MAX_UNPACKED", 1_000_000)  # the same guard, a smaller bomb
    name, content, words = REFUSED[what]
    one_line_and_no_file(["survey", str(file_of(tmp_path, name, content))], tmp_path, words, capsys)


@pytest.mark.parametrize("what", CASES)
def test_refused_cases(tmp_path, capsys, what):
    text, words = CASES[what]
    (tmp_path / "case.json").write_text(text)
    if "mirrors" in what:
        (tmp_path / "cast.ply").write_bytes(encode_ply(arch(), {}))
    one_line_and_no_file(["build", str(tmp_path / "case.json")], tmp_path, words, capsys)


@pytest.mark.parametrize("what", TAKEN)
def test_taken_scans_say_what_was_done_or_ask(tmp_path, monkeypatch, what):
    monkeypatch.setattr(intake, "WORK_MOST", 190_000)  # the same reduction, a smaller scan; the large one is in test_cast_reduce.py
    monkeypatch.setattr(reduce, "_TARGETS", (20_000, 60_000))
    name, content, words = TAKEN[what]
    cast = load_cast(
        file_of(tmp_path, name, content), keep_frame=name == "frame.ply", arch="upper" if name == "upper.ply" else None,
        add_base=name == "solid.ply",
    )  # fmt: skip
    said = [*cast.changes, *cast.questions]
    assert any(words in line for line in said), said
    assert "Invented" not in str(said)


def table() -> str:
    rows = ["| what is given | what it gets |", "| --- | --- |"]
    rows += [f"| {what} | refused: \"{words}\" |" for what, (_, _, words) in REFUSED.items()]
    rows += [f"| {what} | taken: \"{words}\" |" if words else f"| {what} | taken as what it is |" for what, (_, _, words) in TAKEN.items()]
    rows += [f"| {what} | refused: \"{words}\" |" for what, (_, words) in CASES.items()]
    return "\n".join(rows)


def test_the_table_in_the_page_is_this_one():
    assert table() in PAGE.read_text(encoding="utf-8"), "run this file and put what it prints into DEVELOPERS.md"


if __name__ == "__main__":
    print(table())
