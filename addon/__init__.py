"""The Blender side: everything that imports bpy. For now one empty settings group, so that the package installs and registers."""

import bpy


class CLASPWRIGHT_PG_settings(bpy.types.PropertyGroup):
    """Claspwright's settings, kept in the scene."""


def register() -> None:
    bpy.utils.register_class(CLASPWRIGHT_PG_settings)
    bpy.types.Scene.claspwright = bpy.props.PointerProperty(type=CLASPWRIGHT_PG_settings)


def unregister() -> None:
    del bpy.types.Scene.claspwright
    bpy.utils.unregister_class(CLASPWRIGHT_PG_settings)
