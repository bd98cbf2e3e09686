"""The crown chart against closed forms: an ellipsoid, whose contour, section radii and undercut depths are known exactly."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from claspwright.core.charts import CrownChart, sector_centre, sector_of, sector_span
from claspwright.core.errors import CaseError
from claspwright.core.mesh import Mesh
from claspwright.core.survey import Path, survey
from claspwright.core.teeth import Tooth
from hypothesis import given, settings
from hypothesis import strategies as st

A, B, C = 4.0, 5.0, 3.5


def _ellipsoid(subdivisions: int = 6) -> Mesh:
    ball = trimesh.creation.icosphere(subdivisions=subdivisions)
    return Mesh(np.asarray(ball.vertices) * [A, B, C], np.asarray(ball.faces))


def _tooth(mesh: Mesh, fdi: int, mesial: tuple[float, float, float], facial: tuple[float, float, float]) -> Tooth:
    """The ellipsoid as a crown: its lower border at z = -3 stands for the margin."""
    angle = np.radians(np.arange(0, 360, 3))
    r = np.sqrt(1 - (3.0 / C) ** 2)
    margin = np.column_stack([A * r * np.cos(angle), B * r * np.sin(angle), np.full(len(angle), -3.0)])
    faces = np.flatnonzero(mesh.triangles[:, :, 2].max(axis=1) > -3.0)
    return Tooth(
        fdi, margin, np.zeros(3), np.array([0.0, 0, 1]), np.array(mesial), np.array(facial), np.array([[0, 0, C]]), faces
    )


@pytest.fixture(scope="module")
def ellipsoid() -> Mesh:
    return _ellipsoid()


@pytest.fixture(scope="module")
def chart(ellipsoid: Mesh) -> CrownChart:
    return CrownChart(ellipsoid, _tooth(ellipsoid, 36, (0, 1, 0), (-1, 0, 0)), survey(ellipsoid, Path()))


def test_angles_are_mirrored_between_the_sides(ellipsoid: Mesh) -> None:
    """Lower left 36: mesial forward, facial to -X. Lower right 46: facial to +X. The same clinical angle on both."""
    seen = survey(ellipsoid, Path())
    left = CrownChart(ellipsoid, _tooth(ellipsoid, 36, (0, 1, 0), (-1, 0, 0)), seen)
    right = CrownChart(ellipsoid, _tooth(ellipsoid, 46, (0, 1, 0), (1, 0, 0)), seen)
    for c, x in ((left, -1.0), (right, 1.0)):
        points = np.array([[0, B, 0], [x * A, 0, 0], [0, -B, 0], [-x * A, 0, 0]])
        assert c.locate(points)[0] == pytest.approx([0, 90, 180, 270], abs=1e-9)


def test_surface_radius_is_exact(chart: CrownChart) -> None:
    """Polar radius of an ellipse at height z; the facets of the sphere lie within h^2 / 8r of it (chord error)."""
    phi, z = (g.ravel() for g in np.meshgrid(np.arange(0, 360, 7.0), np.linspace(-2.5, 2.5, 9)))
    scale = np.sqrt(1 - (z / C) ** 2)
    a = np.radians(phi)
    exact = scale / np.sqrt((np.cos(a) / B) ** 2 + (np.sin(a) / A) ** 2)
    assert np.abs(chart.radius(phi, z) - exact).max() < 0.004


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 359.99), st.floats(-2.9, 2.9), st.floats(-15, 15), st.floats(-15, 15))
def test_round_trip(phi: float, z: float, anteroposterior: float, lateral: float) -> None:
    mesh = _ellipsoid(4)
    chart = CrownChart(mesh, _tooth(mesh, 36, (0, 1, 0), (-1, 0, 0)), survey(mesh, Path(anteroposterior, lateral)))
    point = chart.surface(phi, z)
    if not np.isfinite(point).all():
        return
    back_phi, back_z = chart.locate(point)
    again = chart.surface(back_phi, back_z)
    assert np.linalg.norm(again - point) < 0.005
    assert abs(back_z[0] - z) < 1e-6
    closest, distance, _ = trimesh.proximity.closest_point_naive(mesh.to_trimesh(), point)
    assert distance[0] < 1e-5


@pytest.mark.parametrize(("anteroposterior", "lateral"), [(0, 0), (10, 0), (0, -8), (6, 9)])
def test_height_of_contour(ellipsoid: Mesh, anteroposterior: float, lateral: float) -> None:
    """Zero set of normal . path: the points p with (p / semi-axes squared) . path = 0."""
    path = Path(anteroposterior, lateral)
    chart = CrownChart(ellipsoid, _tooth(ellipsoid, 36, (0, 1, 0), (-1, 0, 0)), survey(ellipsoid, path))
    phi = np.arange(0, 360, 10.0)
    points = chart.surface(phi, chart.contour(phi))
    gradient = points / np.array([A, B, C]) ** 2
    gradient /= np.linalg.norm(gradient, axis=1, keepdims=True)
    off = np.degrees(np.arcsin(gradient @ path.vector))
    # 2.5 degrees on a radius of curvature of 2.5 to 4 mm is 0.15 mm of height, where the radius has changed by 3 micrometres
    assert np.abs(off).max() < 2.5
    assert np.abs(off).mean() < 1.0


@pytest.mark.parametrize("depth", [0.254, 0.508])
def test_gauge_height(chart: CrownChart, depth: float) -> None:
    """On the axes the shadow of an upright ellipsoid is a - a sqrt(1 - (z/c)^2) deep at height z below the equator."""
    for phi, axis in ((90.0, A), (0.0, B), (180.0, B), (270.0, A)):
        exact = -C * np.sqrt(1 - (1 - depth / axis) ** 2)
        assert float(chart.gauge(phi, depth)) == pytest.approx(exact, abs=0.04)


def test_gauge_out_of_reach_is_nan(chart: CrownChart) -> None:
    assert np.isnan(chart.gauge(np.array([0.0, 90.0]), 3.5)).all()


def test_depth_is_none_above_the_contour(chart: CrownChart) -> None:
    phi = np.arange(0, 360, 20.0)
    assert (chart.depth(phi, np.full(len(phi), 1.0)) == 0).all()
    assert (chart.depth(phi, np.full(len(phi), -2.0)) > 0.3).all()


def test_margin_and_top(chart: CrownChart) -> None:
    phi = np.arange(0, 360, 11.0)
    assert chart.margin(phi) == pytest.approx(np.full(len(phi), -3.0), abs=0.01)
    assert (chart.top(phi) <= C + 1e-6).all()
    assert (chart.top(phi) > C - 0.02).all()


def test_nothing_outside_the_crown_and_its_collar(chart: CrownChart) -> None:
    assert np.isnan(chart.surface(np.array([10.0]), np.array([9.0]))).all()


def test_sectors() -> None:
    assert [sector_of(a) for a in (0, 359, 22, 23, 90, 135, 180, 225, 270, 315)] == [
        "mesial", "mesial", "mesial", "mesiofacial", "facial", "distofacial", "distal", "distolingual", "lingual", "mesiolingual",
    ]  # fmt: skip
    assert sector_centre("lingual") == 270.0
    assert sector_span("facial") == (67.5, 112.5)
    with pytest.raises(CaseError, match="buccal"):
        sector_centre("buccal")
