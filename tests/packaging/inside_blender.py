"""Run inside a Blender (module or desktop): install the zip, enable it, do a piece of work, disable, uninstall; write what was seen.

    python inside_blender.py -- ZIP RESULT.json          (a Python with bpy)
    blender --background --factory-startup --python inside_blender.py -- ZIP RESULT.json

Everything that was seen goes into one JSON file, and the tests judge it; here nothing is asserted, so a failure shows all of it.
"""

import importlib
import json
import sys
import time
import traceback

import bpy
import numpy as np

addon_utils = importlib.import_module("addon_utils")  # Blender's own; on the path only once bpy is loaded

NAME = "bl_ext.user_default.claspwright"
BASES = ("PropertyGroup", "Operator", "Panel", "Menu", "UIList", "Header", "AddonPreferences", "Gizmo", "GizmoGroup", "WorkSpaceTool")
BUNDLED = ("scipy", "trimesh", "manifold3d", "embreex", "PIL")


def registered_classes() -> list[str]:
    """Our classes that Blender holds now."""
    found, queue = set(), [getattr(bpy.types, base) for base in BASES if hasattr(bpy.types, base)]
    while queue:
        cls = queue.pop()
        queue += cls.__subclasses__()
        if cls.__module__.startswith(NAME) and getattr(cls, "is_registered", False):
            found.add(cls.__name__)
    return sorted(found)


def footprint() -> dict:
    """What an extension can leave behind: classes, properties on Blender's own types, handlers, key maps, timers."""
    owners = ("Scene", "Object", "WindowManager", "Mesh", "Collection", "Material", "World", "Image")
    handlers = {n: len(v) for n in dir(bpy.app.handlers) if isinstance(v := getattr(bpy.app.handlers, n), list)}
    configs = bpy.context.window_manager.keyconfigs
    keys = {c.name: sum(len(m.keymap_items) for m in c.keymaps) for c in (configs.addon,) if c}
    properties = {o: sorted(getattr(bpy.types, o).bl_rna.properties.keys()) for o in owners}
    return {"classes": registered_classes(), "handlers": handlers, "keys": keys, "properties": properties}


def work() -> dict:
    """A small job of the core under the installed name: a sphere by a boolean kernel, its mesh measures, and rays against it."""
    import manifold3d

    mesh_room = importlib.import_module(f"{NAME}.core.mesh")
    path_room = importlib.import_module(f"{NAME}.core.survey")
    sphere = mesh_room.Mesh.from_manifold(manifold3d.Manifold.sphere(5.0, 128))
    seen = path_room.survey(sphere, path_room.Path())
    return {
        "closed": bool(sphere.is_closed),
        "volume": float(sphere.volume),
        "deepest": float(np.max(seen.undercut)),
        "visible": float(np.mean(seen.visible)),
    }


def main(archive: str) -> dict:
    seen: dict = {"blender": bpy.app.version_string, "python": list(sys.version_info[:2]), "numpy": np.__version__}
    seen["before"] = footprint()
    bpy.ops.extensions.package_install_files(filepath=archive, repo="user_default", enable_on_install=True)
    seen["enabled"] = NAME in bpy.context.preferences.addons
    seen["installed"] = footprint()
    import_paths = {name: importlib.import_module(name).__file__ for name in (*BUNDLED, "numpy")}
    seen["paths"] = import_paths
    seen["user"] = bpy.utils.user_resource("EXTENSIONS")
    started = time.perf_counter()
    seen["work"] = work()
    seen["work_seconds"] = time.perf_counter() - started
    seen["cycles"] = []
    for _ in range(2):
        addon_utils.disable(NAME, default_set=True)
        seen["disabled"] = footprint()
        seen["modules_left"] = sorted(n for n in sys.modules if n.startswith(f"{NAME}."))
        addon_utils.enable(NAME, default_set=True)
        seen["cycles"].append(footprint() == seen["installed"])
    repos = [repo.module for repo in bpy.context.preferences.extensions.repos]
    bpy.ops.extensions.package_uninstall(repo_index=repos.index("user_default"), pkg_id="claspwright")
    seen["after"] = footprint()
    seen["enabled_after"] = NAME in bpy.context.preferences.addons
    return seen


if __name__ == "__main__":
    zip_path, result_path = sys.argv[-2:]
    try:
        result = main(zip_path)
    except BaseException:
        result = {"error": traceback.format_exc()}
        raise
    finally:
        with open(result_path, "w", encoding="utf-8") as stream:
            json.dump(result, stream)
