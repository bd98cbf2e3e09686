"""Landmarks of a crown that rests, plates and planes are tied to: marginal ridges, fossa, cingulum, prominence, occlusal plane."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from ..errors import CaseError, GeometryError
from ..mesh import Floats, Mesh
from ..survey.scene import RayScene
from . import numbering
from .model import Teeth, Tooth

STEP_MM = 0.15
SMOOTH_MM = 0.25
CONTACT_MM = 0.6
"""Crowns further apart have no contact; scans bridge closer ones."""
BAND_MM = 1.0
"""A groove that crosses the marginal ridge is narrower than the two bands beside the middle line."""


@dataclass(frozen=True, eq=False)
class Relief:
    """A crown seen from above: heights z (a, b) over mesial u (a,) and facial v (b,), mm from the crown's centre; nan off the crown."""

    tooth: Tooth
    u: Floats
    v: Floats
    z: Floats
    raw: Floats

    def point(self, i: int, j: int) -> Floats:
        """(3,) on the surface."""
        t = self.tooth
        return t.centre + self.u[i] * t.mesial + self.v[j] * t.facial + np.array([0.0, 0.0, self.raw[i, j]])


def relief(tooth: Tooth, mesh: Mesh) -> Relief:
    """The crown's heights along Z on an even grid in its own mesial and facial directions."""
    crown, _ = mesh.submesh(tooth.faces)
    local = crown.vertices - tooth.centre
    spans = []
    for d in (tooth.mesial, tooth.facial):
        along = local @ d
        spans.append(np.arange(along.min() - STEP_MM, along.max() + 2 * STEP_MM, STEP_MM))
    u, v = spans
    uu, vv = np.meshgrid(u, v, indexing="ij")
    ceiling = float(local[:, 2].max()) + 1.0
    start = tooth.centre + uu.ravel()[:, None] * tooth.mesial + vv.ravel()[:, None] * tooth.facial + np.array([0.0, 0.0, ceiling])
    distance, face = RayScene(crown).first_hit(start, np.array([0.0, 0.0, -1.0]))
    raw = np.where(face >= 0, ceiling - distance, np.nan).reshape(uu.shape)
    known = np.isfinite(raw)
    filled = np.where(known, raw, np.nanmin(raw))
    weight = gaussian_filter(known.astype(float), SMOOTH_MM / STEP_MM)
    smooth = gaussian_filter(np.where(known, filled, 0.0), SMOOTH_MM / STEP_MM) / np.maximum(weight, 1e-6)
    return Relief(tooth, u, v, np.where(known, smooth, np.nan), raw)


def _middle_line(r: Relief) -> float:
    """Facial coordinate midway between facial and lingual cusp tips, or of the crown's outline where there are no two rows."""
    tips = (r.tooth.cusps - r.tooth.centre) @ r.tooth.facial
    covered = r.v[np.isfinite(r.z).any(axis=0)]
    outline = 0.5 * (covered[0] + covered[-1])
    facial, lingual = tips[tips > outline + 0.8], tips[tips < outline - 0.8]
    if len(facial) and len(lingual):
        return float(0.5 * (facial.mean() + lingual.mean()))
    return float(outline)


def _profile(r: Relief, middle: float, half_mm: float = BAND_MM) -> Floats:
    """(a,) mean height along the mesiodistal line through the middle."""
    band = np.abs(r.v - middle) <= half_mm
    part = r.z[:, band]
    count = np.isfinite(part).sum(axis=1)
    total = np.where(np.isfinite(part), part, 0.0).sum(axis=1)
    return np.where(count > 0.6 * band.sum(), total / np.maximum(count, 1), np.nan)


def marginal_ridge(tooth: Tooth, mesh: Mesh, side: str) -> Floats:
    """(3,) the middle of the mesial or distal marginal ridge, midway faciolingually.

    Where a crown has no rise there (worn teeth, front teeth), the edge at which its top turns down to the proximal face.
    Raises CaseError for another side, GeometryError where the crown's top is not in the scan.
    """
    if side not in ("mesial", "distal"):
        raise CaseError(f"a marginal ridge is mesial or distal, not {side!r}")
    r = relief(tooth, mesh)
    middle = _middle_line(r)
    if numbering.is_anterior(tooth.fdi):
        middle = float((tooth.cusps[0] - tooth.centre) @ tooth.facial)
    height = _profile(r, middle)
    sign = 1.0 if side == "mesial" else -1.0
    out = sign * r.u
    known = np.isfinite(height)
    if known.sum() < 8:
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its top; the {side} marginal ridge cannot be placed")
    end, start = out[known].max(), out[known].min()
    centre = 0.5 * (end + start)
    usable = known & (out > centre + 0.4 * (end - centre)) & (out < end)
    order = np.flatnonzero(usable)[np.argsort(out[usable])]
    i = _ridge_index(out[order], height[order])
    across = r.z[int(order[i])] - 0.3 * np.abs(r.v - middle)
    near = (np.abs(r.v - middle) <= BAND_MM) & np.isfinite(across)
    j = int(np.where(near, across, -np.inf).argmax()) if near.any() else int(np.abs(r.v - middle).argmin())
    return r.point(int(order[i]), j)


def _ridge_index(out: Floats, height: Floats) -> int:
    """Of a profile going outward: the highest rise after the fossa, else the edge where it turns down more steeply than 45 degrees."""
    best = int(height.argmax())
    if best > 1:
        return best
    slope = np.gradient(height, out)
    steep = np.flatnonzero(slope < -1.0)
    return max(int(steep[0]) - 1, 0) if len(steep) else len(out) - 1


def fossa(tooth: Tooth, mesh: Mesh, side: str | None = None) -> Floats:
    """(3,) the lowest point of the occlusal table between the marginal ridges: the whole table, or its "mesial" or "distal" half."""
    r = relief(tooth, mesh)
    middle = _middle_line(r)
    known = np.isfinite(_profile(r, middle))
    low, high = r.u[known].min(), r.u[known].max()
    centre, half = 0.5 * (low + high), 0.5 * (high - low)
    span = {None: (-0.55, 0.55), "mesial": (0.1, 0.7), "distal": (-0.7, -0.1)}.get(side)
    if span is None:
        raise CaseError(f"a fossa is mesial, distal or (None) the deepest, not {side!r}")
    width = np.ptp(r.v[np.isfinite(r.z).any(axis=0)])
    inside = ((r.u > centre + span[0] * half) & (r.u < centre + span[1] * half))[:, None]
    inside = inside & (np.abs(r.v - middle) < 0.22 * width)[None] & np.isfinite(r.z)
    if not inside.any():
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its occlusal table")
    i, j = np.unravel_index(int(np.where(inside, r.z, np.inf).argmin()), r.z.shape)
    return r.point(int(i), int(j))


def _lingual_profile(tooth: Tooth, mesh: Mesh) -> tuple[Floats, Floats, Floats]:
    """Heights (k,) from margin to edge, outermost lingual points (k, 3) and bulge (k,) in the middle of the lingual face, mm."""
    crown, _ = mesh.submesh(tooth.faces)
    lingual = -tooth.facial
    local = tooth.margin - tooth.centre
    face_side = local @ lingual > 0.3 * np.abs(local @ lingual).max()
    low = float(local[face_side & (np.abs(local @ tooth.mesial) < 1.5), 2].mean()) if face_side.any() else float(local[:, 2].min())
    high = float((tooth.cusps[0] - tooth.centre)[2])
    heights = np.linspace(low + 0.1, high - 0.3, 60)
    scene = RayScene(crown)
    total, count = np.zeros(len(heights)), np.zeros(len(heights))
    reach = 20.0
    for shift in (-0.4, -0.2, 0.0, 0.2, 0.4):
        start = tooth.centre + shift * tooth.mesial + reach * lingual + heights[:, None] * np.array([0.0, 0.0, 1.0])
        distance, face = scene.first_hit(start, -lingual)
        ok = face >= 0
        total[ok] += reach - distance[ok]
        count[ok] += 1
    bulge = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    points = tooth.centre + bulge[:, None] * lingual + heights[:, None] * np.array([0.0, 0.0, 1.0])
    return heights, points, bulge


def cingulum(tooth: Tooth, mesh: Mesh) -> Floats:
    """(3,) the shoulder of the cingulum in the middle of the lingual face: where that face bends most between lower and middle third.

    Raises GeometryError where the lingual face is not in the scan.
    """
    heights, points, bulge = _lingual_profile(tooth, mesh)
    known = np.isfinite(bulge)
    if known.sum() < 20:
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its lingual face; the cingulum cannot be placed")
    h, b, p = heights[known], bulge[known], points[known]
    share = (h - h[0]) / (h[-1] - h[0])
    arm = 0.18 * (h[-1] - h[0])
    bend = b - 0.5 * (np.interp(h - arm, h, b) + np.interp(h + arm, h, b))
    # a smooth face has no marked shoulder: then the junction of gingival and middle third, where the ledge is cut (common practice)
    score = np.where((share >= 0.18) & (share <= 0.5), bend - 0.05 * ((share - 1.0 / 3.0) / 0.12) ** 2, -np.inf)
    return np.asarray(p[int(score.argmax())])


def facial_prominence(tooth: Tooth, mesh: Mesh) -> Floats:
    """(3,) the point of the crown furthest toward the face, within its middle third mesiodistally."""
    points = mesh.vertices[np.unique(mesh.faces[tooth.faces])]
    along = (points - tooth.centre) @ tooth.mesial
    middle, half = 0.5 * (along.max() + along.min()), 0.5 * (along.max() - along.min())
    near = np.abs(along - middle) < half / 3.0
    candidates = points[near] if near.any() else points
    return np.asarray(candidates[int((candidates @ tooth.facial).argmax())])


def contact(tooth: Tooth, other: Tooth, mesh: Mesh) -> tuple[Floats, float]:
    """(midpoint (3,), distance in mm) of the nearest approach of two crowns above their margins."""
    from scipy.spatial import cKDTree

    a = mesh.vertices[np.unique(mesh.faces[tooth.faces])]
    b = mesh.vertices[np.unique(mesh.faces[other.faces])]
    a = a[a[:, 2] > tooth.centre[2] - 1.0] if (a[:, 2] > tooth.centre[2] - 1.0).any() else a
    distance, nearest = cKDTree(b).query(a)
    k = int(distance.argmin())
    return 0.5 * (a[k] + b[nearest[k]]), float(distance[k])


def occlusal_plane(teeth: Teeth, numbers: tuple[int, ...] | None = None) -> tuple[Floats, Floats]:
    """(point (3,), unit normal (3,) occlusally) of the plane through cusp tips: of all teeth, or of those named (three at least).

    One tip a front tooth, the two highest of the others. Raises GeometryError with too few tips or all in a line.
    """
    chosen = [teeth[n] for n in numbers] if numbers else list(teeth.ordered)
    tips = np.vstack([t.cusps[: 1 if numbering.is_anterior(t.fdi) else 2] for t in chosen]) if chosen else np.zeros((0, 3))
    if len(tips) < 3:
        raise GeometryError("an occlusal plane needs three cusp tips; mark more teeth")
    middle = tips.mean(axis=0)
    weight = np.ones(len(tips))
    normal = np.array([0.0, 0.0, 1.0])
    for _ in range(5):
        centred = (tips - middle) * weight[:, None]
        _, spread, axes = np.linalg.svd(centred, full_matrices=False)
        if spread[1] < 0.05 * spread[0]:
            raise GeometryError("the cusp tips lie in one line; name a tooth on the other side as well")
        normal = axes[2] if axes[2, 2] > 0 else -axes[2]
        # a canine or an over-erupted tooth that stands out must not tip the plane
        weight = 1.0 / np.maximum(1.0, np.abs((tips - middle) @ normal) / 0.8)
        middle = np.average(tips, axis=0, weights=weight)
    return middle, normal


def landmarks_of(teeth: Teeth, fdi: int, mesh: Mesh) -> dict[str, Floats]:
    """Every landmark of a crown that the scan shows: points (3,) by name, cusps (c, 3).

    Marginal ridges and fossa of the back teeth, cingulum of the front teeth, prominence of all, contacts with neighbours no more than
    CONTACT_MM away.
    """
    tooth = teeth[fdi]
    found: dict[str, Floats] = {"cusps": tooth.cusps, "facial prominence": facial_prominence(tooth, mesh)}
    wanted: list[tuple[str, Callable[[], Floats]]] = (
        [("cingulum", lambda: cingulum(tooth, mesh))]
        if numbering.is_anterior(fdi)
        else [
            ("mesial ridge", lambda: marginal_ridge(tooth, mesh, "mesial")),
            ("distal ridge", lambda: marginal_ridge(tooth, mesh, "distal")),
            ("fossa", lambda: fossa(tooth, mesh)),
        ]
    )
    for name, find in wanted:
        try:
            found[name] = find()
        except GeometryError:
            continue  # not in the scan: the caller sees that it is not there
    for side in ("mesial", "distal"):
        other = teeth.next_to(fdi, side)
        if other is not None:
            point, apart = contact(tooth, other, mesh)
            if apart <= CONTACT_MM:
                found[f"{side} contact"] = point
    return found
