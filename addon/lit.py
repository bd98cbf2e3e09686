"""Surfaces in the frame of the cast, drawn over the view by a shader of our own and lit as Blender's own solid shading is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import gpu
from mathutils import Vector

LAMP = (0.3, 0.4, 0.85)  # over the viewer's shoulder


def shader(name: str, passed: Sequence[str], constants: Sequence[tuple[str, str]], vertex: str, fragment: str) -> Any:
    """A shader with position and normal in, colour "shown" out. passed : numbers that go on to each pixel; constants : kind and name

    The constants "projection" and "lamp" are there always. 128 bytes of them in all is what every card takes.
    """
    face = gpu.types.GPUStageInterfaceInfo(name)  # type: ignore[call-arg]  # the stub knows no name
    for number in passed:
        face.smooth("FLOAT", number)
    info = gpu.types.GPUShaderCreateInfo()
    for kind, constant in (("MAT4", "projection"), ("VEC3", "lamp"), *constants):
        info.push_constant(kind, constant)
    info.vertex_in(0, "VEC3", "pos")
    info.vertex_in(1, "VEC3", "normal")
    info.vertex_out(face)
    info.fragment_out(0, "VEC4", "shown")
    info.vertex_source(vertex)
    info.fragment_source(fragment)
    return gpu.shader.create_from_info(info)


def begin(made: Any, view: Any, thing: Any) -> None:
    """Ready to draw what lies in the frame of our object."""
    made.bind()
    made.uniform_float("projection", view.perspective_matrix @ thing.matrix_world)
    made.uniform_float("lamp", ((view.view_matrix @ thing.matrix_world).to_3x3().inverted() @ Vector(LAMP)).normalized())
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(True)


def end() -> None:
    """As Blender left it."""
    gpu.state.depth_mask_set(False)
    gpu.state.depth_test_set("NONE")
