"""Readers for STL, PLY and OBJ: plain arrays out, one clear line when a file is damaged. Nothing is repaired here.

Sources: the PLY and OBJ layouts are their authors' public descriptions (Turk 1994; Wavefront appendix B1);
STL is the 80-byte header, little-endian count and 50 bytes a facet of the 1989 interface specification.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..errors import CastError
from ..mesh import Floats, Ints

MAX_TRIANGLES = 12_000_000
"""More than twice the largest scan the project promises to take (5 million); beyond it memory, not patience, gives out."""


class Raw(NamedTuple):
    """What a file holds: (n, 3) vertices in file units, (m, 3) faces, remarks in plain words, the unit if declared."""

    vertices: Floats
    faces: Ints
    remarks: tuple[str, ...] = ()
    unit: str | None = None


def check_count(count: int, what: str = "triangles") -> None:
    """Refuse absurd sizes before any memory is taken."""
    if count > MAX_TRIANGLES:
        raise CastError(f"{count:,} {what} are more than the {MAX_TRIANGLES:,} that can be handled; reduce the scan and export it again")


def floats(tokens: list[bytes], remarks: list[str]) -> Floats:
    """Numbers from text, also with decimal commas, which some exporters write under a European locale."""
    if any(b"," in t for t in tokens[:3000]):
        tokens = [t.replace(b",", b".") for t in tokens]
        remarks.append("decimal commas read as decimal points")
    try:
        return np.array(tokens, dtype=np.bytes_).astype(np.float64)
    except ValueError:
        bad = next(t for t in tokens if not _is_number(t))
        raise CastError(f"{bad[:20].decode('latin-1')!r} stands where a number should; the file is damaged, export it again") from None


def _is_number(token: bytes) -> bool:
    try:
        float(token)
    except ValueError:
        return False
    return True


# --- STL -----------------------------------------------------------------------------------------------------------


def read_stl(data: bytes) -> Raw:
    """Binary or ASCII; the byte count decides, since binary files may also begin with `solid`."""
    count = int.from_bytes(data[80:84], "little") if len(data) >= 84 else -1
    if count >= 0 and len(data) == 84 + 50 * count:
        return _stl_binary(data, count)
    if data[:2048].lstrip()[:5].lower() == b"solid" and re.search(rb"facet|endsolid", data[:4096], re.IGNORECASE):
        return _stl_ascii(data)
    if count < 0:
        raise CastError(f"an STL file has at least 84 bytes, this one {len(data)}; export it again")
    if len(data) < 84 + 50 * count:
        held = (len(data) - 84) // 50
        raise CastError(f"cut short: the header promises {count:,} triangles, the file holds {held:,}; copy or export it again")
    return _stl_binary(data, count)._replace(remarks=(f"{len(data) - 84 - 50 * count} bytes after the last triangle ignored",))


def _stl_binary(data: bytes, count: int) -> Raw:
    check_count(count)
    facet = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    corners = np.frombuffer(data, facet, count, 84)["corners"].reshape(-1, 3).astype(np.float64)
    return Raw(corners, np.arange(3 * count, dtype=np.int64).reshape(-1, 3))


def _stl_ascii(data: bytes) -> Raw:
    tokens = re.findall(rb"vertex\s+(\S+)\s+(\S+)\s+(\S+)", data, re.IGNORECASE)
    facets = len(re.findall(rb"endfacet", data, re.IGNORECASE))
    if not re.search(rb"endsolid", data[-4096:], re.IGNORECASE) or len(tokens) != 3 * facets:
        raise CastError(f"cut short: the text ends after {facets:,} whole triangles without `endsolid`; copy or export it again")
    check_count(facets)
    remarks: list[str] = []
    flat = floats([t for row in tokens for t in row], remarks)
    return Raw(flat.reshape(-1, 3), np.arange(3 * facets, dtype=np.int64).reshape(-1, 3), tuple(remarks))


# --- PLY -----------------------------------------------------------------------------------------------------------

_PLY_TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip


class _Property(NamedTuple):
    name: str
    kind: str
    count_kind: str | None = None


class _Element(NamedTuple):
    name: str
    entries: int
    properties: list[_Property]

    def column(self, *names: str) -> int:
        for i, prop in enumerate(self.properties):
            if prop.name in names:
                return i
        raise CastError(f"the PLY element `{self.name}` has no property `{names[0]}`; export the scan again")


def read_ply(data: bytes) -> Raw:
    """ASCII and binary of both byte orders; polygons are cut into triangles, other elements skipped."""
    end = re.search(rb"end_header[^\n]*\n", data[:65536])
    if not data.startswith(b"ply") or end is None:
        raise CastError("the PLY header does not end; the file is damaged or no PLY, export it again")
    form, elements = _ply_header(data[: end.start()].decode("latin-1").splitlines())
    if form == "ascii":
        return _ply_ascii(data[end.end() :], elements)
    return _ply_binary(memoryview(data)[end.end() :], elements, "<" if form == "binary_little_endian" else ">")


def _ply_header(lines: list[str]) -> tuple[str, list[_Element]]:
    form, elements = "", []
    for line in lines[1:]:
        words = line.split()
        try:
            if not words or words[0] in ("comment", "obj_info"):
                continue
            if words[0] == "format":
                form = words[1]
            elif words[0] == "element":
                elements.append(_Element(words[1], int(words[2]), []))
                check_count(elements[-1].entries, words[1] + " entries")
            elif words[0] == "property" and words[1] == "list":
                elements[-1].properties.append(_Property(words[4], _PLY_TYPES[words[3]], _PLY_TYPES[words[2]]))
            elif words[0] == "property":
                elements[-1].properties.append(_Property(words[2], _PLY_TYPES[words[1]]))
        except (IndexError, KeyError, ValueError):
            raise CastError(f"the PLY header line {line[:60]!r} makes no sense; export the scan again") from None
    if form not in ("ascii", "binary_little_endian", "binary_big_endian") or any(e.entries < 0 for e in elements):
        raise CastError(f"the PLY format {form[:30]!r} is unknown; export as binary_little_endian or STL")
    if not {"vertex", "face"} <= {e.name for e in elements}:
        raise CastError("the PLY file has no vertices or no faces (a point cloud?); export a surface")
    return form, elements


def _cut_short(element: _Element) -> CastError:
    return CastError(f"cut short: the header promises {element.entries:,} `{element.name}` entries, the file ends before; export it again")


def _ply_binary(data: memoryview, elements: list[_Element], order: str) -> Raw:
    at, vertices, faces = 0, np.zeros((0, 3)), np.zeros((0, 3), np.int64)
    for element in elements:
        if all(p.count_kind is None for p in element.properties):
            dtype = np.dtype([(f"p{i}", order + p.kind) for i, p in enumerate(element.properties)])
            if len(data) - at < dtype.itemsize * element.entries:
                raise _cut_short(element)
            table = np.frombuffer(data, dtype, element.entries, at)
            at += dtype.itemsize * element.entries
            if element.name == "vertex":
                columns = [f"p{element.column(axis)}" for axis in "xyz"]
                vertices = np.stack([table[c].astype(np.float64) for c in columns], axis=1)
            continue
        wanted = element.column("vertex_indices", "vertex_index") if element.name == "face" else -1
        found = _ply_triangles(data, at, element, order, wanted) if wanted >= 0 else None
        if found is None:
            found = _ply_walk(data, at, element, order, wanted)
        at, polygons = found
        faces = polygons if wanted >= 0 else faces
    return Raw(vertices, faces)


def _ply_triangles(data: memoryview, at: int, element: _Element, order: str, wanted: int) -> tuple[int, Ints] | None:
    """The common case read at one go: every list of every face has three entries, or this gives up."""
    fields: list[tuple] = []
    for i, p in enumerate(element.properties):
        if p.count_kind is not None and i != wanted:
            return None
        fields += [(f"n{i}", order + p.count_kind), (f"p{i}", order + p.kind, 3)] if p.count_kind else [(f"p{i}", order + p.kind)]
    dtype = np.dtype(fields)
    if len(data) - at < dtype.itemsize * element.entries:
        return None
    table = np.frombuffer(data, dtype, element.entries, at)
    if not np.all(table[f"n{wanted}"] == 3):
        return None
    return at + dtype.itemsize * element.entries, table[f"p{wanted}"].astype(np.int64)


def _ply_walk(data: memoryview, at: int, element: _Element, order: str, wanted: int) -> tuple[int, Ints]:
    polygons: list[NDArray] = []
    for _ in range(element.entries):
        for i, p in enumerate(element.properties):
            size, entries = np.dtype(p.kind).itemsize, 1
            if p.count_kind is not None:
                head = np.dtype(order + p.count_kind)
                if at + head.itemsize > len(data):
                    raise _cut_short(element)
                entries = int(np.frombuffer(data, head, 1, at)[0])
                at += head.itemsize
            if entries < 0 or at + size * entries > len(data):
                raise _cut_short(element)
            if i == wanted:
                polygons.append(np.frombuffer(data, order + p.kind, entries, at).astype(np.int64))
            at += size * entries
    return at, fan(polygons)


def _ply_ascii(data: bytes, elements: list[_Element]) -> Raw:
    lines = [line for line in data.splitlines() if line.strip()]
    at, vertices, faces, remarks = 0, np.zeros((0, 3)), np.zeros((0, 3), np.int64), []  # type: ignore[var-annotated]
    for element in elements:
        rows = [line.split() for line in lines[at : at + element.entries]]
        if len(rows) < element.entries:
            raise _cut_short(element)
        at += element.entries
        try:
            if element.name == "vertex":
                columns = [element.column(axis) for axis in "xyz"]
                vertices = floats([row[c] for row in rows for c in columns], remarks).reshape(-1, 3)
            elif element.name == "face":
                faces = fan([_ply_list(row, element) for row in rows])
        except (IndexError, ValueError):
            raise CastError(f"a line of the PLY element `{element.name}` is incomplete; export the scan again") from None
    return Raw(vertices, faces, tuple(remarks))


def _ply_list(row: list[bytes], element: _Element) -> NDArray:
    wanted, at = element.column("vertex_indices", "vertex_index"), 0
    for i, p in enumerate(element.properties):
        entries = int(row[at]) if p.count_kind else 1
        at += 1 if p.count_kind else 0
        if i == wanted:
            if entries < 0 or at + entries > len(row):
                raise ValueError(row)
            return np.array([int(v) for v in row[at : at + entries]], dtype=np.int64)
        at += entries
    raise ValueError(row)


def fan(polygons: list[NDArray]) -> Ints:
    """Triangles from polygons with any number of corners; fewer than three are dropped."""
    parts = []
    lengths = np.array([len(p) for p in polygons], dtype=np.int64)
    for length in np.unique(lengths[lengths >= 3]):
        block = np.stack([polygons[i] for i in np.nonzero(lengths == length)[0]])
        for k in range(1, int(length) - 1):
            parts.append(block[:, [0, k, k + 1]])
    return np.concatenate(parts) if parts else np.zeros((0, 3), np.int64)


# --- OBJ -----------------------------------------------------------------------------------------------------------


def read_obj(data: bytes) -> Raw:
    """Vertices and faces only; materials, texture and normals are left aside."""
    points: list[bytes] = []
    polygons: list[NDArray] = []
    remarks: list[str] = []
    for line in data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ").splitlines():
        words = line.split()
        if not words:
            continue
        if words[0] == b"v":
            if len(words) < 4:
                raise CastError(f"the OBJ line {line[:40].decode('latin-1')!r} lacks coordinates; export the scan again")
            points += words[1:4]
        elif words[0] == b"f":
            try:
                corner = np.array([int(w.split(b"/")[0]) for w in words[1:]], dtype=np.int64)
            except (ValueError, OverflowError):
                raise CastError(f"the OBJ line {line[:40].decode('latin-1')!r} makes no sense; export the scan again") from None
            polygons.append(np.where(corner < 0, corner + len(points) // 3, corner - 1))
    check_count(len(polygons))
    if not points or not polygons:
        raise CastError("no surface in the OBJ file (no `v` or no `f` lines); export a surface")
    return Raw(floats(points, remarks).reshape(-1, 3), fan(polygons), tuple(remarks))
