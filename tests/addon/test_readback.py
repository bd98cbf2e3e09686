"""Every mesh file of a framework read back by Blender's own importers: same triangles, same volume within 0.01 %, same unit."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from claspwright.core.cast import write_mesh  # noqa: E402
from claspwright.core.cast.scenes import encode_glb, encode_obj  # noqa: E402
from claspwright.core.mesh import Mesh  # noqa: E402

LOADERS = {
    "stl": lambda path: bpy.ops.wm.stl_import(filepath=path),
    "ply": lambda path: bpy.ops.wm.ply_import(filepath=path),
    "obj": lambda path: bpy.ops.wm.obj_import(filepath=path, forward_axis="Y", up_axis="Z"),
    "glb": lambda path: bpy.ops.import_scene.gltf(filepath=path),
}


def corners(mesh: Any) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n, 3) and triangles (m, 3) of Blender's mesh."""
    vertices = np.zeros(3 * len(mesh.vertices), dtype=np.float32)
    mesh.vertices.foreach_get("co", vertices)
    mesh.calc_loop_triangles()
    faces = np.zeros(3 * len(mesh.loop_triangles), dtype=np.int32)
    mesh.loop_triangles.foreach_get("vertices", faces)
    return vertices.reshape(-1, 3).astype(np.float64), faces.reshape(-1, 3).astype(np.int64)


@pytest.mark.parametrize("kind", sorted(LOADERS))
def test_blender_reads_what_is_written(built: Any, tmp_path: Path, kind: str):
    mesh = Mesh(*corners(bpy.data.objects["Framework"].data))
    target = tmp_path / f"framework.{kind}"
    if kind in ("stl", "ply"):
        write_mesh(target, mesh)
    else:
        target.write_bytes(encode_obj({"framework": mesh}) if kind == "obj" else encode_glb({"framework": mesh}))
    before = set(bpy.data.objects)
    LOADERS[kind](str(target))
    (seen,) = [o for o in bpy.data.objects if o not in before and o.type == "MESH"]
    again = Mesh(*corners(seen.data))
    # glTF is in metres, and its importer obeys the length of the scene's unit (here the millimetre).
    metres = (1000.0 * bpy.context.scene.unit_settings.scale_length) ** 3 if kind == "glb" else 1.0
    assert len(again.faces) == len(mesh.faces)
    assert again.volume * metres == pytest.approx(mesh.volume, rel=1e-4)
