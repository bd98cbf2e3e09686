"""Crowns from clicks: on a row of crowns with known borders, at several densities and with scan noise; and what bad clicks get told."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
import trimesh
from claspwright.core.errors import CastError
from claspwright.core.mesh import Mesh
from claspwright.core.teeth import find_teeth, teeth_from_labels

# Crowns on a curved row: positions of second premolar to canine and back, radii of average crowns (Wheeler), mm.
NUMBERS = (35, 34, 33, 32, 31, 41, 42, 43, 44, 45)
RADII = (3.8, 3.6, 3.6, 2.9, 2.7, 2.7, 2.9, 3.6, 3.6, 3.8)


def _row() -> tuple[np.ndarray, np.ndarray]:
    """Centres (10, 2) along an ellipse, each crown a little apart from the next, and radii."""
    r = np.array(RADII)
    at = np.cumsum(np.r_[0.0, (r[:-1] + r[1:]) + 0.15])
    at -= at.mean()
    t = np.linspace(-1.5, 1.5, 2001)
    line = np.column_stack([21 * np.sin(t), 26 * np.cos(t)])
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
    along -= along[1000]
    return np.column_stack([np.interp(at, along, line[:, k]) for k in (0, 1)]), r


def _heights(xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(k,) height of the gum and (k, 10) of each crown over it: steep walls (80 degrees), a round top, 6.5 mm above a flat gum."""
    centres, radii = _row()
    d = np.linalg.norm(xy[:, None] - centres, axis=2) / radii
    return np.full(len(xy), -2.0), np.where(d < 1.2, -2.0 + 6.5 * (1.0 - d**6), -np.inf)


@lru_cache(maxsize=8)
def _cast(step: float, noise: float = 0.0, seed: int = 1) -> tuple[Mesh, np.ndarray]:
    """An open scan of gum with ten crowns in a row, edges no longer than 1.5 steps, and the label a vertex."""
    x, y = np.meshgrid(np.arange(-30, 30, step), np.arange(0, 33, step))
    n, m = x.shape
    i, j = (g.ravel() for g in np.meshgrid(np.arange(n - 1), np.arange(m - 1), indexing="ij"))
    c = i * m + j
    faces = np.concatenate([np.column_stack([c, c + 1, c + m]), np.column_stack([c + 1, c + m + 1, c + m])])
    xy = np.column_stack([x.ravel(), y.ravel()])
    lifted = np.column_stack([xy, np.maximum(*(h if h.ndim == 1 else h.max(axis=1) for h in _heights(xy)))])
    v, faces = trimesh.remesh.subdivide_to_size(lifted, faces, 1.5 * step)
    v, merge = np.unique(np.round(v, 9), axis=0, return_inverse=True)
    gum, crown = _heights(v[:, :2])
    v[:, 2] = np.maximum(gum, crown.max(axis=1))
    mesh = Mesh(v, merge.reshape(-1)[faces])
    label = np.where(crown.max(axis=1) > gum, np.array(NUMBERS)[crown.argmax(axis=1)], 0).astype(np.int16)
    if noise:
        shift = np.random.default_rng(seed).normal(0, noise, len(v))
        mesh = Mesh(v + mesh.vertex_normals * shift[:, None], mesh.faces)
    return mesh, label


def _dice(found: np.ndarray, truth: np.ndarray, mesh: Mesh) -> dict[int, float]:
    area = np.bincount(mesh.faces.ravel(), np.repeat(mesh.face_areas / 3, 3), len(mesh.vertices))
    both = {n: area[(found == n) & (truth == n)].sum() for n in NUMBERS}
    return {n: float(2 * both[n] / (area[found == n].sum() + area[truth == n].sum())) for n in NUMBERS}


def _clicks(mesh: Mesh, label: np.ndarray, seed: int | None = None) -> dict[int, np.ndarray]:
    """A click in the middle of each crown, or anywhere on its upper third."""
    rng = np.random.default_rng(seed)
    clicks = {}
    for n in NUMBERS:
        points = mesh.vertices[label == n]
        top = points[points[:, 2] > points[:, 2].max() - 0.33 * np.ptp(points[:, 2])]
        pick = rng.integers(len(top)) if seed is not None else np.linalg.norm(top[:, :2] - top[:, :2].mean(axis=0), axis=1).argmin()
        clicks[n] = top[[pick]]
    return clicks


@pytest.mark.parametrize(("step", "noise"), [(0.7, 0.0), (0.35, 0.0), (0.35, 0.02), (0.22, 0.01)])
def test_dice_on_crowns(step: float, noise: float) -> None:
    """The border lies where crown and gum cross. From 25,000 to 300,000 triangles, scan noise up to 20 micrometres."""
    mesh, label = _cast(step, noise)
    teeth = find_teeth(mesh, "lower", _clicks(mesh, label))
    dice = _dice(teeth.labels, label, mesh)
    assert min(dice.values()) > 0.93, dice
    assert np.mean(list(dice.values())) > 0.95, dice


@pytest.mark.parametrize("seed", [1, 2])
def test_click_anywhere_on_the_upper_third(seed: int) -> None:
    mesh, label = _cast(0.35, 0.02)
    teeth = find_teeth(mesh, "lower", _clicks(mesh, label, seed))
    dice = _dice(teeth.labels, label, mesh)
    assert min(dice.values()) > 0.9, dice


def test_margin_is_a_closed_line_on_the_surface() -> None:
    mesh, label = _cast(0.35, 0.0)
    teeth = teeth_from_labels(mesh, "lower", label)
    centres, radii = _row()
    for tooth in teeth.ordered:
        k = NUMBERS.index(tooth.fdi)
        flat = tooth.margin[:, :2] - centres[k]
        turn = np.unwrap(np.arctan2(flat[:, 1], flat[:, 0]))
        assert turn[-1] - turn[0] == pytest.approx(2 * np.pi, abs=0.3), "once round, counter-clockwise"
        assert np.hypot(*flat.T).mean() == pytest.approx(radii[k], abs=0.25)
        steps = np.linalg.norm(np.diff(tooth.margin, axis=0, append=tooth.margin[:1]), axis=1)
        assert steps.max() < 0.6


def test_sides_follow_the_row() -> None:
    """Mesial runs along the ellipse toward its front, facial outward; exact normals of the ellipse."""
    mesh, label = _cast(0.35, 0.0)
    teeth = teeth_from_labels(mesh, "lower", label)
    centres, _ = _row()
    for tooth in teeth.ordered:
        x, y = centres[NUMBERS.index(tooth.fdi)]
        out = np.array([x / 21**2, y / 26**2, 0.0])
        out /= np.linalg.norm(out)
        assert tooth.facial @ out > np.cos(np.radians(8.0))
        assert tooth.mesial @ tooth.facial == pytest.approx(0.0, abs=1e-9)
        assert tooth.mesial[0] * np.sign(x) < 0, "mesial points toward the midline"


def test_lean_axis_is_found() -> None:
    """Upright crowns sheared by 15 degrees keep their outlines level by level: the axis leans by those 15 degrees."""
    mesh, label = _cast(0.35, 0.0)
    lean = np.tan(np.radians(15.0))
    sheared = Mesh(mesh.vertices + np.outer(mesh.vertices[:, 2], [0.0, lean, 0.0]), mesh.faces)
    for tooth in teeth_from_labels(sheared, "lower", label).ordered:
        exact = np.array([0.0, lean, 1.0]) / np.hypot(lean, 1.0)
        assert tooth.axis @ exact > np.cos(np.radians(4.0)), tooth.fdi


def test_not_here_click_takes_surface_away() -> None:
    mesh, label = _cast(0.35, 0.0)
    clicks = _clicks(mesh, label)
    spot = mesh.vertices[label == 34]
    spot = spot[[spot[:, 2].argmin()]]  # at its foot
    before = find_teeth(mesh, "lower", clicks)
    after = find_teeth(mesh, "lower", clicks, not_here=spot)
    index = int(np.linalg.norm(mesh.vertices - spot, axis=1).argmin())
    assert before.labels[index] == 34
    assert after.labels[index] == 0


def test_bad_clicks_are_told() -> None:
    mesh, label = _cast(0.7)
    clicks = _clicks(mesh, label)
    with pytest.raises(CastError, match="click once on each crown"):
        find_teeth(mesh, "lower", {})
    with pytest.raises(CastError, match="14 does not stand in the lower arch"):
        find_teeth(mesh, "lower", {14: clicks[34]})
    with pytest.raises(CastError, match="mm off the cast"):
        find_teeth(mesh, "lower", {34: clicks[34] + 40.0})
    with pytest.raises(CastError, match="same place"):
        find_teeth(mesh, "lower", {34: clicks[34], 35: clicks[34]})
    with pytest.raises(CastError, match="fit neither"):
        teeth_from_labels(mesh, "lower", np.zeros(7))
    with pytest.raises(CastError, match="upper"):
        teeth_from_labels(mesh, "upper", label)
