"""Block-out against closed forms, against rays, and against its own laws."""

from __future__ import annotations

from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from claspwright.core.blockout import block_out, shadow, undercut_volume
from claspwright.core.blockout.sheets import overlapping_pairs, sheets, swept_down
from claspwright.core.errors import GeometryError
from claspwright.core.mesh import Mesh
from claspwright.core.phantom import SAMPLES, make_phantom
from claspwright.core.survey import Path, RayScene, survey

FRUSTUM = Mesh.from_manifold(manifold3d.Manifold.cylinder(6.0, 4.0, 5.0, 256))


def bumpy(seed: int, count: int = 14) -> Mesh:
    """A base with balls and bars that overhang one another: what teeth and tissue do to a path, without looking like them."""
    rng = np.random.default_rng(seed)
    parts = [manifold3d.Manifold.cube((24, 16, 3)).translate((-12, -8, 0))]
    for _ in range(count):
        at = rng.uniform([-9, -5, 2], [9, 5, 9])
        parts.append(manifold3d.Manifold.sphere(float(rng.uniform(1.0, 2.6)), 32).scale(rng.uniform(0.6, 1.5, 3)).translate(at))
        parts.append(manifold3d.Manifold.cylinder(at[2], float(rng.uniform(0.3, 0.8)), 0.5, 24).translate((at[0], at[1], 0)))
    return Mesh.from_manifold(manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add))


@pytest.mark.parametrize(("radius", "volume"), [(5.0, 130.900), (4.0, 67.021)])
def test_ball_on_a_floor_takes_a_third_of_pi_r_cubed(radius: float, volume: float) -> None:
    """pi R^3 / 3 (cylinder less hemisphere below the equator), for any path when the floor lies across it."""
    ball = Mesh.from_manifold(manifold3d.Manifold.sphere(radius, 256))
    assert volume == pytest.approx(np.pi * radius**3 / 3, rel=1e-5)
    for path in (Path(), Path(9.0, -6.0)):
        blocked = block_out(ball, path, floor_mm=-radius)
        assert undercut_volume(ball, blocked) == pytest.approx(volume, rel=5e-4)


@pytest.mark.parametrize(("taper", "volume", "tolerance"), [(0.0, 87.9646, 3e-4), (2.0, 107.988, 1e-3), (6.0, 149.898, 1e-3)])
def test_inverted_frustum(taper: float, volume: float, tolerance: float) -> None:
    """Top 5, base 4, height 6: the rest of its cylinder, or of the cone that opens below its rim by the taper."""
    solid = FRUSTUM if taper == 0 else Mesh.from_manifold(manifold3d.Manifold.cylinder(6.0, 4.0, 5.0, 128))
    rim = 5.0 + 6.0 * np.tan(np.radians(taper))
    cone = np.pi * 6.0 / 3.0 * (25.0 + 5.0 * rim + rim**2)
    exact = cone - np.pi * 6.0 / 3.0 * (25.0 + 20.0 + 16.0)
    assert volume == pytest.approx(exact, rel=1e-5)
    assert undercut_volume(solid, block_out(solid, Path(), taper_deg=taper)) == pytest.approx(exact, rel=tolerance)


def test_taper_hardly_depends_on_layer_height() -> None:
    ring = Mesh.from_manifold(manifold3d.Manifold.cylinder(6.0, 4.0, 5.0, 64))
    share = 32 / np.pi * np.sin(np.pi / 32)  # of a 64-gon in its circle
    exact = 107.988 * share
    coarse, fine = (abs(undercut_volume(ring, block_out(ring, Path(), taper_deg=2.0, step_mm=s)) - exact) for s in (1.0, 0.2))
    assert fine < 1e-3 * exact and coarse < 4e-3 * exact


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("path", [Path(), Path(8.0, -5.0)])
def test_what_is_blocked_out_is_what_rays_find_in_shadow(seed: int, path: Path) -> None:
    """Points at random: inside the block-out exactly where a ray along the path, from the point outward, meets the cast (Embree)."""
    solid = bumpy(seed)
    blocked = block_out(solid, path)
    body = blocked.to_manifold()
    assert blocked.is_closed and len(body.decompose()) == 1
    rng = np.random.default_rng(seed)
    points = rng.uniform(solid.bounds[0] + 0.01, solid.bounds[1], (4000, 3))
    shaded = RayScene(solid).occluded(points, path.vector)
    inside = RayScene(blocked).occluded(points, path.vector)
    assert 0.05 < shaded.mean() < 0.98
    # What rays find below the cast is below the block-out, and nothing else is: it never stands over what the path sees.
    assert (shaded != inside).mean() < 1e-3
    assert body.volume() == pytest.approx(shaded.mean() * np.prod(np.ptp(solid.bounds - [[-0.01] * 3, [0] * 3], axis=0)), rel=0.06)


@pytest.mark.parametrize("path", [Path(), Path(-7.0, 4.0)])
def test_no_undercut_is_left_and_nothing_visible_is_covered(path: Path) -> None:
    solid = bumpy(7)
    blocked = block_out(solid, path)
    centres = blocked.triangles.mean(axis=1)
    longest = np.linalg.norm(blocked.triangles - np.roll(blocked.triangles, 1, axis=1), axis=2).max(axis=1)
    big = (2.0 * blocked.face_areas / longest > 1e-3) & (centres[:, 2] > 0.01)  # wider than a micrometre
    facing = blocked.face_normals @ path.vector
    assert facing[big].min() > -1e-3 and big.mean() > 0.5
    down = (facing < -1e-3) & (centres[:, 2] > 0.01)
    assert blocked.face_areas[down].sum() < 2e-5 * blocked.face_areas.sum()
    up = (2.0 * blocked.face_areas / longest > 0.02) & (centres[:, 2] > 0.01) & (facing > 0.05)
    assert not RayScene(blocked).occluded(centres[up] + 2e-3 * blocked.face_normals[up], path.vector).any()
    up = solid.face_normals @ path.vector > 0.2
    seen = solid.triangles.mean(axis=1)[up]
    seen = seen[~RayScene(solid).occluded(seen + 2e-3 * solid.face_normals[up], path.vector)]
    height = RayScene(blocked).first_hit(seen + 20.0 * path.vector, -path.vector)[0]
    assert (np.abs(height - 20.0) > 2e-3).mean() < 5e-3  # all but rays that graze a wall


def test_walls_are_parallel_to_the_path() -> None:
    path = Path(6.0, 3.0)
    blocked = block_out(bumpy(4), path)
    facing = blocked.face_normals @ path.vector
    new = np.abs(facing) < 0.02
    assert blocked.face_areas[new].sum() > 20.0
    assert np.average(np.abs(facing[new]), weights=blocked.face_areas[new]) < 1e-3


def test_laws_of_a_shadow() -> None:
    path = Path(5.0, 2.0)
    small, large = bumpy(5, 6), bumpy(5, 9)
    first = block_out(small, path)
    assert (small.to_manifold() - first.to_manifold()).volume() < 1e-3  # contains the cast
    assert block_out(first, path).volume == pytest.approx(first.volume, rel=1e-5)  # idempotent
    both = Mesh.from_manifold(small.to_manifold() + large.to_manifold())
    assert (first.to_manifold() - block_out(both, path).to_manifold()).volume() < 1e-2  # monotone
    wide = block_out(small, path, taper_deg=3.0, step_mm=0.3)
    assert (first.to_manifold() - wide.to_manifold()).volume() < 1e-2 and wide.volume > first.volume + 1.0


def test_a_solid_without_undercut_stays_as_it_is() -> None:
    cone = Mesh.from_manifold(manifold3d.Manifold.cylinder(5.0, 4.0, 2.0, 64))
    assert block_out(cone, Path()) is cone


def test_floor_limits_the_wax() -> None:
    blocked = block_out(FRUSTUM, Path(), floor_mm=3.0)
    upper = np.pi * 25 * 3 - np.pi * 3 / 3 * (25 + 5 * 4.5 + 4.5**2)
    assert undercut_volume(FRUSTUM, blocked) == pytest.approx(upper, rel=1e-3)


def test_bad_input_is_refused_in_one_line() -> None:
    for call, words in (
        (lambda: block_out(FRUSTUM, Path(70.0, 0.0)), "60 or less"),
        (lambda: block_out(FRUSTUM, Path(), taper_deg=40), "0 to 15"),
        (lambda: block_out(FRUSTUM, Path(), step_mm=0), "0.01 to 2"),
        (lambda: block_out(FRUSTUM, Path(), floor_mm=99), "above the whole cast"),
        (lambda: block_out(Mesh(FRUSTUM.vertices, FRUSTUM.faces[1:]), Path()), "closed"),
    ):
        with pytest.raises(GeometryError, match=words) as caught:
            call()
        assert "\n" not in str(caught.value)


def test_overlaps_are_those_that_shapely_finds() -> None:
    shapely = pytest.importorskip("shapely")
    rng = np.random.default_rng(3)
    triangles = rng.uniform(0, 10, (150, 1, 2)) + rng.normal(0, 0.6, (150, 3, 2))
    triangles = np.concatenate([triangles, [[[0, 0], [10, 0.2], [9, 10]]]])
    shapes = [shapely.Polygon(t) for t in triangles]
    expected = {(i, j) for i in range(len(shapes)) for j in range(i) if shapes[i].intersection(shapes[j]).area > 1e-9}
    found = {(int(b), int(a)) for a, b in overlapping_pairs(triangles)}
    assert found == expected


def test_sheets_do_not_overlap_and_sweep_to_closed_solids() -> None:
    solid = bumpy(8)
    down = (solid.face_normals[:, 2] < -1e-6) & (solid.triangles[:, :, 2].max(axis=1) > 0.01)
    faces = solid.faces[down]
    projected = -(solid.face_normals[:, 2] * solid.face_areas)[down]
    found = sheets(faces, solid.vertices)
    assert len(found) > 1 and np.array_equal(np.unique(np.concatenate(found)), np.arange(len(faces)))
    floor = solid.vertices * [1, 1, 0] - [0, 0, 1]
    for sheet in found:
        assert len(overlapping_pairs(solid.vertices[faces[sheet]][:, :, :2])) == 0
        body = swept_down(faces[sheet], solid.vertices, floor)
        assert body.is_closed and body.volume > projected[sheet].sum()  # at least 1 mm deep everywhere


def test_noise_on_upright_walls_is_not_swept_patch_by_patch(monkeypatch: pytest.MonkeyPatch) -> None:
    """A made-up cast with 2 micrometres of noise: thin patches are left out, and what undercut that leaves is of the noise's own size."""
    monkeypatch.setattr(shadow, "MANY", 100)  # a finer cast would have thousands of patches, and take longer to make
    noisy = make_phantom(replace(SAMPLES["lower_class_i"], triangles=60_000, noise_mm=0.002)).mesh
    skin: list[int] = []
    real = shadow._skin
    monkeypatch.setattr(shadow, "_skin", lambda mesh, down: skin.append(int(real(mesh, down).sum())) or real(mesh, down))
    left = np.asarray(survey(block_out(noisy, Path()), Path()).undercut)
    assert skin[0] > 1000
    assert np.quantile(left, 0.999) < 0.015
