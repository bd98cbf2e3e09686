"""What our objects are made of in Blender: stone, wax, metal, and the ink of the lines."""

from __future__ import annotations

from typing import Any

import bpy

# name: (entry of the core's table of materials, metallic, roughness)
LOOKS = {"stone": ("stone", 0.0, 0.75), "wax": ("wax", 0.0, 0.35), "metal": ("metal", 1.0, 0.25)}


def linear(srgb: tuple[float, ...]) -> tuple[float, float, float]:
    """Linear light of a colour on the screen, 0..1."""
    return _linear(srgb)[:3]


def _linear(srgb: tuple[float, ...]) -> tuple[float, float, float, float]:
    import numpy as np

    from ..core.output.materials import to_linear

    red, green, blue = (float(c) for c in to_linear(np.array(srgb)))
    return red, green, blue, 1.0


def give(thing: bpy.types.Object, look: str, *, surveyed: bool = False) -> None:
    """Put the material on an object, also as its colour in the solid view. surveyed: renders show the colours of the survey."""
    from ..core.output.materials import MATERIALS

    entry, metallic, roughness = LOOKS[look]
    colour = _linear(MATERIALS[entry].colour)
    _assign(thing, _material(f"Claspwright {look}{' surveyed' if surveyed else ''}", colour, metallic, roughness, surveyed), colour)


def give_ink(thing: bpy.types.Object, name: str, srgb: tuple[float, ...]) -> None:
    """A plain line colour."""
    colour = _linear(srgb)
    _assign(thing, _material(f"Claspwright {name}", colour, 0.0, 0.9, False), colour)


def _assign(thing: bpy.types.Object, material: bpy.types.Material, colour: tuple[float, float, float, float]) -> None:
    thing.color = colour
    slots = thing.data.materials
    if not len(slots):
        slots.append(material)


def flat_colour(look: str, count: int) -> Any:
    """(count, 3) linear colour of a look, for views that show an object by its colour attribute."""
    import numpy as np

    from ..core.output.materials import MATERIALS

    return np.tile(np.array(_linear(MATERIALS[LOOKS[look][0]].colour)[:3], dtype=np.float32), (count, 1))


def _material(name: str, colour: tuple, metallic: float, roughness: float, surveyed: bool) -> bpy.types.Material:
    found = bpy.data.materials.get(name)
    if found is not None:
        return found
    made = bpy.data.materials.new(name)
    made.diffuse_color, made.metallic, made.roughness = colour, metallic, roughness
    if bpy.app.version < (5, 0, 0):
        made.use_nodes = True  # always so from 5.0 on, and said to be outdated there
    tree: Any = made.node_tree
    shader = next((n for n in tree.nodes if n.type == "BSDF_PRINCIPLED"), None) if tree else None
    if tree and shader:
        shader.inputs["Base Color"].default_value = colour
        shader.inputs["Metallic"].default_value = metallic
        shader.inputs["Roughness"].default_value = roughness
        if surveyed:  # renders show the survey that the view shows
            source = tree.nodes.new("ShaderNodeVertexColor")
            tree.links.new(source.outputs["Color"], shader.inputs["Base Color"])
    return made
