"""Connectors of any form: sections measured from a solid against closed forms, a mesh library's slices and the membrane analogy.

Closed forms: handbook of sections in `core/mechanics/sections.py`, themselves checked by quadrature in test_mechanics.py; Roark (torsion of
thin walls: J = sum of t^3 s / 3; circle pi r^4 / 2).
"""

from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from claspwright.core.mechanics import MATERIALS, sections, swept
from claspwright.core.mechanics.connector import frame_of, side_stiffness
from claspwright.core.mechanics.measured import measured_sections
from claspwright.core.pipeline.connector_lines import Planes, cut
from claspwright.core.solids.fields import Blend
from claspwright.core.solids.sweep import half_pear, half_round, make_rail, sweep

UP = np.array([0.0, 0.0, 1.0])
COCR = MATERIALS["cocr_laser"]
STEP = 0.15


def sampled(field: Callable[[np.ndarray, np.ndarray], np.ndarray], half: tuple[float, float], step: float = STEP) -> np.ndarray:
    u, v = (np.arange(-h, h + step / 2, step) for h in half)
    return field(*np.meshgrid(u, v, indexing="ij"))[None]


def capped(section: Callable, width: float, thickness: float) -> Callable:
    """A section of `core/solids` with its flat at v = -thickness / 2, as the cast cuts it."""

    def field(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        w = v + 0.5 * thickness
        half, high = np.full(u.size, 0.5 * width), np.full(u.size, thickness)
        return np.maximum(section(u.ravel(), w.ravel(), half, high).reshape(u.shape), -w)

    return field


@pytest.mark.parametrize("shape, section", [("half_round", half_round), ("half_pear", half_pear)])
@pytest.mark.parametrize("width, thickness", [(4.1, 2.06), (3.75, 1.75), (5.0, 2.5)])
def test_measured_bars_are_the_closed_forms(shape: str, section: Callable, width: float, thickness: float) -> None:
    found, centre = measured_sections(sampled(capped(section, width, thickness), (4.0, 3.0)), STEP)
    exact = sections(shape, width, thickness)
    for name, within in (("area", 0.01), ("inertia", 0.04), ("inertia_edge", 0.03), ("outer", 0.05), ("torsion", 0.08)):
        assert getattr(found, name)[0] == pytest.approx(getattr(exact, name)[0], rel=within), name
    assert centre[0, 1] + 0.5 * thickness == pytest.approx(exact.centroid[0], abs=0.03)


def strip(width: float, thickness: float, radius: float = 1e6) -> Callable:
    """A strip, bent to an arc of the radius across its width (a vault)."""

    def field(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        r = np.hypot(u, v + radius)
        along = radius * np.arctan2(u, v + radius)
        return np.maximum(np.abs(r - radius) - 0.5 * thickness, np.abs(along) - 0.5 * width)

    return field


@pytest.mark.parametrize("thickness", [0.64, 0.8, 1.2])
def test_measured_straps_are_strips(thickness: float) -> None:
    lies, tilt = strip(8.0, thickness), np.radians(6.0)  # no plane lies along the grid
    field = lambda u, v: lies(u * np.cos(tilt) + v * np.sin(tilt), v * np.cos(tilt) - u * np.sin(tilt))  # noqa: E731
    found, _ = measured_sections(sampled(field, (6.0, 2.0)), STEP)[0].turned()
    assert found.thickness[0] == pytest.approx(thickness, rel=0.03) and found.width[0] == pytest.approx(8.0, rel=0.03)
    assert found.inertia[0] == pytest.approx(8 * thickness**3 / 12, rel=0.06)
    assert found.inertia_edge[0] == pytest.approx(thickness * 8**3 / 12, rel=0.02)
    assert found.torsion[0] == pytest.approx(8 * thickness**3 / 3 * (1 - 0.63 * thickness / 8), rel=0.12)


def test_a_vault_stiffens_a_strap_but_not_in_torsion() -> None:
    """An arc of radius R and half angle a: its line t R^3 (a + sin a cos a - 2 sin^2 a / a) (Roark) and the wall's own
    R t^3 / 12 (a + sin a cos a); torsion stays that of the flat strip."""
    radius, width, t = 12.0, 16.0, 0.8
    a = 0.5 * width / radius
    found, _ = measured_sections(sampled(strip(width, t, radius), (10.0, 6.0)), STEP)
    both = a + np.sin(a) * np.cos(a)
    exact = t * radius**3 * (both - 2 * np.sin(a) ** 2 / a) + radius * t**3 / 12 * both
    assert found.inertia[0] == pytest.approx(exact, rel=0.02)
    assert found.inertia[0] > 10 * width * t**3 / 12
    assert found.torsion[0] == pytest.approx(width * t**3 / 3, rel=0.06)
    assert found.twist_radius[0] == pytest.approx(t, rel=0.08)


def test_circle_and_its_torsion() -> None:
    found, _ = measured_sections(sampled(lambda u, v: np.hypot(u, v) - 2.0, (3.0, 3.0)), STEP)
    assert found.area[0] == pytest.approx(4 * np.pi, rel=0.01) and found.inertia[0] == pytest.approx(4 * np.pi, rel=0.02)
    assert found.torsion[0] == pytest.approx(8 * np.pi, rel=0.03)


def test_measured_torsion_by_the_membrane_analogy() -> None:
    """Saint-Venant on the very outlines, by finite elements of scikit-fem: an L of two walls, as a plate that climbs onto the teeth is."""
    skfem = pytest.importorskip("skfem")

    def field(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        flat = np.maximum(np.abs(u - 3.0) - 4.0, np.abs(v) - 0.6)
        wall = np.maximum(np.abs(u + 0.4) - 0.6, np.abs(v - 2.4) - 3.0)
        return np.minimum(flat, wall)

    grid = skfem.MeshTri.init_tensor(np.arange(-1.0, 7.01, 0.1), np.arange(-0.6, 5.41, 0.1))
    middles = grid.p[:, grid.t].mean(axis=1)
    mesh = grid.restrict(np.flatnonzero(field(*middles) < 0))
    basis = skfem.Basis(mesh, skfem.ElementTriP2())
    stiff = skfem.asm(skfem.BilinearForm(lambda f, g, _: f.grad[0] * g.grad[0] + f.grad[1] * g.grad[1]), basis)
    load = skfem.asm(skfem.LinearForm(lambda g, _: 2.0 * g), basis)
    phi = skfem.solve(*skfem.condense(stiff, load, D=basis.get_dofs().all()))
    found, _ = measured_sections(sampled(field, (8.0, 7.0)), STEP)
    assert found.torsion[0] == pytest.approx(float(load @ phi), rel=0.12)


def arc_rail(radius: float = 16.0):
    t = np.linspace(0.0, np.pi, 161)
    points = np.stack([radius * np.cos(t), radius * np.sin(t), 0.0 * t], axis=1)
    return make_rail(points, -points / radius, 4.1, 2.06)


def test_planes_across_a_solid_agree_with_slices_of_its_mesh() -> None:
    """Areas and second moments of a bent bar by trimesh's slices and shapely's polygons; the flat at the cast included."""
    shapely = pytest.importorskip("shapely")
    rail = arc_rail()
    solid = sweep(rail, half_pear, depth=0.9)
    wall = lambda p: 16.0 - np.hypot(p[:, 0], p[:, 1])  # noqa: E731 the cast's face, metal inside the arc
    metal = lambda p: np.maximum(solid.field(p), -wall(p))  # noqa: E731
    pick = np.arange(20, 141, 20)
    along = np.gradient(rail.points, axis=0)[pick]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    planes = Planes((rail.points + 1.03 * rail.normals)[pick], along, rail.normals[pick], np.array([3.4, 2.6]))
    found, _ = measured_sections(cut(metal, planes), STEP)
    mesh = Blend([type(solid)(metal, solid.bounds, "bar")], 0.0).mesh(0.15).to_trimesh()
    for k in range(len(pick)):
        cuts = trimesh.intersections.mesh_plane(mesh, planes.along[k], planes.origin[k]) - planes.origin[k]
        flat = np.stack([cuts @ planes.across[k], cuts @ planes.away[k]], axis=2)
        loops = shapely.polygonize([shapely.LineString(s) for s in np.round(flat, 6)]).geoms
        near = min(loops, key=lambda p: p.centroid.distance(shapely.Point(0, 0)))
        x, y = (np.array(near.exterior.coords) - np.array(near.centroid.coords[0])).T
        turn = x[:-1] * y[1:] - x[1:] * y[:-1]
        inertia = abs((turn * (y[:-1] ** 2 + y[:-1] * y[1:] + y[1:] ** 2)).sum() / 12)  # second moment of a polygon
        assert found.area[k] == pytest.approx(near.area, rel=0.02)
        assert found.inertia[k] == pytest.approx(inertia, rel=0.05)


def test_a_measured_run_is_as_stiff_as_the_drawn_one() -> None:
    rail = arc_rail()
    solid = sweep(rail, half_pear, depth=0.9)
    from claspwright.core.pipeline.connector_lines import _on_rail

    run = _on_rail(lambda p: np.maximum(solid.field(p), np.hypot(p[:, 0], p[:, 1]) - 16.0), rail, closed=False)
    drawn = swept(rail.points, rail.normals, rail.width, rail.thickness, "half_pear")
    ends = (rail.points[0], rail.points[-1])
    a, b = (side_stiffness(frame_of(r, COCR), ends, UP) for r in (run, drawn))
    for name in ("spread", "lift", "twist"):
        assert getattr(a, name) == pytest.approx(getattr(b, name), rel=0.08), name


def test_turned_sections_keep_their_stiffness() -> None:
    """A strip laid at 35 degrees: principal second moments of the flat strip, the angle found, no product left."""
    tilt = np.radians(35.0)
    flat = strip(8.0, 1.0)
    field = lambda u, v: flat(u * np.cos(tilt) + v * np.sin(tilt), v * np.cos(tilt) - u * np.sin(tilt))  # noqa: E731
    found, turn = measured_sections(sampled(field, (6.0, 5.0)), STEP)[0].turned()
    assert turn[0] == pytest.approx(tilt, abs=0.02)
    assert found.inertia[0] == pytest.approx(8 / 12, rel=0.08) and found.inertia_edge[0] == pytest.approx(512 / 12, rel=0.02)
    assert np.abs(found.fibres[0, :, 1]).max() == pytest.approx(0.5, abs=0.12)


def test_a_plane_without_metal_is_said() -> None:
    with pytest.raises(ValueError, match="meets no metal"):
        measured_sections(np.ones((2, 9, 9)), STEP)
