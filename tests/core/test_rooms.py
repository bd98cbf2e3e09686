"""The rule of the house: rooms import only from rooms below, core never imports Blender, addon/ holds no geometry.

Read from the source with `ast`, so a forbidden import is found even where the line never runs.
"""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from claspwright.core import ROOMS

ROOT = Path(__file__).resolve().parents[2]
CORE, ADDON = ROOT / "core", ROOT / "addon"
BLENDER = {"bpy", "bpy_extras", "bl_ui", "bmesh", "mathutils", "gpu", "gpu_extras", "blf", "imbuf", "freestyle", "aud", "idprop"}
GEOMETRY = {"scipy", "trimesh", "manifold3d", "embreex", "fast_simplification"}
CORE_MAY = {"numpy", *GEOMETRY, "PIL", "reportlab", "distributed"}  # the last is an optional extra


def imports(tree: ast.AST) -> Iterator[tuple[int, int, str]]:
    """(line, level, dotted name) of each import; `from . import x` and `from .. import x` give one row for each x."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, 0, alias.name
        elif isinstance(node, ast.ImportFrom):
            names = [node.module] if node.module else [alias.name for alias in node.names]
            for name in names:
                yield node.lineno, node.level, name or ""
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in ("import_module", "__import__"):
                text = str(node.args[0].value)
                yield node.lineno, len(text) - len(text.lstrip(".")), text.lstrip(".")


def core_faults(parts: tuple[str, ...], source: str) -> list[str]:
    """What is wrong with the imports of one core module; `parts` is its path below core/, without the suffix."""
    room, faults = parts[0], []
    for line, level, name in imports(ast.parse(source)):
        top = name.split(".")[0]
        if level == 0:
            if top in BLENDER:
                faults.append(f"line {line}: core imports Blender ({name})")
            elif top == "claspwright":
                faults.append(f"line {line}: {name} must be imported relatively")
            elif top not in sys.stdlib_module_names and top not in CORE_MAY:
                faults.append(f"line {line}: {name} is not one of core's dependencies")
            continue
        package = ("core", *parts[:-1])  # the package that holds this module
        if level == len(package) + 1 and name == "__version__":
            continue  # the one thing core takes from the package root
        if level > len(package):
            faults.append(f"line {line}: imports from above core")
            continue
        target = (*package[: len(package) - level + 1], *name.split("."))
        if target == ("core", "ROOMS"):
            continue
        if target[1] not in ROOMS:
            faults.append(f"line {line}: core/{target[1]} is not in ROOMS")
        elif ROOMS.index(target[1]) > ROOMS.index(room):
            faults.append(f"line {line}: {room} imports the higher room {target[1]}")
    return faults


def module_parts(path: Path) -> tuple[str, ...]:
    return path.relative_to(CORE).with_suffix("").parts


MODULES = sorted(p for p in CORE.rglob("*.py") if p != CORE / "__init__.py")


def test_every_room_is_named_and_every_name_is_a_room():
    on_disk = {p.stem for p in CORE.glob("*.py") if p.stem != "__init__"} | {p.parent.name for p in CORE.glob("*/__init__.py")}
    assert on_disk - set(ROOMS) == set(), "rooms on disk that core/__init__.py does not name"
    assert len(set(ROOMS)) == len(ROOMS)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: "/".join(module_parts(p)))
def test_a_room_imports_only_rooms_below(path: Path):
    assert core_faults(module_parts(path), path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("import bpy", "imports Blender"),
        ("def f():\n    from mathutils import Vector", "imports Blender"),
        ("import importlib\nimportlib.import_module('bpy')", "imports Blender"),
        ("from ..teeth import find_teeth", "higher room teeth"),
        ("from ..teeth.crowns import x", "higher room teeth"),
        ("from .. import teeth", "higher room teeth"),
        ("from ... import addon", "above core"),
        ("import claspwright.core.mesh", "relatively"),
        ("import matplotlib", "dependencies"),
        ("from ..nonsense import x", "not in ROOMS"),
    ],
)
def test_the_rule_catches(source: str, words: str):
    """The checker itself, on a module of the survey that breaks each rule once."""
    assert any(words in fault for fault in core_faults(("survey", "path"), source))


def test_the_rule_allows_what_is_right():
    source = "import numpy as np\nfrom ..mesh import Mesh\nfrom ..errors import CastError\nfrom . import path\nfrom .path import Path\n"
    assert core_faults(("survey", "contour"), source) == []
    assert core_faults(("survey", "__init__"), "from .path import Path\nfrom ..mesh import Mesh\n") == []
    assert core_faults(("mesh",), "from .errors import GeometryError\n") == []
    assert core_faults(("output", "record"), "from ... import __version__\n") == []


@pytest.mark.parametrize("path", sorted(ADDON.rglob("*.py")), ids=lambda p: str(p.relative_to(ADDON)))
def test_the_addon_holds_no_geometry(path: Path):
    absolute = [(line, name) for line, level, name in imports(ast.parse(path.read_text(encoding="utf-8"))) if level == 0]
    found = [f"line {line}: {name}" for line, name in absolute if name.split(".")[0] in GEOMETRY]
    assert found == [], "geometry belongs into core/"


def loaded_after(statement: str) -> set[str]:
    """Top-level modules of a fresh interpreter after one statement."""
    code = f"{statement}\nimport sys; print(*{{n.split('.')[0] for n in sys.modules}})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    return set(done.stdout.split())


def test_importing_the_root_loads_nothing_heavy():
    assert loaded_after("import claspwright") & (BLENDER | CORE_MAY) == set()


def test_the_whole_core_loads_without_blender():
    names = [".".join(("claspwright.core", *(q for q in module_parts(p) if q != "__init__"))) for p in MODULES if p.stem != "__main__"]
    loaded = loaded_after("\n".join(f"import {n}" for n in names))
    assert "claspwright" in loaded
    assert loaded & BLENDER == set()
