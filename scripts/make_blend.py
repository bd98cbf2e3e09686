"""Build the sample cases and save each as sample_scenes/NAME/NAME.blend: to be opened without the add-on, too. Needs a Python with bpy.

.venv-bpy45/bin/python scripts/make_blend.py [NAME...] [--pictures FOLDER] [--quick]

For show the meshes are thinned; the case document inside is whole, so with the add-on the case can be worked on and built again.
"""

from __future__ import annotations

import argparse
import importlib
import math
import sys
from pathlib import Path
from typing import Any

import bpy
import claspwright
from claspwright.core.case import load_case
from claspwright.core.mesh import Mesh
from claspwright.core.pipeline import build
from mathutils import Euler, Vector

ROOT = Path(__file__).resolve().parents[1]
STONE_TRIANGLES, METAL_TRIANGLES = 36_000, 40_000


def show(role: str, name: str, mesh: Mesh, look: str, triangles: int) -> Any:
    """A mesh of the core as an object with its material, in the add-on's own collection, thinned by Blender's own modifier."""
    bridge, materials = (importlib.import_module(f"claspwright.addon.{room}") for room in ("bridge", "materials"))
    whole = bpy.data.objects.new(name, bridge.to_blender(mesh.vertices, mesh.faces, name))
    bpy.context.scene.collection.objects.link(whole)
    thin: Any = whole.modifiers.new("Thin", "DECIMATE")
    thin.ratio = min(1.0, triangles / len(mesh.faces))
    data = bpy.data.meshes.new_from_object(whole.evaluated_get(bpy.context.evaluated_depsgraph_get()))
    bpy.data.objects.remove(whole)
    data.name = name
    data.set_sharp_from_angle(angle=math.radians(40.0))
    bridge.set_colours(data, "Look", materials.flat_colour(look, len(data.vertices)))
    bridge.show_colours(data, "Look")
    thing = bridge.put_object(bpy.context.scene, role, name, data)
    materials.give(thing, look)
    return thing


def studio(scene: Any, size: float) -> None:
    """A camera from above and behind, where the connector is seen; a large soft lamp, a light ground. size: of the cast, mm."""
    camera = scene.objects["Camera"]
    turn = Euler((math.radians(33.0), 0.0, math.radians(-16.0)))
    corners = [Vector(c) for c in scene.objects["Prepared cast"].bound_box]
    middle = sum(corners, Vector()) / len(corners)
    camera.rotation_euler = turn
    camera.location = middle + turn.to_matrix() @ Vector((0.0, 0.0, 3.6 * size))
    camera.data.lens, camera.data.clip_start, camera.data.clip_end = 80.0, 1.0, 20.0 * size
    lamp = scene.objects["Light"]
    lamp.data.type = "AREA"
    lamp.data.energy, lamp.data.size = 60.0 * size**2, size
    lamp.location = (0.8 * size, 0.6 * size, 1.6 * size)
    lamp.rotation_euler = (math.radians(-35.0), math.radians(26.0), 0.0)
    world = scene.world or bpy.data.worlds.new("World")
    scene.world = world
    world.color = (0.55, 0.56, 0.58)
    scene.render.resolution_x, scene.render.resolution_y = 1200, 900


def make(name: str, *, quick: bool) -> Path:
    """One sample: the prepared cast in stone and the framework in metal, with the case document in the scene."""
    folder = ROOT / "sample_scenes" / name
    bpy.ops.wm.read_factory_settings()
    scene: Any = bpy.context.scene
    case = load_case(folder / "case.json")
    made = build(case, quick=quick)
    document, bridge = (importlib.import_module(f"claspwright.addon.{room}") for room in ("document", "bridge"))
    bridge.prepare_units(scene)
    bpy.data.objects.remove(scene.objects["Cube"])
    document.store(scene, case)
    show("prepared", "Prepared cast", made.prepared.mesh, "stone", STONE_TRIANGLES)
    show("framework", "Framework", made.framework, "metal", METAL_TRIANGLES)
    scene.claspwright.folder = "//"
    studio(scene, 62.0)
    bpy.ops.outliner.orphans_purge(do_recursive=True)
    target = folder / f"{name}.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(target), compress=True, relative_remap=True)
    target.with_suffix(".blend1").unlink(missing_ok=True)
    return target


def picture(file: Path) -> None:
    """A quick render by the workbench engine, to look at."""
    scene: Any = bpy.context.scene
    scene.render.engine = "BLENDER_WORKBENCH"
    scene.display.shading.light, scene.display.shading.color_type = "STUDIO", "MATERIAL"
    scene.display.shading.show_cavity = True
    scene.render.filepath = str(file)
    bpy.ops.render.render(write_still=True)


def main() -> int:
    """Command line of this script."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--quick", action="store_true")
    options = parser.parse_args()
    claspwright.register()
    for name in options.names or sorted(p.parent.name for p in (ROOT / "sample_scenes").glob("*/case.json")):
        made = make(name, quick=options.quick)
        print(f"{made.relative_to(ROOT)}  {made.stat().st_size / 1e6:.1f} MB")
        if options.pictures:
            picture(options.pictures / f"{name}.png")
    claspwright.unregister()
    return 0


if __name__ == "__main__":
    sys.exit(main())
