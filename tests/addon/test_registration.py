"""Registering the add-on from the installed package, without the extension loader: again and again, and nothing left behind."""

import pytest

bpy = pytest.importorskip("bpy")

import claspwright  # noqa: E402 (after the check for bpy)


def ours() -> set[str]:
    """Properties that an add-on could leave on Blender's own types."""
    owners = ("Scene", "Object", "WindowManager", "Mesh", "Collection")
    return {f"{owner}.{name}" for owner in owners for name, _ in getattr(bpy.types, owner).bl_rna.properties.items()}


def test_register_and_unregister_three_times():
    before = ours()
    for _ in range(3):
        claspwright.register()
        assert ours() != before
        claspwright.unregister()
        assert ours() == before
