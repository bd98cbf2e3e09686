"""For the tests inside Blender: the add-on registered once, a fresh scene for each test, and one small case on a coarse made-up cast."""

import importlib.util
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

bpy = pytest.importorskip("bpy")

import claspwright  # noqa: E402 (after the check for bpy)

_spec = importlib.util.spec_from_file_location("small_case", Path(__file__).with_name("small_case.py"))
assert _spec is not None and _spec.loader is not None
SMALL: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(SMALL)


@pytest.fixture(scope="session")
def registered() -> Iterator[None]:
    """The add-on on for the whole run; taken off at the end, or a callback left behind would hang the process."""
    claspwright.register()
    yield
    claspwright.unregister()


@pytest.fixture
def scene(registered: None) -> Any:
    """A fresh file: the scene that Blender starts with, and an undo stack that begins here."""
    bpy.ops.wm.read_factory_settings()
    bpy.context.preferences.edit.use_global_undo = True
    bpy.ops.ed.undo_push(message="start")
    return bpy.context.scene


@pytest.fixture(scope="session")
def case_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return SMALL.small_case(tmp_path_factory.mktemp("case"))


@pytest.fixture(scope="session")
def large_case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same on a cast of 200,000 triangles."""
    return SMALL.small_case(tmp_path_factory.mktemp("large"), 200_000)


@pytest.fixture
def opened(scene: Any, case_file: Path) -> Any:
    """The small case open in a fresh scene."""
    assert bpy.ops.claspwright.open_case(filepath=str(case_file)) == {"FINISHED"}
    return bpy.context.scene


@pytest.fixture(scope="session")
def built_file(registered: None, case_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small case built once (quick look) and saved as a .blend, for the tests that need a framework."""
    bpy.ops.wm.read_factory_settings()
    assert bpy.ops.claspwright.open_case(filepath=str(case_file)) == {"FINISHED"}
    bpy.context.scene.claspwright.quick = True
    assert bpy.ops.claspwright.build() == {"FINISHED"}
    path = tmp_path_factory.mktemp("built") / "built.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def built(built_file: Path) -> Any:
    """The built case, opened from its .blend."""
    bpy.ops.wm.open_mainfile(filepath=str(built_file))
    return bpy.context.scene
