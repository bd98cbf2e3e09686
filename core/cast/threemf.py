"""3MF: a zip with XML inside. Read with guards (nothing is ever unpacked to disk), written with fixed bytes.

Source: 3MF Core Specification 1.3 (units, components, build items) and the production extension's `p:path`.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Mapping
from typing import Any
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from ..errors import CastError
from ..mesh import Floats, Mesh
from .formats import Raw, check_count

UNITS = {"micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0}
MAX_UNPACKED = 1_500_000_000
"""bytes of XML; 12 million triangles need about this much"""
MAX_DEPTH = 16

_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_START = "3D/3dmodel.model"


class _Model:
    """Collects one model part while expat walks over it; no tree is built, so depth and size cost nothing."""

    def __init__(self) -> None:
        self.unit = "millimeter"
        self.vertices: dict[str, list[tuple[str, str, str]]] = {}
        self.faces: dict[str, list[tuple[str, str, str]]] = {}
        self.components: dict[str, list[tuple[str, str, str]]] = {}
        self.items: list[tuple[str, str, str]] = []
        self._object = ""

    def start(self, name: str, a: dict[str, str]) -> None:
        tag = name.rsplit("}", 1)[-1]
        path = next((v for k, v in a.items() if k.rsplit("}", 1)[-1] == "path"), "").lstrip("/")
        if tag == "vertex":
            self.vertices[self._object].append((a["x"], a["y"], a["z"]))
        elif tag == "triangle":
            self.faces[self._object].append((a["v1"], a["v2"], a["v3"]))
        elif tag == "object":
            self._object = a["id"]
            self.vertices[self._object], self.faces[self._object], self.components[self._object] = [], [], []
        elif tag == "component":
            self.components[self._object].append((path, a["objectid"], a.get("transform", "")))
        elif tag == "item":
            self.items.append((path, a["objectid"], a.get("transform", "")))
        elif tag == "model":
            self.unit = a.get("unit", "millimeter")


def _refuse(*_: Any) -> None:
    raise CastError("the 3MF declares XML entities, which a scan never needs; export it again")


def _parse(data: bytes) -> _Model:
    model = _Model()
    parser = expat.ParserCreate(namespace_separator="}")
    parser.StartElementHandler = model.start
    parser.StartDoctypeDeclHandler = _refuse
    parser.EntityDeclHandler = _refuse
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise CastError(f"the XML in the 3MF breaks off at line {error.lineno}; export it again") from None
    except (KeyError, UnicodeError, LookupError):
        raise CastError("an element of the 3MF lacks a needed attribute; export it again") from None
    return model


def read_3mf(data: bytes) -> Raw:
    """All build items of the package, put in place by their transforms."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            return _Package(package).read()
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, OSError, OverflowError, struct.error):
        # damaged sizes and places make the library seek and unpack nonsense, and it says so in all these ways (found by fuzzing)
        raise CastError("the 3MF is no readable zip package (damaged, cut short or locked); export it again") from None


class _Package:
    def __init__(self, package: zipfile.ZipFile) -> None:
        self.package = package
        self.budget = MAX_UNPACKED
        self.models: dict[str, _Model] = {}
        self.parts: list[tuple[Floats, np.ndarray]] = []
        self.triangles = 0

    def member(self, name: str) -> bytes:
        """One part, read within what is left of the size budget (the size that the zip states is not trusted)."""
        try:
            with self.package.open(name) as stream:
                data = stream.read(self.budget + 1)
        except KeyError:
            raise CastError(f"the 3MF points to {name[:60]!r}, which is not inside it; export it again") from None
        self.budget -= len(data)
        if self.budget < 0:
            raise CastError(f"the 3MF unpacks to more than {MAX_UNPACKED / 1e9:.1f} GB; reduce the scan and export it again")
        return data

    def model(self, name: str) -> _Model:
        if name not in self.models:
            self.models[name] = _parse(self.member(name))
        return self.models[name]

    def start(self) -> str:
        if "_rels/.rels" not in self.package.namelist():
            return _START
        found: list[str] = []

        def element(name: str, a: dict[str, str]) -> None:
            if name.rsplit("}", 1)[-1] == "Relationship" and a.get("Type", "").endswith("/3dmodel"):
                found.append(a.get("Target", "").lstrip("/"))

        parser = expat.ParserCreate(namespace_separator="}")
        parser.StartElementHandler = element
        parser.StartDoctypeDeclHandler = _refuse
        try:
            parser.Parse(self.member("_rels/.rels"), True)
        except expat.ExpatError:
            raise CastError("the relationships in the 3MF are damaged; export it again") from None
        return found[0] if found else _START

    def read(self) -> Raw:
        root = self.start()
        model = self.model(root)
        if model.unit not in UNITS:
            raise CastError(f"the 3MF declares the unknown unit {model.unit[:20]!r}; export it in millimetres")
        for path, ident, transform in model.items:
            self.place(path or root, ident, _matrix(transform), 0)
        if not self.parts:
            raise CastError("the 3MF holds no mesh to build; export the scan as a mesh")
        offset, vertices, faces = 0, [], []
        for points, triangles in self.parts:
            vertices.append(points)
            faces.append(triangles + offset)
            offset += len(points)
        return Raw(np.concatenate(vertices), np.concatenate(faces), unit=model.unit)

    def place(self, path: str, ident: str, matrix: Floats, depth: int) -> None:
        if depth > MAX_DEPTH:
            raise CastError(f"the 3MF nests objects deeper than {MAX_DEPTH}, or an object contains itself; export it flat")
        model = self.model(path)
        if ident not in model.vertices:
            raise CastError(f"the 3MF asks for object {ident[:20]!r}, which it does not hold; export it again")
        if model.faces[ident]:
            self.triangles += len(model.faces[ident])
            check_count(self.triangles)
            try:
                points = np.array(model.vertices[ident], dtype=np.float64).reshape(-1, 3)
                faces = np.array(model.faces[ident], dtype=np.float64).reshape(-1, 3).astype(np.int64)
            except ValueError:
                raise CastError("a number in the 3MF is damaged; export it again") from None
            if len(faces) and (faces.min() < 0 or faces.max() >= len(points)):
                raise CastError("a triangle of the 3MF names a vertex that does not exist; export it again")
            mirrored = np.linalg.det(matrix[:3, :3]) < 0
            self.parts.append((points @ matrix[:3, :3] + matrix[3, :3], faces[:, ::-1] if mirrored else faces))
        for sub, child, transform in model.components[ident]:
            self.place(sub or path, child, _matrix(transform) @ matrix, depth + 1)


def _matrix(text: str) -> Floats:
    """3MF writes row vectors: (4, 4) with the translation in the last row."""
    matrix = np.eye(4)
    if text:
        try:
            matrix[:, :3] = np.array([float(v) for v in text.split()]).reshape(4, 3)
        except ValueError:
            raise CastError("a transform in the 3MF is damaged; export it again") from None
    return matrix


_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Target="/{_START}" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


def _object(number: int, name: str, mesh: Mesh) -> str:
    # One format over all numbers: three times quicker than one a line.
    points = ('<vertex x="%.9g" y="%.9g" z="%.9g"/>\n' * len(mesh.vertices)) % tuple((mesh.vertices + 0.0).ravel().tolist())
    triangles = ('<triangle v1="%d" v2="%d" v3="%d"/>\n' * len(mesh.faces)) % tuple(mesh.faces.ravel().tolist())
    called = f" name={quoteattr(name)}" if name else ""
    return (
        f'<object id="{number}" type="model"{called}><mesh>\n<vertices>\n{points}\n</vertices>\n<triangles>\n{triangles}\n'
        "</triangles></mesh></object>"
    )


def encode_3mf(parts: Mesh | Mapping[str, Mesh], metadata: Mapping[str, str] | None = None) -> bytes:
    """One object for each part, in millimetres, with its name; a bare mesh is one part without a name.

    metadata : of the core specification's own names (Title, Designer, Description, Application...). The same input gives the same bytes
    (fixed time stamps, fixed order). Coordinates carry 9 digits: every 32-bit number comes back as it was, and no two corners become one.
    """
    named = {"": parts} if isinstance(parts, Mesh) else parts
    notes = "".join(f"<metadata name={quoteattr(name)}>{escape(words)}</metadata>\n" for name, words in (metadata or {}).items())
    objects = "\n".join(_object(k, name, mesh) for k, (name, mesh) in enumerate(named.items(), 1))
    items = "".join(f'<item objectid="{k}"/>' for k in range(1, len(named) + 1))
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en-US" xmlns="{_CORE}">\n{notes}'
        f"<resources>{objects}</resources>\n<build>{items}</build></model>\n"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as package:
        for name, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _RELS), (_START, model)):
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            info.create_system = 3
            info.external_attr = 0o644 << 16
            package.writestr(info, text.encode("utf-8"), compresslevel=4)
    return out.getvalue()
