"""Claspwright: the metal framework of a removable partial denture, from a scanned cast.

This module is at once the root of the Python package and Blender's entry point, so importing it has no side effects:
nothing heavy and nothing of Blender is loaded before `register` is called.
"""

import importlib
import sys
from types import ModuleType

__version__ = "0.1.0"


def _addon() -> ModuleType:
    return importlib.import_module(".addon", __package__)


def register() -> None:
    """Register the Blender add-on."""
    _addon().register()


def unregister() -> None:
    """Unregister it; under Blender's extension loader also forget the submodules, so that a reload is a fresh one."""
    _addon().unregister()
    if (__package__ or "").startswith("bl_ext."):
        for name in [n for n in sys.modules if n.startswith(f"{__package__}.")]:
            del sys.modules[name]
