"""OBJ and GLB: for looking and for other programs. What is made from is STL or 3MF."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..mesh import Mesh

METRES = 0.001  # glTF 2.0, section 3.4: all distances in metres, +Y up


@dataclass(frozen=True, eq=False)
class Look:
    """How a part looks in a GLB. colour : linear red, green, blue, 0 to 1; metal and rough 0 to 1; vertex_colours (n, 3) uint8 or None."""

    colour: tuple[float, float, float] = (0.8, 0.8, 0.8)
    metal: float = 0.0
    rough: float = 0.6
    vertex_colours: np.ndarray | None = None


def encode_obj(parts: Mapping[str, Mesh]) -> bytes:
    """Text, one `o` group a part, millimetres (the format has no unit: a comment says it), 9 digits."""
    lines = ["# unit: millimetre"]
    first = 1
    for name, mesh in parts.items():
        lines.append("o " + "_".join(name.split()))
        lines += [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in (mesh.vertices + 0.0).tolist()]
        lines += [f"f {a} {b} {c}" for a, b, c in (mesh.faces + first).tolist()]
        first += len(mesh.vertices)
    return ("\n".join(lines) + "\n").encode("ascii", "replace")


class _Binary:
    """The binary chunk of a GLB and the tables that point into it."""

    def __init__(self) -> None:
        self.data = bytearray()
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []

    def add(self, array: np.ndarray, kind: str, component: int, target: int, **more: Any) -> int:
        self.data += b"\0" * (-len(self.data) % 4)
        raw = np.ascontiguousarray(array).tobytes()
        self.views.append({"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw), "target": target})
        self.data += raw
        view = len(self.views) - 1
        self.accessors.append({"bufferView": view, "componentType": component, "count": len(array), "type": kind, **more})
        return view


def encode_glb(parts: Mapping[str, Mesh], looks: Mapping[str, Look] | None = None) -> bytes:
    """glTF 2.0 in one binary file: a node a part, metres, Y up (Z of the cast frame becomes Y)."""
    binary = _Binary()
    nodes, meshes, materials = [], [], []
    for k, (name, mesh) in enumerate(parts.items()):
        look = (looks or {}).get(name, Look())
        x, y, z = mesh.vertices.T
        points = (np.column_stack([x, z, -y]) * METRES).astype("<f4")
        low, high = points.min(axis=0).astype(float).tolist(), points.max(axis=0).astype(float).tolist()
        normal = mesh.vertex_normals[:, [0, 2, 1]] * [1.0, 1.0, -1.0]
        place = {"POSITION": binary.add(points, "VEC3", 5126, 34962, min=low, max=high)}
        place["NORMAL"] = binary.add(normal.astype("<f4"), "VEC3", 5126, 34962)
        if look.vertex_colours is not None:
            rgba = np.column_stack([look.vertex_colours, np.full(len(points), 255)]).astype("u1")
            place["COLOR_0"] = binary.add(rgba, "VEC4", 5121, 34962, normalized=True)
        faces = binary.add(mesh.faces.astype("<u4").reshape(-1), "SCALAR", 5125, 34963)
        nodes.append({"name": name, "mesh": k})
        meshes.append({"name": name, "primitives": [{"attributes": place, "indices": faces, "material": k}]})
        surface = {"baseColorFactor": [*look.colour, 1.0], "metallicFactor": look.metal, "roughnessFactor": look.rough}
        materials.append({"name": name, "pbrMetallicRoughness": surface})
    scene = {
        "asset": {"version": "2.0", "generator": "claspwright"}, "scene": 0, "scenes": [{"nodes": list(range(len(nodes)))}],
        "nodes": nodes, "meshes": meshes, "materials": materials, "accessors": binary.accessors, "bufferViews": binary.views,
        "buffers": [{"byteLength": len(binary.data)}],
    }  # fmt: skip
    text = json.dumps(scene, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    body = bytes(binary.data) + b"\0" * (-len(binary.data) % 4)
    chunks = len(text).to_bytes(4, "little") + b"JSON" + text + len(body).to_bytes(4, "little") + b"BIN\0" + body
    return b"glTF" + (2).to_bytes(4, "little") + (12 + len(chunks)).to_bytes(4, "little") + chunks
