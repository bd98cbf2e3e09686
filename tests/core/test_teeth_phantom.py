"""Crowns, landmarks and charts against the ground truth of a made-up cast."""

from __future__ import annotations

import numpy as np
import pytest
from claspwright.core.charts import ArchChart, CrownChart
from claspwright.core.phantom import Phantom, PhantomSpec, make_phantom
from claspwright.core.survey import Path, survey
from claspwright.core.teeth import Teeth, find_teeth, teeth_from_labels
from claspwright.core.teeth.landmarks import cingulum, facial_prominence, fossa, marginal_ridge, occlusal_plane
from scipy.spatial import cKDTree


@pytest.fixture(scope="module")
def cast() -> Phantom:
    return make_phantom(PhantomSpec("lower", missing=(36, 37, 45, 46, 47), absent=(38, 48), seed=13, triangles=45_000))


@pytest.fixture(scope="module")
def teeth(cast: Phantom) -> Teeth:
    return teeth_from_labels(cast.mesh, cast.arch, cast.labels, cast.missing)


def _side_points(teeth: Teeth, fdi: int) -> np.ndarray:
    """The margin on the facial and lingual sides, where the truth is a margin and not a neighbour."""
    tooth = teeth[fdi]
    flat = tooth.margin - tooth.centre
    flat[:, 2] = 0
    return tooth.margin[np.abs(flat @ tooth.facial) > 0.64 * np.linalg.norm(flat, axis=1)]


def test_one_click_gives_the_crown_and_its_margin(cast: Phantom) -> None:
    found = find_teeth(cast.mesh, cast.arch, {n: p[None] for n, p in cast.seeds.items()}, cast.missing)
    mesh = cast.mesh
    area = np.bincount(mesh.faces.ravel(), np.repeat(mesh.face_areas / 3, 3), len(mesh.vertices))
    off = []
    for n in cast.seeds:
        a, b = found.labels == n, cast.labels == n
        assert 2 * area[a & b].sum() / (area[a].sum() + area[b].sum()) > 0.95, n
        off.append(cKDTree(cast.margins[n]).query(_side_points(found, n))[0].mean())
    # edges are 0.6 mm long here, and a label a vertex cannot place a border better than half of one
    assert np.mean(off) < 0.45, off


def test_long_axes(cast: Phantom, teeth: Teeth) -> None:
    off = {n: np.degrees(np.arccos(min(1.0, float(cast.axes[n] @ teeth[n].axis)))) for n in cast.axes}
    assert np.mean(list(off.values())) < 5.0, off
    assert max(off.values()) < 12.0, off


def test_front_cusps_and_facial_cusps(cast: Phantom, teeth: Teeth) -> None:
    for n in (33, 43, 34, 44, 35):
        assert cKDTree(teeth[n].cusps).query(cast.cusps[n][0])[0] < 0.8, n


def test_occlusal_plane(cast: Phantom, teeth: Teeth) -> None:
    """Plane through the true tips of 33, 43 and 35 by the cross product."""
    a, b, c = (cast.cusps[n][0] for n in (33, 43, 35))
    true = np.cross(b - a, c - a)
    true *= np.sign(true[2]) / np.linalg.norm(true)
    tips = {n: teeth[n].cusps[0] for n in (33, 43, 35)}
    found = np.cross(tips[43] - tips[33], tips[35] - tips[33])
    found *= np.sign(found[2]) / np.linalg.norm(found)
    assert np.degrees(np.arccos(found @ true)) < 4.0
    assert occlusal_plane(teeth)[1][2] > np.cos(np.radians(8.0))


def test_landmarks_lie_where_they_are_named(cast: Phantom, teeth: Teeth) -> None:
    for n in (34, 35, 44):
        t = teeth[n]
        mesial, distal, pit = marginal_ridge(t, cast.mesh, "mesial"), marginal_ridge(t, cast.mesh, "distal"), fossa(t, cast.mesh)
        half = 0.5 * np.ptp(cast.mesh.vertices[np.unique(cast.mesh.faces[t.faces])] @ t.mesial)
        assert 0.45 * half < (mesial - t.centre) @ t.mesial < 1.05 * half
        assert 0.45 * half < (t.centre - distal) @ t.mesial < 1.05 * half
        assert pit[2] < max(mesial[2], distal[2]) + 0.05
        assert (facial_prominence(t, cast.mesh) - t.centre) @ t.facial > 2.5
    for n in (33, 43):
        t = teeth[n]
        ledge = cingulum(t, cast.mesh)
        low = t.margin[(t.margin - t.centre) @ t.facial < -1.0, 2].min()
        share = (ledge[2] - low) / (t.cusps[0][2] - low)
        assert (ledge - t.centre) @ t.facial < -1.0
        assert 0.1 < share < 0.6, "between margin and middle of the lingual face"


def test_charts_stand_on_the_cast(cast: Phantom, teeth: Teeth) -> None:
    seen = survey(cast.mesh, Path(), cast.labels)
    chart = CrownChart(cast.mesh, teeth[34], seen)
    phi = np.array([60.0, 90.0, 120.0, 180.0, 240.0, 270.0, 300.0])
    assert (chart.margin(phi) < chart.contour(phi) + 1e-9).all()
    assert (chart.contour(phi) < chart.top(phi)).all()
    tight = CrownChart(cast.mesh, teeth[34], seen).gauge(np.arange(60.0, 121.0, 10.0), 0.254)
    assert np.isfinite(tight).any(), "a lower premolar has a facial undercut of 0.25 mm (handbook: contour in the cervical third)"


def test_lingual_bar_line(cast: Phantom, teeth: Teeth) -> None:
    """4 mm below the lingual margins from 34 to 44, along the tissue: on the surface, lingual, and never further than that in space."""
    arch = ArchChart(cast.mesh, teeth, Path())
    tree = cKDTree(cast.mesh.vertices)
    for s in np.linspace(arch.station(34), arch.station(44), 15):
        start = arch.margin(float(s), "lingual")
        point, normal = arch.walk(float(s), "lingual", 4.0)
        frame = arch.frame(float(s))
        assert tree.query(point)[0] < 0.7
        assert point[2] < start[2] - 2.0
        assert normal @ frame.outward < 0.1
    assert [(g.before, g.after) for g in arch.gaps] == [(None, 35), (44, None)]
    assert arch.station(37) < arch.station(36) < arch.extent(35)[0]
    crest = arch.crest(arch.station(46))
    assert cast.labels[tree.query(crest)[1]] == 0
