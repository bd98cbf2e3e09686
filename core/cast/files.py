"""Scan files in, mesh files out: the format chosen by content and name."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..errors import CastError
from ..files import write_atomic
from ..mesh import Mesh
from .formats import Raw, read_obj, read_ply, read_stl
from .headers import left_out
from .threemf import encode_3mf, read_3mf

MAX_BYTES = 2_000_000_000
_READERS = {".stl": read_stl, ".ply": read_ply, ".obj": read_obj, ".3mf": read_3mf}
FORMATS = tuple(_READERS)


def read_mesh(path: str | os.PathLike[str]) -> tuple[Mesh, dict[str, Any]]:
    """The surface as the file holds it, in the file's own unit and frame: nothing welded, nothing repaired.

    Returns the mesh and a header: `format`, `unit` (declared by the file, or None), `sha256`, `bytes`, `triangles`, `remarks`.
    Raises CastError, one line, for everything that cannot be read as a surface.
    """
    path = Path(path)
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise CastError(f"{path.name}: {size / 1e9:.1f} GB is more than the {MAX_BYTES / 1e9:.0f} GB that can be read; reduce the scan")
        data = path.read_bytes()
    except OSError as error:
        raise CastError(f"{path.name}: cannot be read ({error.strerror or error}); check the name and the permission") from None
    if not data:
        raise CastError(f"{path.name}: the file is empty; copy or export it again")
    kind = _kind(path, data)
    try:
        raw = _READERS[kind](data)
        _check(raw)
    except CastError as error:
        raise CastError(f"{path.name}: {error}") from None
    except MemoryError:
        raise CastError(f"{path.name}: too large for this computer's memory; reduce the scan") from None
    digest = hashlib.sha256(data).hexdigest()
    header = {"format": kind[1:], "unit": raw.unit, "sha256": digest, "bytes": len(data)}
    remarks = (*raw.remarks, *left_out(kind, data))
    return Mesh(raw.vertices, raw.faces), header | {"triangles": len(raw.faces), "remarks": remarks}


def triangles_in(path: str | os.PathLike[str]) -> int | None:
    """How many triangles a file says it holds, from its first lines; None where they do not say (OBJ, 3MF, text) or it cannot be read."""
    try:
        size = Path(path).stat().st_size
        with open(path, "rb") as stream:
            head = stream.read(4096)
    except OSError:
        return None
    if head[:3] == b"ply":
        found = re.search(rb"\nelement face (\d{1,12})\s", head)
        return int(found[1]) if found else None
    count = int.from_bytes(head[80:84], "little")
    return count if len(head) >= 84 and size == 84 + 50 * count else None


def _kind(path: Path, data: bytes) -> str:
    """By what the file begins with, where that is certain (a wrong ending is common), else by its ending."""
    if data[:4] in (b"ply\n", b"ply\r"):
        return ".ply"
    if data[:4] == b"PK\x03\x04":
        return ".3mf"
    suffix = path.suffix.lower()
    if suffix not in _READERS:
        raise CastError(f"{path.name}: not a scan format that can be read; use STL, PLY, OBJ or 3MF")
    return suffix


def _check(raw: Raw) -> None:
    if not len(raw.faces) or not len(raw.vertices):
        raise CastError("no triangles in the file; export a surface, not points or curves")
    if raw.faces.min() < 0 or raw.faces.max() >= len(raw.vertices):
        raise CastError(f"a triangle names vertex {int(raw.faces.max())}, but there are {len(raw.vertices):,}; export the scan again")


def write_mesh(path: str | os.PathLike[str], mesh: Mesh, *, vertex_data: Mapping[str, ArrayLike] | None = None) -> None:
    """Write STL (binary), PLY (binary, with one property a vertex for each entry of `vertex_data`) or 3MF by the name's ending.

    The file appears whole or not at all, and the same mesh gives the same bytes. `vertex_data` is for PLY only: (n,) arrays;
    float64 is stored as float, bool as uchar. Raises CastError for an unknown ending or data that does not fit.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if vertex_data and suffix != ".ply":
        raise CastError(f"{path.name}: values for each vertex can be stored in PLY only; choose a name that ends in .ply")
    if suffix == ".stl":
        data = encode_stl(mesh)
    elif suffix == ".ply":
        data = encode_ply(mesh, vertex_data or {})
    elif suffix == ".3mf":
        data = encode_3mf(mesh)
    else:
        raise CastError(f"{path.name}: meshes are written as .stl, .ply or .3mf; choose one of these endings")
    write_atomic(path, data)


def encode_stl(mesh: Mesh) -> bytes:
    """Binary STL. The header says the unit, since the format cannot; normals are those of the corners as they are stored."""
    mesh = Mesh(mesh.vertices.astype(np.float32), mesh.faces)
    facet = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    table = np.zeros(len(mesh.faces), facet)
    table["normal"] = mesh.face_normals
    table["corners"] = mesh.triangles
    return b"unit: millimetre".ljust(80, b" ") + len(mesh.faces).to_bytes(4, "little") + table.tobytes()


_PLY_KINDS = {"f8": "float", "f4": "float", "b1": "uchar", "u1": "uchar", "i1": "char", "i2": "short", "u2": "ushort", "u4": "uint"}
_PLY_STORED = {"float": "<f4", "uchar": "u1", "char": "i1", "short": "<i2", "ushort": "<u2", "int": "<i4", "uint": "<u4", "double": "<f8"}


def encode_ply(mesh: Mesh, vertex_data: Mapping[str, ArrayLike]) -> bytes:
    """Binary little-endian PLY; coordinates as double, so that a cast reads back bit for bit."""
    fields: list[tuple[str, str]] = [(axis, "double") for axis in "xyz"]
    columns = [mesh.vertices[:, k] for k in range(3)]
    for name, values in vertex_data.items():
        column = np.asarray(values)
        if column.shape != (len(mesh.vertices),):
            raise CastError(f"the values {name!r} must be one a vertex ({len(mesh.vertices)}), not {column.shape}")
        if not name.isidentifier() or column.dtype.kind not in "fbiu":
            raise CastError(f"the values {name!r} cannot be stored in PLY: give a plain name and numbers")
        fields.append((name, _PLY_KINDS.get(column.dtype.str[1:], "int")))
        columns.append(column)
    table = np.zeros(len(mesh.vertices), [(name, _PLY_STORED[kind]) for name, kind in fields])
    for (name, _), column in zip(fields, columns, strict=True):
        table[name] = column
    faces = np.zeros(len(mesh.faces), [("n", "u1"), ("v", "<i4", 3)])
    faces["n"], faces["v"] = 3, mesh.faces
    lines = ["ply", "format binary_little_endian 1.0", "comment unit: millimetre", f"element vertex {len(mesh.vertices)}"]
    lines += [f"property {kind} {name}" for name, kind in fields]
    lines += [f"element face {len(mesh.faces)}", "property list uchar int vertex_indices", "end_header", ""]
    return "\n".join(lines).encode("ascii") + table.tobytes() + faces.tobytes()
