"""Components that stand by themselves, drawn over the view as wax: what is not metal yet. Lit by the graphics card."""

from __future__ import annotations

from typing import Any

import bpy
from gpu_extras.batch import batch_for_shader

from . import lit, live, rays

_VERTEX = """
void main() {
  light = 0.30 + 0.70 * clamp(dot(normal, lamp), 0.0, 1.0);
  gl_Position = projection * vec4(pos + 0.1 * normal, 1.0);  // a skin over metal that is there already
}
"""
_FRAGMENT = """
void main() {
  shown = vec4(tint.rgb * light, 1.0);
}
"""
OTHER = (0.36, 0.60, 0.72, 1.0)  # the wax of the core's own pictures
CHOSEN = (0.45, 0.78, 0.90, 1.0)
REFUSED = (0.85, 0.45, 0.30, 1.0)

kept: dict[str, Any] = {}  # "shader", "handle"
batches: dict[str, tuple[int, Any]] = {}  # component: the count of its mesh, and the batch


def _shader() -> Any:
    if "shader" not in kept:
        kept["shader"] = lit.shader("claspwright_wax", ("light",), [("VEC4", "tint")], _VERTEX, _FRAGMENT)
    return kept["shader"]


def _batch(name: str, part: live.Part) -> Any:
    if name not in batches or batches[name][0] != part.count:
        fields: Any = {"pos": part.mesh["vertices"], "normal": part.mesh["normals"]}
        batches[name] = (part.count, batch_for_shader(_shader(), "TRIS", fields, indices=part.mesh["faces"]))
    return batches[name][1]


def draw() -> None:
    """Draw handler, POST_VIEW."""
    context: Any = bpy.context
    scene = context.scene
    if not live.now.parts or scene is None or not context.space_data.overlay.show_overlays:
        return
    case, thing = rays.case_and_cast(scene)
    if case is None or thing is None:
        return
    shader = _shader()
    lit.begin(shader, context.region_data, thing)
    for k, name in enumerate(live.waxed(scene, case)):
        part = live.now.parts.get(name)
        if part is not None and part.mesh:
            shader.uniform_float("tint", REFUSED if part.refused else CHOSEN if k == 0 else OTHER)
            _batch(name, part).draw(shader)
    lit.end()


def register() -> None:
    handler: Any = draw
    kept["handle"] = bpy.types.SpaceView3D.draw_handler_add(handler, (), "WINDOW", "POST_VIEW")


def unregister() -> None:
    handle = kept.get("handle")
    if handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    kept.clear()
    batches.clear()
