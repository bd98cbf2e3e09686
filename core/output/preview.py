"""The preview for the dentist: one HTML file with a 3-D view that turns, works offline and needs nothing but a browser.

Meshes travel as base64: positions in 16 bits over the box of the case (some micrometres), normals in 8 bits a component, the light of
the sky baked in 8 bits. The viewer is preview.js beside this module: plain WebGL 2, no library.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from ..errors import GeometryError
from ..mesh import Floats, Mesh
from .drawing import rgb
from .palette import ramp
from .report import asset
from .scene import Part, open_sky
from .simplify import Simplified, simplify

MOST_FACES = 210_000  # of all parts together: under 6 MB on the page
POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'"  # nothing is fetched, ever
CAUTION = (
    "For looking only. Not a certified medical device; the cast shown here is simplified. "
    "A clinician approves the design, and the framework is tried on the cast and in the mouth."
)


def preview_html(
    parts: Sequence[Part], *, title: str = "Framework on its cast", patient_code: str = "", arch: str = "lower",
    path: Floats | None = None, moving: Sequence[str] = ("framework",), most_faces: int = MOST_FACES, mark: str = "",
) -> str:
    """The page as text.

    parts : shown in this order; a part's name is the label of its switch; vertex colours can be switched off
    path : (3,) the way off the teeth: gives a slider that lifts the parts named in `moving` along it
    most_faces : of all parts together; larger parts are simplified to fit
    mark : says which design this is (a hash), on the page and in the notes to the laboratory
    Raises GeometryError without parts.
    """
    if not parts:
        raise GeometryError("a preview needs at least one part")
    boxes = np.array([p.mesh.bounds for p in parts])
    low, high = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
    shares = _shares([len(p.mesh.faces) for p in parts], most_faces)
    scene = {
        "low": [round(float(c), 4) for c in low],
        "size": round(float((high - low).max()), 4),
        "high": [round(float(c), 4) for c in high],
        "arch": arch,
        "title": title,
        "code": patient_code,
        "mark": mark,
        "path": None if path is None else [round(float(c), 6) for c in np.asarray(path) / np.linalg.norm(path)],
        "ramp": _ramp_stops(),
        "parts": [_packed(p, low, float((high - low).max()), p.name in moving, share) for p, share in zip(parts, shares, strict=True)],
    }
    data = json.dumps(scene, separators=(",", ":")).replace("<", "\\u003c")
    heading = escape(title) + (f" <small>{escape(patient_code)}</small>" if patient_code else "")
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        f"<title>{escape(title)}</title>\n<style>\n{asset('preview.css')}</style>\n</head>\n<body>\n"
        '<canvas id="view" tabindex="0" aria-label="3-D view: drag to turn, wheel or pinch to zoom, arrow keys turn"></canvas>\n'
        f'<h1>{heading}</h1>\n<div id="panel"></div>\n<p id="message" hidden></p>\n<footer>{escape(CAUTION)}</footer>\n'
        f'<script type="application/json" id="scene">{data}</script>\n<script>\n{asset("preview.js")}</script>\n</body>\n</html>\n'
    )


def _ramp_stops(count: int = 9) -> list[str]:
    """The undercut ramp as CSS colours, shallow first."""
    table = ramp()
    chosen = [rgb(tuple(table[round(i * (len(table) - 1) / (count - 1))])) for i in range(count)]
    return [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in chosen]


def _shares(counts: Sequence[int], total: int) -> list[int]:
    """Triangles for each part: small parts keep all of theirs, the rest is shared evenly among the others."""
    shares = [0] * len(counts)
    left = total
    for rank, i in enumerate(sorted(range(len(counts)), key=lambda k: counts[k])):
        shares[i] = min(counts[i], left // (len(counts) - rank))
        left -= shares[i]
    return shares


def _packed(part: Part, low: Floats, size: float, moves: bool, most_faces: int) -> dict[str, object]:
    small = simplify(part.mesh, most_faces)
    mesh = small.mesh
    look = part.look
    out: dict[str, object] = {
        "name": part.name,
        "metal": look.metal,
        "opacity": look.opacity,
        "colour": [round(c, 4) for c in look.colour],
        "moves": moves,
    }
    vertex, normal, faces = _split_at_creases(mesh, small.corner_normals(part.mesh.vertex_normals))
    if part.group_of is not None:
        faces, out["groups"] = _sorted_by_group(faces, _group_of_faces(part, small), part.groups)
    light = small.average(_sky(part)[:, None])[:, 0]  # of the whole mesh: folds of the simplified one would be dark specks
    out["points"] = _base64(np.round((mesh.vertices[vertex] - low) / size * 65535).astype("<u2"))
    out["normals"] = _base64(np.column_stack([np.round(normal * 127), np.round(light[vertex] * 127)]).astype("i1"))
    wide = len(vertex) > 65535
    out["wide"] = wide
    out["faces"] = _base64(faces.astype("<u4" if wide else "<u2"))
    if part.vertex_colours is not None:
        tint = small.average(np.asarray(part.vertex_colours, dtype=np.float64))
        out["tint"] = _base64(np.round(np.clip(tint[vertex], 0, 1) * 255).astype("u1"))
    return out


def _group_of_faces(part: Part, small: Simplified) -> NDArray:
    """(m,) group of each simplified face: that of its first corner."""
    assert part.group_of is not None
    label = np.zeros(len(small.mesh.vertices), dtype=np.int64)
    kept = small.origin >= 0
    label[small.origin[kept]] = part.group_of[kept]
    return label[small.mesh.faces].max(axis=1)


def _sorted_by_group(faces: NDArray, group: NDArray, names: Sequence[str]) -> tuple[NDArray, list[dict[str, object]]]:
    """Faces in order of their group, and for each group that has any its name, first corner and number of corners."""
    order = np.argsort(group, kind="stable")
    count = np.bincount(group, minlength=len(names))
    start = np.cumsum(count) - count
    ranges = [{"name": n, "start": int(3 * s), "count": int(3 * c)} for n, s, c in zip(names, start, count, strict=True) if c]
    return faces[order], ranges


def _sky(part: Part) -> NDArray:
    """Share of open sky at each vertex. A part darkens only itself, since others can be lifted off or switched off."""
    if part.look.opacity < 1:
        return np.ones(len(part.mesh.vertices), dtype=np.float32)
    return open_sky(part.mesh)


def _split_at_creases(mesh: Mesh, corners: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """Vertices doubled where the normal jumps: old vertex of each (k,), its normal (k, 3), faces (m, 3)."""
    flat = mesh.faces.reshape(-1)
    step = np.round(corners.reshape(-1, 3) * 15).astype(np.int64) + 16
    key = ((flat * 32 + step[:, 0]) * 32 + step[:, 1]) * 32 + step[:, 2]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    return flat[first], corners.reshape(-1, 3)[first], inverse.reshape(-1, 3)


def _base64(array: NDArray) -> str:
    return base64.b64encode(np.ascontiguousarray(array).tobytes()).decode("ascii")
