"""Undercut depth against an independent reading of its definition, on real scans and made-up casts.

The reference knows nothing of rims, rays or trees: everything at or above a point's height is cut off by trimesh, projected along the
path, united by shapely, and the distance to the border of the union is shapely's. The real scans are named by their SHA-256 and live
outside the repository (variable CLASPWRIGHT_CASTS, or a folder shared/casts beside it); without them those tests are skipped.
"""

import hashlib
import os
from dataclasses import replace
from functools import cache
from pathlib import Path as File

import numpy as np
import pytest
import shapely
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.phantom import SAMPLES, make_phantom
from claspwright.core.survey import Path, survey

# Oral scans of uppers are stored occlusal side down; turned about Y here so that the path meets the teeth.
SCANS = {
    "stone_upper": ("e690b90455d1a34a6d4081807d2f02217adfca2ee2a8edd4265638d8d0672d31", False),
    "oral_upper": ("58a9a2f472dd0f4503a69f67bcbf488b2da967b61b13bacd569ca25cdc2c9cc2", True),
}
PHANTOMS = ("lower_class_i",)
TILTS = (Path(0.0, 0.0), Path(6.0, -4.0), Path(-5.0, 8.0))
# A union takes a while; the full comparison sets this to 400.
SAMPLES_EACH = int(os.environ.get("CLASPWRIGHT_SURVEY_SAMPLES", "12"))
REACH_MM = 1.6
# Slits narrower than this between triangles are rounding of the union, not gaps.
SLIT_MM = 2e-4


def reference_depth(mesh: Mesh, path: Path, points: np.ndarray) -> np.ndarray:
    """(k,) mm, for points not deeper than REACH_MM."""
    rotation = path.rotation
    corners = (mesh.vertices @ rotation.T)[mesh.faces]
    low, high, top = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1), corners[:, :, 2].max(axis=1)
    depth = np.zeros(len(points))
    for i, p in enumerate(points @ rotation.T):
        near = np.flatnonzero((top >= p[2]) & (low < p[:2] + REACH_MM).all(axis=1) & (high > p[:2] - REACH_MM).all(axis=1))
        part = trimesh.Trimesh(corners[near].reshape(-1, 3), np.arange(3 * len(near)).reshape(-1, 3), process=False)
        above = trimesh.intersections.slice_mesh_plane(part, [0, 0, 1], [0, 0, p[2]])
        flat = above.vertices[above.faces][:, :, :2]
        u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
        flat = flat[np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) > 1e-12]
        shadow = shapely.union_all(shapely.polygons(np.concatenate([flat, flat[:, :1]], axis=1)), grid_size=1e-6)
        shadow = shadow.buffer(SLIT_MM).buffer(-SLIT_MM)
        point = shapely.Point(p[:2])
        depth[i] = shadow.boundary.distance(point) if shadow.contains(point) else 0.0
    return depth


@cache
def _phantom(name: str) -> Mesh:
    return make_phantom(replace(SAMPLES[name], triangles=40_000)).mesh


@cache
def _scan(name: str) -> Mesh:
    digest, turn = SCANS[name]
    folder = File(os.environ.get("CLASPWRIGHT_CASTS", File(__file__).parents[3] / "shared" / "casts"))
    file = folder / f"{name}.ply"
    if not file.is_file() or hashlib.sha256(file.read_bytes()).hexdigest() != digest:
        pytest.skip(f"the real scan {name} is not here")
    loaded = trimesh.load(file, process=False)
    mesh = Mesh(np.asarray(loaded.vertices), np.asarray(loaded.faces))
    return mesh.transformed(np.diag([-1.0, 1.0, -1.0, 1.0])) if turn else mesh


def _compare(mesh: Mesh, path: Path, count: int) -> np.ndarray:
    result = survey(mesh, path)
    told = np.flatnonzero((result.undercut > 0.0) & (result.undercut < 1.5))
    chosen = np.random.default_rng(3).choice(told, count, replace=False)
    return np.abs(result.undercut[chosen] - reference_depth(mesh, path, mesh.vertices[chosen]))


@pytest.mark.parametrize("path", TILTS)
@pytest.mark.parametrize("name", sorted(SCANS))
def test_depth_on_real_scans(name: str, path: Path) -> None:
    error = _compare(_scan(name), path, SAMPLES_EACH)
    assert np.median(error) <= 0.005
    assert np.quantile(error, 0.99) <= 0.03


@pytest.mark.parametrize("name", PHANTOMS)
def test_depth_on_made_up_casts(name: str) -> None:
    error = _compare(_phantom(name), TILTS[1], SAMPLES_EACH)
    assert np.median(error) <= 0.005
    assert np.quantile(error, 0.99) <= 0.03
