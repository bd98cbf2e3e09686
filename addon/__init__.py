"""The Blender side: everything that imports bpy. It shows, asks and stores; all geometry is the core's."""

from __future__ import annotations

import importlib
from types import ModuleType

# In the order of registration: property groups before what points at them, operators before the panels that show them.
MODULES = (
    "forms", "settings", "live", "follow", "scan", "derived", "overlay", "tilt_shader", "tilt_gizmo", "wax", "handle_gizmo",
    "jobs", "ops_path", "path_map", "ops_case", "ops_teeth", "ops_mark", "ops_components", "ops_place", "ops_assist", "ops_build",
    "ops_view", "ops_look", "ops_pictures", "ops_advice", "ops_export", "first_steps", "panels_work", "panels_result",
)  # fmt: skip


def _modules() -> list[ModuleType]:
    return [importlib.import_module(f".{name}", __package__) for name in MODULES]


def register() -> None:
    """Register all parts; when one fails, take back those before it and say so."""
    done: list[ModuleType] = []
    try:
        for module in _modules():
            module.register()
            done.append(module)
    except BaseException:
        for module in reversed(done):
            module.unregister()
        raise


def unregister() -> None:
    """Remove everything that `register` added, last first."""
    for module in reversed(_modules()):
        module.unregister()
