"""Teeth from labels: of a made-up cast, of a labelled scan, or of the crowns found from clicks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from ..errors import CastError
from ..mesh import Floats, Ints, Mesh
from . import numbering
from .borders import with_shared_borders, with_words
from .cusps import cusp_tips
from .directions import arch_tangents, crown_centroid, long_axis, sides
from .margins import largest_part, margin_line, patch_of, shared_with
from .model import COLLAR_MM, Labels, Teeth, Tooth

LEAST_VERTICES = 12


def vertex_labels(mesh: Mesh, labels: Labels) -> Labels:
    """(n,) labels a vertex from (n,) or from (m,) labels a face: the label with the largest angle round the vertex."""
    labels = np.asarray(labels)
    if len(labels) == len(mesh.vertices):
        return labels.astype(np.int16)
    if len(labels) != len(mesh.faces):
        raise CastError(
            f"{len(labels)} labels fit neither the {len(mesh.vertices)} vertices nor the {len(mesh.faces)} triangles of the cast; "
            "label the mesh as it is now"
        )
    best = np.zeros(len(mesh.vertices))
    result = np.zeros(len(mesh.vertices), dtype=np.int16)
    for fdi in np.unique(labels):
        weight = np.bincount(mesh.faces[labels == fdi].ravel(), minlength=len(best)).astype(float)
        better = weight > best
        result[better], best[better] = fdi, weight[better]
    return result


def _clean(mesh: Mesh, labels: Labels) -> Labels:
    """One part a crown, without holes; what breaks off becomes tissue."""
    result = np.zeros_like(labels)
    for fdi in np.unique(labels[labels != 0]):
        mask = labels == fdi
        patch, kept = patch_of(mesh, mask, 1.0)
        part = largest_part(patch, mask[kept])
        if part.sum() >= LEAST_VERTICES:
            take = kept[part]
            result[take[(result[take] == 0)]] = fdi
    return result


def _collar(patch: Mesh, kept: Ints, labels: Labels, margin: Floats, mesh: Mesh) -> Ints:
    """Faces of the mesh that are tissue and lie within COLLAR_MM of the margin."""
    tissue = np.flatnonzero(labels == 0)
    if len(tissue) == 0:
        return np.zeros(0, dtype=np.int64)
    distance, _ = cKDTree(margin).query(patch.vertices[tissue], distance_upper_bound=COLLAR_MM)
    near = np.zeros(len(mesh.vertices), dtype=bool)
    near[kept[tissue[np.isfinite(distance)]]] = True
    inside = np.zeros(len(mesh.vertices), dtype=bool)
    inside[kept] = True
    candidate = np.flatnonzero(near[mesh.faces].any(axis=1) & inside[mesh.faces].all(axis=1))
    return candidate


def _crown(mesh: Mesh, labels: Labels, fdi: int, smooth_mm: float, snap: bool) -> Tooth:
    """One crown, with its sides, axis and cusps still to be set."""
    mask = labels == fdi
    patch, kept = patch_of(mesh, mask, 2.0)
    margin, supported, flags = margin_line(patch, mask[kept].astype(np.float64), smooth_mm, snap=snap)
    shared = shared_with(margin, patch, labels[kept], fdi)
    faces = np.flatnonzero(mask[mesh.faces].sum(axis=1) >= 2)
    crown, _ = mesh.submesh(faces)
    centre = crown_centroid(crown, margin)
    collar = np.setdiff1d(_collar(patch, kept, labels[kept], margin, mesh), faces)
    collar = collar[(labels[mesh.faces[collar]] == 0).sum(axis=1) >= 2]
    nowhere = np.zeros(3)
    return Tooth(fdi, margin, centre, nowhere, nowhere, nowhere, np.zeros((0, 3)), faces, flags, collar, shared, supported)


def _finished(mesh: Mesh, arch: str, teeth: dict[int, Tooth]) -> dict[int, Tooth]:
    """The same crowns with their sides from the run of the arch, then their axes and cusp tips."""
    tangents = arch_tangents(arch, {fdi: tooth.centre for fdi, tooth in teeth.items()})
    result = {}
    for fdi, tooth in teeth.items():
        mesial, facial = sides(fdi, tangents[fdi])
        crown, _ = mesh.submesh(tooth.faces)
        axis = long_axis(crown, tooth.margin, mesial, facial)
        cusps = cusp_tips(crown, fdi, tooth.centre, axis, mesial, facial)
        result[fdi] = replace(tooth, mesial=mesial, facial=facial, axis=axis, cusps=cusps)
    return result


def teeth_from_labels(
    mesh: Mesh, arch: str, labels: Labels, missing: tuple[int, ...] = (), *, smooth_mm: float = 0.3, snap: bool = False
) -> Teeth:
    """The teeth of a labelled cast in the cast frame.

    labels : FDI number a vertex (n,) or a face (m,), 0 for tissue
    smooth_mm : how far the margin is smoothed along itself; snap : draw the margins into the valleys beside the labels' borders
    Raises CastError when labels do not fit the mesh or name teeth of the other arch.
    """
    a_vertex = _clean(mesh, vertex_labels(mesh, np.asarray(labels)))
    numbers = [int(n) for n in np.unique(a_vertex) if n != 0]
    strange = [n for n in numbers if numbering.arch_of(n) != arch]
    if strange:
        what = f"{strange[0]} ({numbering.name(strange[0])})"
        raise CastError(f"the labels name {what} on a cast of the {arch} arch; check the arch or the labels")
    teeth = {fdi: _crown(mesh, a_vertex, fdi, smooth_mm, snap) for fdi in numbers}
    if snap:
        teeth = with_shared_borders(mesh, teeth)
    done = {fdi: with_words(t) for fdi, t in _finished(mesh, arch, teeth).items()}
    return Teeth(arch, a_vertex, done, tuple(sorted(missing)))
