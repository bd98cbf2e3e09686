"""Crowns from one click on labelled real scans, named by SHA-256 (not part of the project; skipped where they are not there)."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import numpy as np
import pytest
import trimesh
from claspwright.core.charts import ArchChart, CrownChart
from claspwright.core.mesh import Mesh
from claspwright.core.survey import Path as Placement
from claspwright.core.survey import survey
from claspwright.core.teeth import find_teeth, teeth_from_labels
from claspwright.core.teeth.labels import vertex_labels

LOWER = np.array([[-1.0, 0, 0], [0, 0, 1], [0, 1, 0]])
# file, SHA-256, arch, rotation into the cast frame, mean Dice and least Dice measured with one click a tooth (rounded down)
SCANS = {
    "oral_upper": ("58a9a2f472dd0f4503a69f67bcbf488b2da967b61b13bacd569ca25cdc2c9cc2", "upper", np.diag([1.0, -1, -1]), 0.95, 0.9),
    "research_lower_01": (
        "b82d7ed4c4d42f6f1f2700f5e767c3f4c44f021e420391b4f7ec4d822e95924b", "lower", LOWER, 0.9, 0.65,
    ),
    "research_upper_12_missing_12_26": (
        "7ac2fbd089546a7cab4927811dbf569b47c6401c449b9dca68304e96476d2330", "upper", np.eye(3), 0.95, 0.9,
    ),
    "research_upper_14_missing_15_24": (
        "8b85e02e41a235fef1d4dca70388e6b82159ceb860227ca3e13dd8a2895c6423", "upper", np.eye(3), 0.88, 0.65,
    ),
    "research_upper_23_missing_17_27": (
        "39b509026b648bc185bae4235019902e68b87a6bad5f7bc5bb2a95772f01353e", "upper", np.eye(3), 0.94, 0.88,
    ),
}  # fmt: skip


def _scan(name: str) -> tuple[Mesh, np.ndarray, str]:
    digest, arch, rotation = SCANS[name][:3]
    folder = Path(os.environ.get("CLASPWRIGHT_CASTS", Path(__file__).parents[3] / "shared" / "casts"))
    file = folder / f"{name}.ply"
    if not file.is_file() or hashlib.sha256(file.read_bytes()).hexdigest() != digest:
        pytest.skip(f"the real scan {name} is not here")
    raw = trimesh.load(file, process=False)
    points = np.asarray(raw.vertices) @ rotation.T
    mesh = Mesh(points - points.mean(axis=0), np.asarray(raw.faces))
    return mesh, vertex_labels(mesh, np.load(folder / f"{name}.fdi.npy")), arch


def _click(mesh: Mesh, labels: np.ndarray, fdi: int) -> np.ndarray:
    """The vertex nearest to the middle of the crown's occlusal part."""
    points = mesh.vertices[labels == fdi]
    top = points[points[:, 2] > np.percentile(points[:, 2], 65)]
    return top[[np.linalg.norm(top - top.mean(axis=0), axis=1).argmin()]]


@pytest.mark.parametrize("name", SCANS)
def test_one_click_a_tooth(name: str) -> None:
    """Against the labels that came with the scans, by area. The floors are what was measured, less a little; the aim is 0.90 on average."""
    mesh, labels, arch = _scan(name)
    numbers = [int(n) for n in np.unique(labels) if n]
    teeth = find_teeth(mesh, arch, {n: _click(mesh, labels, n) for n in numbers})
    area = np.bincount(mesh.faces.ravel(), np.repeat(mesh.face_areas / 3, 3), len(mesh.vertices))
    dice = []
    for n in numbers:
        a, b = teeth.labels == n, labels == n
        dice.append(2 * area[a & b].sum() / (area[a].sum() + area[b].sum()))
    assert np.mean(dice) > SCANS[name][3], dict(zip(numbers, np.round(dice, 2), strict=True))
    assert min(dice) > SCANS[name][4], dict(zip(numbers, np.round(dice, 2), strict=True))


@pytest.mark.parametrize(
    ("name", "gaps"),
    [("research_upper_14_missing_15_24", [(16, 14), (23, 25)]), ("research_upper_23_missing_17_27", [(None, 16), (26, None)])],
)
def test_gaps_and_crest_on_open_scans(name: str, gaps: list[tuple[int | None, int | None]]) -> None:
    mesh, labels, arch = _scan(name)
    chart = ArchChart(mesh, teeth_from_labels(mesh, arch, labels), Placement())
    assert [(g.before, g.after) for g in chart.gaps] == gaps
    for gap in chart.gaps:
        middle = 0.5 * (gap.start + gap.end)
        crest = chart.crest(middle)
        profile = chart.section(middle)
        near = np.linalg.norm(profile - crest, axis=1) < 4.0
        assert crest[2] > profile[near, 2].max() - 0.6, "nothing near stands much higher"
        assert len(chart.walk(middle, "facial", 2.0)) == 2


def test_crown_chart_on_a_scan() -> None:
    """Round trip on every crown, and the contour where the radius is largest."""
    mesh, labels, arch = _scan("oral_upper")
    teeth = teeth_from_labels(mesh, arch, labels)
    seen = survey(mesh, Placement(), teeth.labels)
    for fdi in (14, 16, 23, 25):
        chart = CrownChart(mesh, teeth[fdi], seen)
        phi = np.arange(0.0, 360.0, 12.0)
        z = 0.5 * (chart.margin(phi) + chart.top(phi))
        points = chart.surface(phi, z)
        known = np.isfinite(points).all(axis=1)
        assert known.mean() > 0.6
        back = chart.locate(points[known])
        assert np.linalg.norm(chart.surface(*back) - points[known], axis=1).max() < 0.005
        highest = chart.radius(phi, chart.contour(phi))
        other = chart.radius(phi, z)
        both = np.isfinite(highest) & np.isfinite(other)
        assert (highest[both] > other[both] - 0.05).mean() > 0.95
