"""Borders and numbers of the trade: distance of connectors to the gingival margin, feather edges, mass."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial import cKDTree

from ..mechanics import Material, mass
from ..mesh import Bools, Floats, Mesh
from .insertion import densified
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place

# Lower: 4 mm, 3 accepted (teaching manuals differ). Upper: 6 mm, 5 accepted (5 to 6 in teaching manuals), or on the teeth.
MARGIN_MM = {"lower": (3.0, 4.0), "upper": (5.0, 6.0)}
MARGIN_SOURCE = "lower 4 mm (3 accepted), upper 6 mm (5 accepted) from gingival margins: common practice, sources differ"
FEATHER_DEG = 30.0
FEATHER_MM = 5.0  # own limit: total length of edges sharper than 30 degrees that is worth a look
# Titanium and Co-Cr frameworks of one design differed by 1.3 to 3.9 g (Mori et al., J Oral Rehabil 1997;24:238): 340 to 1030 mm3 of metal.
USUAL_MM3 = (340.0, 1030.0)
NEEDLE_MM = 1e-3  # triangles lower than this are left by the rounding of a cut; they show no form of the metal
_ACROSS = 6  # needles in a row
CREDIBLE_MM3 = (100.0, 4000.0)


def check_margin_distance(
    framework: Mesh, mask: Bools, name: str, margins: Mapping[int, Floats], arch: str, landmarks: Landmarks = NO_LANDMARKS
) -> Check:
    """Least straight distance from the metal of a major connector (mask over vertices) to any gingival margin (each (k, 3) mm)."""
    least, wanted = MARGIN_MM[arch]
    check_id = f"form.margin.{name}"
    if not np.all(mask[framework.faces], axis=1).any() or not margins:
        return Check(check_id, "skip", None, wanted, "mm", "", MARGIN_SOURCE, "no connector metal or no margins were given")
    points = np.concatenate([np.reshape(m, (-1, 3)) for m in margins.values()])
    teeth = np.concatenate([np.full(len(np.reshape(m, (-1, 3))), fdi) for fdi, m in margins.items()])
    metal = densified(framework, np.all(mask[framework.faces], axis=1))
    distance, nearest = cKDTree(metal).query(points)
    at = int(distance.argmin())
    value, place = float(distance[at]), metal[nearest[at]]
    status: Status = "fail" if value < least else "warn" if value < wanted else "pass"
    words = f"nearest to the margin of {teeth[at]}: {value:.2f} mm (wanted {wanted:g}, at least {least:g})"
    limit = least if status == "fail" else wanted
    return Check(check_id, status, value, limit, "mm", landmarks.describe(place), MARGIN_SOURCE, words, as_place(place))


def interior_angles(mesh: Mesh) -> tuple[Floats, Floats, Floats]:
    """For each half edge of a closed mesh: angle of the metal inside it (degrees), half its length (mm), middle (e, 3).

    A needle, a triangle whose corners lie on one line to within NEEDLE_MM, has no direction of its own: the angle is that between the
    sound faces on either side of it. Half edges that belong to needles, or lead to nothing else, are left out.
    """
    count, n = 3 * len(mesh.faces), len(mesh.vertices)
    start, end = mesh.faces.reshape(-1), np.roll(mesh.faces, -1, axis=1).reshape(-1)
    keys = start * n + end
    order = np.argsort(keys)
    twin = order[np.searchsorted(keys, end * n + start, sorter=order).clip(max=max(count - 1, 0))]
    edge = mesh.vertices[end] - mesh.vertices[start]
    length = np.linalg.norm(edge, axis=1)
    needle = 2.0 * mesh.face_areas < NEEDLE_MM * length.reshape(-1, 3).max(axis=1)
    here = np.flatnonzero(~needle[np.arange(count) // 3] & (start[twin] == end) & (end[twin] == start))
    there = twin[here]
    for _ in range(_ACROSS):
        inside = np.flatnonzero(needle[there // 3])
        if len(inside) == 0:
            break
        face, k = np.divmod(there[inside], 3)
        others = np.stack([3 * face + (k + 1) % 3, 3 * face + (k + 2) % 3], axis=1)
        longer = others[np.arange(len(inside)), length[others].argmax(axis=1)]
        there[inside] = twin[longer]
    sound = ~needle[there // 3] & (there // 3 != here // 3)
    here, there = here[sound], there[sound]
    nf, ng = mesh.face_normals[here // 3], mesh.face_normals[there // 3]
    sine = np.einsum("ij,ij->i", np.cross(nf, ng), edge[here]) / np.maximum(length[here], 1e-12)
    turn = np.degrees(np.arctan2(sine, np.einsum("ij,ij->i", nf, ng)))  # positive over a convex edge
    return 180.0 - turn, 0.5 * length[here], mesh.vertices[start[here]] + 0.5 * edge[here]


def check_feather_edges(framework: Mesh, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """Total length of edges where the metal runs out thinner than 30 degrees. Slivers shorter than 0.02 mm are left out."""
    angle, length, middle = interior_angles(framework)
    sharp = (angle < FEATHER_DEG) & (length > 0.01)
    total = float(length[sharp].sum())
    place = None
    words = f"{total:.1f} mm of edge are sharper than {FEATHER_DEG:g} degrees"
    if sharp.any():
        # The place where most of it lies together, not a chance spot.
        points = middle[sharp]
        near = cKDTree(points).query_ball_point(points, 1.5)
        place = points[int(np.argmax([length[sharp][i].sum() for i in near]))]
    status: Status = "warn" if total > FEATHER_MM else "pass"
    source = "junctions without knife edges (common practice); amount: own limit"
    return Check("form.feather", status, total, FEATHER_MM, "mm", landmarks.describe(place), source, words, as_place(place))


def check_mass(framework: Mesh, material: Material) -> Check:
    """Volume of metal against that of published frameworks; mass as a range."""
    volume = framework.volume
    grams = mass(max(volume, 0.0), material)
    low, high = CREDIBLE_MM3
    status: Status = "pass" if low <= volume <= high else "fail"
    words = f"{volume:.0f} mm3 of metal, {grams.low:.1f} to {grams.high:.1f} g of {material.label}"
    if status == "pass" and not USUAL_MM3[0] <= volume <= USUAL_MM3[1]:
        status = "warn"
        words += f"; frameworks in a published series held {USUAL_MM3[0]:.0f} to {USUAL_MM3[1]:.0f} mm3"
    source = "Mori et al., J Oral Rehabil 1997;24:238: titanium and Co-Cr frameworks differed by 1.3 to 3.9 g"
    limit = USUAL_MM3[1] if volume > USUAL_MM3[0] else USUAL_MM3[0]
    return Check("form.mass", status, volume, limit, "mm3", "", source, words)
