"""Components that stand by themselves, drawn over the view as wax: what is not metal yet. Lit by the graphics card."""

from __future__ import annotations

from typing import Any

import bpy
import gpu
from gpu_extras.batch import batch_for_shader
from mathutils import Vector

from ..core.errors import ClaspwrightError
from . import bridge, document, live

_VERTEX = """
void main() {
  light = 0.30 + 0.70 * clamp(dot(normal, lamp), 0.0, 1.0);
  gl_Position = projection * vec4(pos, 1.0);
}
"""
_FRAGMENT = """
void main() {
  shown = vec4(tint.rgb * light, 1.0);
}
"""
LAMP = (0.3, 0.4, 0.85)  # over the viewer's shoulder
OTHER = (0.36, 0.60, 0.72, 1.0)  # the wax of the core's own pictures
CHOSEN = (0.45, 0.78, 0.90, 1.0)
REFUSED = (0.85, 0.45, 0.30, 1.0)

kept: dict[str, Any] = {}  # "shader", "handle"
batches: dict[str, tuple[int, Any]] = {}  # component: the count of its mesh, and the batch


def _shader() -> Any:
    if "shader" not in kept:
        face = gpu.types.GPUStageInterfaceInfo("claspwright_wax")  # type: ignore[call-arg]  # the stub knows no name
        face.smooth("FLOAT", "light")
        info = gpu.types.GPUShaderCreateInfo()
        for kind, name in (("MAT4", "projection"), ("VEC4", "tint"), ("VEC3", "lamp")):
            info.push_constant(kind, name)
        info.vertex_in(0, "VEC3", "pos")
        info.vertex_in(1, "VEC3", "normal")
        info.vertex_out(face)
        info.fragment_out(0, "VEC4", "shown")
        info.vertex_source(_VERTEX)
        info.fragment_source(_FRAGMENT)
        kept["shader"] = gpu.shader.create_from_info(info)
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
    try:
        case = document.find_case(scene)
    except ClaspwrightError:
        return
    thing = bridge.find_object(scene, "cast")
    if case is None or thing is None:
        return
    shader, view = _shader(), context.region_data
    shader.bind()
    shader.uniform_float("projection", view.perspective_matrix @ thing.matrix_world)
    shader.uniform_float("lamp", ((view.view_matrix @ thing.matrix_world).to_3x3().inverted() @ Vector(LAMP)).normalized())
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(True)
    for k, name in enumerate(live.waxed(scene, case)):
        part = live.now.parts.get(name)
        if part is not None and part.mesh:
            shader.uniform_float("tint", REFUSED if part.refused else CHOSEN if k == 0 else OTHER)
            _batch(name, part).draw(shader)
    gpu.state.depth_mask_set(False)
    gpu.state.depth_test_set("NONE")


def register() -> None:
    handler: Any = draw
    kept["handle"] = bpy.types.SpaceView3D.draw_handler_add(handler, (), "WINDOW", "POST_VIEW")


def unregister() -> None:
    handle = kept.get("handle")
    if handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    kept.clear()
    batches.clear()
