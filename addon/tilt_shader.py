"""While the tilt is dragged: which faces turn under, drawn by the graphics card until the exact survey of this tilt is there.

It knows each face alone (its normal against the path), not the shadow of what stands above; so it is a first look, and goes when the
survey comes.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from gpu_extras.batch import batch_for_shader
from mathutils import Vector

from . import derived, lit, rays

_VERTEX = """
void main() {
  slope = dot(normal, path);
  light = 0.35 + 0.65 * clamp(dot(normal, lamp), 0.0, 1.0);
  gl_Position = projection * vec4(pos, 1.0);
  gl_Position.z -= 2e-5 * gl_Position.w;
}
"""
_FRAGMENT = """
void main() {
  float under = clamp(-slope / 0.7, 0.0, 1.0);
  vec3 colour = mix(stone, mix(shallow, deep, under), step(0.0, -slope));
  float edge = max(fwidth(slope), 1e-5);
  colour = mix(ink, colour, smoothstep(0.7 * edge, 1.4 * edge, abs(slope)));
  shown = vec4(colour * light, 1.0);
}
"""
kept: dict[str, Any] = {}  # "shader"; "batch" and the "key" of the mesh it is of; "handle"


def _colours() -> str:
    from ..core.output.materials import MATERIALS
    from ..core.output.palette import SURVEY_LINE, ramp

    named = {"stone": MATERIALS["stone"].colour, "shallow": ramp()[64], "deep": ramp()[-1], "ink": SURVEY_LINE}
    return "".join(f"const vec3 {name} = vec3({', '.join(f'{float(c):.4f}' for c in srgb)});\n" for name, srgb in named.items())


def _shader() -> Any:
    if "shader" not in kept:
        kept["shader"] = lit.shader("claspwright_tilt", ("slope", "light"), [("VEC3", "path")], _VERTEX, _colours() + _FRAGMENT)
    return kept["shader"]


def _batch(data: Any) -> Any:
    key = (data.get(derived.SOURCE, data.name_full), len(data.vertices), len(data.polygons))
    if kept.get("key") != key:
        points, normals = np.empty(3 * len(data.vertices), np.float32), np.empty(3 * len(data.vertices), np.float32)
        data.vertices.foreach_get("co", points)
        data.vertex_normals.foreach_get("vector", normals)
        faces = np.empty(len(data.loops), np.int32)
        data.loops.foreach_get("vertex_index", faces)
        fields: Any = {"pos": points.reshape(-1, 3), "normal": normals.reshape(-1, 3)}
        kept.update(key=key, batch=batch_for_shader(_shader(), "TRIS", fields, indices=faces.reshape(-1, 3)))
    return kept["batch"]


def wanted(scene: bpy.types.Scene, thing: Any, case: Any) -> bool:
    """Whether a tilt is being dragged of which no exact survey is shown yet."""
    tilt = (case.path.anteroposterior_deg, case.path.lateral_deg)
    return bool(derived.dragging) and derived.is_stale(scene, thing, tilt)


def draw() -> None:
    """Draw handler, POST_VIEW."""
    if not derived.dragging:
        return
    context: Any = bpy.context
    case, thing = rays.case_and_cast(context.scene)
    if case is None or thing is None or not thing.visible_get() or not wanted(context.scene, thing, case):
        return
    batch, shader = _batch(thing.data), _shader()
    lit.begin(shader, context.region_data, thing)
    shader.uniform_float("path", Vector(tuple(rays.path_of(case.path.anteroposterior_deg, case.path.lateral_deg).vector)))
    batch.draw(shader)
    lit.end()


def register() -> None:
    handler: Any = draw
    kept["handle"] = bpy.types.SpaceView3D.draw_handler_add(handler, (), "WINDOW", "POST_VIEW")


def unregister() -> None:
    handle = kept.get("handle")
    if handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    kept.clear()
