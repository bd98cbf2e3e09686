"""The arch chart against a closed form: a ridge of round section bent to a half circle (half of a torus), one crown on it."""

from __future__ import annotations

import numpy as np
import pytest
from claspwright.core.charts import ArchChart
from claspwright.core.errors import CaseError, GeometryError
from claspwright.core.mesh import Mesh
from claspwright.core.survey import Path
from claspwright.core.teeth import teeth_from_labels

BIG, SMALL = 24.0, 5.0
CROWN_RAD = 0.16


def _torus(step: float = 0.5) -> Mesh:
    """Front half of a torus about Z, its upper half only: an open scan. Parameter t along the arch from -X over +Y to +X."""
    along = np.linspace(np.pi + 0.1, -0.1, int(BIG * np.pi / step))
    across = np.linspace(-0.1, np.pi + 0.1, int(SMALL * np.pi / step))
    t, a = np.meshgrid(along, across, indexing="ij")
    r = BIG + SMALL * np.cos(a)
    v = np.stack([r * np.cos(t), r * np.sin(t), SMALL * np.sin(a)], axis=-1).reshape(-1, 3)
    n, m = t.shape
    i, j = (g.ravel() for g in np.meshgrid(np.arange(n - 1), np.arange(m - 1), indexing="ij"))
    corner = i * m + j
    faces = np.concatenate([np.column_stack([corner, corner + m, corner + 1]), np.column_stack([corner + 1, corner + m, corner + m + 1])])
    mesh = Mesh(v, faces)
    return mesh if mesh.face_normals[:, 2].mean() > 0 else Mesh(v, faces[:, ::-1])


@pytest.fixture(scope="module")
def chart() -> ArchChart:
    """Three crowns painted on the top of the ridge: 33, 31/41 side by side as 31, and 43."""
    mesh = _torus()
    angle = np.arctan2(mesh.vertices[:, 1], mesh.vertices[:, 0])
    high = mesh.vertices[:, 2] > SMALL * np.sin(np.radians(40))
    labels = np.zeros(len(angle), dtype=np.int16)
    for fdi, at in ((31, np.pi / 2 + 0.14), (41, np.pi / 2 - 0.14), (33, np.pi / 2 + 0.75), (43, np.pi / 2 - 0.75)):
        labels[high & (np.abs(angle - at) < 0.13)] = fdi
    return ArchChart(mesh, teeth_from_labels(mesh, "lower", labels, missing=(32, 42, 34, 35, 36, 37, 44, 45, 46, 47)), Path())


def test_station_is_arc_length_from_the_midline(chart: ArchChart) -> None:
    assert chart.station(43) == pytest.approx(0.75 * BIG, abs=0.4)
    assert chart.station(33) == pytest.approx(-0.75 * BIG, abs=0.4)
    for angle in (-0.9, -0.3, 0.2, 1.1):
        point = np.array([BIG * np.sin(angle), BIG * np.cos(angle), SMALL])
        assert chart.station(point) == pytest.approx(angle * BIG, abs=0.4)


def test_frame_turns_with_the_arch(chart: ArchChart) -> None:
    for s in (-20.0, 0.0, 15.0):
        f = chart.frame(s)
        radial = np.array([np.sin(s / BIG), np.cos(s / BIG), 0.0])
        assert f.outward @ radial > np.cos(np.radians(3.0))
        assert np.cross(f.tangent, f.outward) == pytest.approx([0, 0, 1], abs=1e-9)


def test_gaps_and_missing_teeth(chart: ArchChart) -> None:
    assert [(g.before, g.after) for g in chart.gaps] == [(None, 33), (33, 31), (41, 43), (43, None)]
    assert chart.extent(33)[1] < chart.station(32) < chart.extent(31)[0]
    stations = [chart.station(n) for n in (44, 45, 46, 47)]
    assert stations == sorted(stations)
    assert stations[0] > chart.extent(43)[1]
    assert stations[-1] < chart.ends[1]


def test_free_end_is_followed_to_the_end_of_the_ridge(chart: ArchChart) -> None:
    assert chart.ends[1] > BIG * (np.pi / 2 - 0.15)
    assert chart.ends[0] < -BIG * (np.pi / 2 - 0.15)


@pytest.mark.parametrize("s", [-30.0, -26.0, 9.0, 27.0, 33.0])
def test_crest_is_the_top_of_the_ridge(chart: ArchChart, s: float) -> None:
    crest = chart.crest(s)
    assert np.hypot(crest[0], crest[1]) == pytest.approx(BIG, abs=0.5)
    assert crest[2] == pytest.approx(SMALL, abs=0.05)


@pytest.mark.parametrize("side", ["facial", "lingual"])
@pytest.mark.parametrize("s", [-28.0, 9.0, 30.0])
@pytest.mark.parametrize("distance", [1.0, 3.0, 5.0])
def test_walk_from_the_crest_is_an_arc(chart: ArchChart, s: float, side: str, distance: float) -> None:
    """From the found crest the point lies distance / small radius further round, its normal points away from the tube's axis."""
    crest = chart.crest(s)
    point, normal = chart.walk(s, side, distance)
    sign = 1.0 if side == "facial" else -1.0

    def angle(p: np.ndarray) -> float:
        return float(np.arctan2(sign * (np.hypot(p[0], p[1]) - BIG), p[2]))

    assert angle(point) - angle(crest) == pytest.approx(distance / SMALL, abs=0.02)
    outward = np.array([point[0], point[1], 0.0]) / np.hypot(point[0], point[1])
    exact = ((np.hypot(point[0], point[1]) - BIG) * outward + np.array([0, 0, point[2]])) / SMALL
    assert normal @ exact / np.linalg.norm(exact) > np.cos(np.radians(3.0))


def test_walk_from_the_margin(chart: ArchChart) -> None:
    """Beside a crown the walk starts at its margin, 50 degrees from the crest of the tube (label border at 40 degrees elevation)."""
    s = chart.station(43)
    for side, sign in (("facial", 1.0), ("lingual", -1.0)):
        point, _ = chart.walk(s, side, 1.5)
        angle = np.degrees(np.arctan2(sign * (np.hypot(point[0], point[1]) - BIG), point[2]))
        # the margin of labels a vertex lies half an edge (0.25 mm, 3 degrees) beyond the last labelled one
        assert angle == pytest.approx(50.0 + np.degrees(1.5 / SMALL), abs=4.5)


def test_section_is_ordered_from_facial_to_lingual(chart: ArchChart) -> None:
    profile = chart.section(28.0)
    f = chart.frame(28.0)
    offset = (profile - f.origin) @ f.outward
    assert offset[0] > 4.0
    assert offset[-1] < -4.0
    assert np.abs((profile - f.origin) @ f.tangent).max() < 1e-9


def test_errors_say_what_is_wrong(chart: ArchChart) -> None:
    with pytest.raises(GeometryError, match="the scan ends"):
        chart.walk(28.0, "lingual", 20.0)
    with pytest.raises(GeometryError, match="43"):
        chart.crest(chart.station(43))
    with pytest.raises(CaseError, match="buccal"):
        chart.walk(28.0, "buccal", 1.0)
    with pytest.raises(CaseError, match="16"):
        chart.station(16)
    point, _ = chart.walk(28.0, "lingual", 20.0, clamp=True)
    assert point[2] < 0.5
