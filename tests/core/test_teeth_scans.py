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
from claspwright.core.teeth import find_teeth, propose_seeds, teeth_from_labels
from claspwright.core.teeth.labels import vertex_labels
from scipy.spatial import cKDTree

LOWER = np.array([[-1.0, 0, 0], [0, 0, 1], [0, 1, 0]])
# file: SHA-256, arch, rotation into the cast frame
SCANS = {
    "oral_upper": ("58a9a2f472dd0f4503a69f67bcbf488b2da967b61b13bacd569ca25cdc2c9cc2", "upper", np.diag([1.0, -1, -1])),
    "research_lower_01": ("b82d7ed4c4d42f6f1f2700f5e767c3f4c44f021e420391b4f7ec4d822e95924b", "lower", LOWER),
    "research_lower_03": ("c5c885b35c27f0c8a39680057c44859f92bb0fc758c3db8dbfd8fc683b2f0019", "lower", LOWER),
    "research_upper_22": ("c64785225bb78a1e13b44c1a07dab6dbbd2a7dc6c0718a59d75f3da4162c3b51", "upper", np.eye(3)),
    "research_upper_12_missing_12_26": ("7ac2fbd089546a7cab4927811dbf569b47c6401c449b9dca68304e96476d2330", "upper", np.eye(3)),
    "research_upper_14_missing_15_24": ("8b85e02e41a235fef1d4dca70388e6b82159ceb860227ca3e13dd8a2895c6423", "upper", np.eye(3)),
    "research_upper_23_missing_17_27": ("39b509026b648bc185bae4235019902e68b87a6bad5f7bc5bb2a95772f01353e", "upper", np.eye(3)),
}


def _scan(name: str) -> tuple[Mesh, np.ndarray, str]:
    digest, arch, rotation = SCANS[name]
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


def _dice(mesh: Mesh, found: np.ndarray, true: np.ndarray, numbers: list[int]) -> dict[int, float]:
    area = np.bincount(mesh.faces.ravel(), np.repeat(mesh.face_areas / 3, 3), len(mesh.vertices))
    return {n: float(2 * area[(found == n) & (true == n)].sum() / (area[found == n].sum() + area[true == n].sum())) for n in numbers}


def _middle(mesh: Mesh, chosen: np.ndarray) -> np.ndarray:
    """(1, 3) the vertex nearest to the middle of those chosen: where a person who sees that all this is wrong would click."""
    points = mesh.vertices[chosen]
    return points[[np.linalg.norm(points - points.mean(axis=0), axis=1).argmin()]]


def _corrected(mesh: Mesh, arch: str, clicks: dict[int, np.ndarray], fdi: int, found: np.ndarray, true: np.ndarray) -> np.ndarray:
    """Labels after one more click for a tooth: "not here" amid what is too much, or on the crown amid what lacks, whichever is more."""
    much, lack = (found == fdi) & (true != fdi), (true == fdi) & (found != fdi)
    if much.sum() >= lack.sum():
        return find_teeth(mesh, arch, clicks, not_here=_middle(mesh, much)).labels
    return find_teeth(mesh, arch, {**clicks, fdi: np.vstack([clicks[fdi], _middle(mesh, lack)])}).labels


@pytest.mark.parametrize("name", SCANS)
def test_one_click_a_tooth(name: str) -> None:
    """Against the labels that came with the scans, by area (issue): mean Dice 0.90, no tooth under 0.75 after one correcting click."""
    mesh, true, arch = _scan(name)
    numbers = [int(n) for n in np.unique(true) if n]
    clicks = {n: _click(mesh, true, n) for n in numbers}
    found = find_teeth(mesh, arch, clicks).labels
    dice = _dice(mesh, found, true, numbers)
    assert np.mean(list(dice.values())) >= 0.90, dice
    for fdi in [n for n in numbers if dice[n] < 0.75]:
        after = _dice(mesh, _corrected(mesh, arch, clicks, fdi, found, true), true, numbers)
        assert after[fdi] >= 0.75, (fdi, dice[fdi], after[fdi])
        assert min(after[n] - dice[n] for n in numbers if n != fdi) > -0.02, "the others stay as they were"


def test_proposed_seeds() -> None:
    """Without a click (issue): 95 of 100 crowns of all labelled scans have a seed, and fewer than 5 of 100 seeds lie on none."""
    crowns = hits = seeds = 0
    for name in SCANS:
        mesh, true, arch = _scan(name)
        proposed = propose_seeds(mesh, arch)
        on = true[cKDTree(mesh.vertices).query(np.vstack(list(proposed.values())))[1]]
        crowns, hits, seeds = crowns + len(np.unique(true[true > 0])), hits + len(np.unique(on[on > 0])), seeds + len(on)
    assert hits >= 0.95 * crowns
    assert seeds - hits < 0.05 * seeds


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
