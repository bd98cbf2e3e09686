"""Claspwright: the metal framework of a removable partial denture, from a scanned cast.

This module is at once the root of the Python package and Blender's entry point, so importing it has no side effects:
nothing heavy and nothing of Blender is loaded before `register` is called.
"""

import importlib
import sys
from types import ModuleType

__version__ = "0.1.0"


# The lowest NumPy that the bundled SciPy imports on (blender_manifest.toml says which Blender brings which).
OLDEST_NUMPY = (1, 26)


def _addon() -> ModuleType:
    return importlib.import_module(".addon", __package__)


def _require_numpy() -> None:
    """Refuse a Blender whose NumPy is too old, before SciPy fails on it with a page of traceback."""
    found = importlib.import_module("numpy").__version__
    if tuple(int(part) for part in found.split(".")[:2]) < OLDEST_NUMPY:
        oldest = ".".join(map(str, OLDEST_NUMPY))
        raise RuntimeError(f"Claspwright needs NumPy {oldest} or later and this Blender brings {found}: use Blender 4.4 or later")


def register() -> None:
    """Register the Blender add-on. Raises RuntimeError with one clear line where Blender's own NumPy is too old."""
    _require_numpy()
    _addon().register()


def unregister() -> None:
    """Unregister it; under Blender's extension loader also forget the submodules, so that a reload is a fresh one."""
    _addon().unregister()
    if (__package__ or "").startswith("bl_ext."):
        for name in [n for n in sys.modules if n.startswith(f"{__package__}.")]:
            del sys.modules[name]
