"""For the tests inside Blender: the add-on registered once, a fresh scene for each test, and one small case on a coarse made-up cast."""

import dataclasses
import hashlib
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

import claspwright  # noqa: E402 (after the check for bpy)
from claspwright.core import case as doc  # noqa: E402
from claspwright.core.cast import write_mesh  # noqa: E402
from claspwright.core.phantom import SAMPLES, make_phantom  # noqa: E402


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


def small_case(folder: Path) -> Path:
    """Half a prescription on a coarse lower cast: few parts, all of them real, so that a build takes seconds."""
    made = make_phantom(dataclasses.replace(SAMPLES["lower_class_i"], triangles=12_000))
    write_mesh(folder / "cast.ply", made.mesh)
    teeth = tuple(doc.ToothEntry(int(n), seeds=(tuple(round(float(c), 3) for c in np.ravel(p)),)) for n, p in sorted(made.seeds.items()))
    rows = tuple(tuple(float(v) for v in row) for row in np.eye(4))
    case = doc.Case(
        cast=doc.CastEntry("cast.ply", hashlib.sha256((folder / "cast.ply").read_bytes()).hexdigest(), "lower", rows),
        chart=doc.Chart(teeth, tuple(sorted({*map(int, made.missing), 38, 48})), (38, 48)),
        components=(
            doc.LingualBar("lingual bar", start=34, end=44),
            doc.LatticeBase("base 3", teeth=(35, 36, 37)),
            doc.OcclusalRest("rest 34", 34, "mesial", depth_mm=1.0),
            doc.MinorConnector("minor connector 34", 34, "mesial"),
            doc.GuidePlate("guide plate 34", 34, "distal", plane_height_mm=2.0),
            doc.IBar("I-bar 34", 34, base="base 3"),
        ),
        title="A small invented case",
        folder=str(folder),
    )
    doc.save_case(case, folder / "case.json")
    return folder / "case.json"


@pytest.fixture(scope="session")
def case_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_case(tmp_path_factory.mktemp("case"))


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


def document(scene: Any) -> dict[str, Any]:
    """The case document that a scene carries."""
    return json.loads(scene.claspwright.case_text)


def copied(case_file: Path, folder: Path) -> Path:
    """A copy of the case and its scan, to be spoilt."""
    for path in case_file.parent.iterdir():
        shutil.copy(path, folder / path.name)
    return folder / case_file.name
