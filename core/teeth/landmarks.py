"""Landmarks of a crown that rests, plates and planes are tied to: marginal ridges, fossae, cingulum, prominence, contacts."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.ndimage import gaussian_filter1d, label, minimum_filter

from ..errors import CaseError, GeometryError
from ..mesh import Bools, Floats, Mesh
from . import numbering
from .contacts import CONTACT_MM, contact
from .model import Teeth, Tooth
from .planes import occlusal_plane
from .relief import Relief, middle_line, relief
from .walls import UP, cingulum, cingulum_crest, facial_prominence

__all__ = [
    "cingulum", "cingulum_crest", "contact", "facial_prominence", "fossa", "landmarks_of", "marginal_ridge", "occlusal_plane",
]  # fmt: skip

BAND_MM = 0.5
"""Half-width of the stretch of a marginal ridge whose heights are averaged."""
INNER_SHARE = 0.2
"""Marginal ridges are looked for further out than this share of the crown's half-width."""
STEP = 0.05
ARM_MM = 0.5
TURN_MM = 0.03
"""Less than this over chords of ARM_MM to either side is no turn of a profile."""


def _profile(r: Relief, middle: float, half_mm: float = BAND_MM) -> Floats:
    """(a,) mean height along the mesiodistal line through the middle."""
    band = np.abs(r.v - middle) <= half_mm
    part = r.z[:, band]
    count = np.isfinite(part).sum(axis=1)
    total = np.where(np.isfinite(part), part, 0.0).sum(axis=1)
    return np.where(count > 0.6 * band.sum(), total / np.maximum(count, 1), np.nan)


def marginal_ridge(tooth: Tooth, mesh: Mesh, side: str) -> Floats:
    """(3,) the crest of the mesial or distal marginal ridge, midway between facial and lingual cusps.

    Where a crown has no rise there (worn teeth, front teeth), the edge at which its top turns down to the proximal face.
    Raises CaseError for another side, GeometryError where the crown's top is not in the scan.
    """
    if side not in ("mesial", "distal"):
        raise CaseError(f"a marginal ridge is mesial or distal, not {side!r}")
    # along the crown's axis as seen from the cheek: the shoulder of the proximal wall is no rise then
    up = UP + (tooth.axis @ tooth.mesial) / max(float(tooth.axis @ UP), 0.5) * tooth.mesial
    r = relief(tooth, mesh, up / np.linalg.norm(up))
    tips = r.local(tooth.cusps)
    middle = float(tips[0, 1]) if numbering.is_anterior(tooth.fdi) else middle_line(r, tips, 1.0 if side == "mesial" else -1.0)
    height = _profile(r, middle)
    out = r.u if side == "mesial" else -r.u
    known = np.isfinite(height)
    if known.sum() < 8:
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its top; the {side} marginal ridge cannot be placed")
    end, start = out[known].max(), out[known].min()
    usable = known & (out > 0.5 * (end + start) + INNER_SHARE * 0.5 * (end - start))
    order = np.flatnonzero(usable)[np.argsort(out[usable])]
    place = _crest(out[order], height[order])
    i, j = int(np.abs(out - place).argmin()), int(np.abs(r.v - middle).argmin())
    return r.point(place if side == "mesial" else -place, float(r.v[j]), float(r.raw[i, j] if np.isfinite(r.raw[i, j]) else height[i]))


def _crest(out: Floats, height: Floats) -> float:
    """Where a profile going outward has its outermost rise; else where it turns over first after its deepest hollow; else the edge at which
    it turns down by 45 degrees.

    Along the crown's own axis the shoulder of the proximal wall is no rise. Of a worn crown the turn still shows, whichever way is up.
    """
    even = np.arange(out[0], out[-1], STEP)
    h = gaussian_filter1d(np.interp(even, out, height), 2.0, mode="nearest")
    arm = int(round(ARM_MM / STEP))
    if len(even) < 2 * arm:
        return float(even[-1])
    outer = even > 0.45 * even[-1]
    rise = np.flatnonzero((h[1:-1] >= h[:-2]) & (h[1:-1] > h[2:]) & outer[1:-1]) + 1
    if len(rise):
        return float(even[rise[-1]])
    beyond = h[-1] + (h[-1] - h[-5]) / 4 * np.arange(1, arm + 1)  # the border with a neighbour ends the profile: its wall runs on down
    longer = np.r_[np.full(arm, np.nan), h, beyond]
    bend = h - 0.5 * (longer[: -2 * arm] + longer[2 * arm :])
    inside = np.isfinite(bend) & (even <= even[-1] - 0.2)
    bend = np.nan_to_num(bend, nan=0.0)
    hollow = int(np.where(inside & (even < 0.85 * even[-1]), bend, np.inf).argmin())
    turns = np.flatnonzero((bend[1:-1] >= bend[:-2]) & (bend[1:-1] > bend[2:]) & (bend[1:-1] > TURN_MM) & inside[1:-1]) + 1
    if (turns > hollow).any():
        return float(even[turns[turns > hollow][0]])
    steep = np.flatnonzero(np.gradient(h, even) < -1.0)
    return float(even[max(int(steep[0]) - 1, 0)] if len(steep) else even[-1])


SPANS = {"central": (-0.35, 0.35), None: (-0.55, 0.55), "mesial": (0.15, 0.75), "distal": (-0.75, -0.15)}
"""Where fossae lie, in half-widths of the crown from its middle, mesially."""
TABLE_SHARE = 0.22
FLOOR_MM = 0.1
"""A fossa's floor is what lies no higher over its deepest place: the floor's middle is sure where the deepest place is chance."""
CALM_MM = 0.1


def fossa(tooth: Tooth, mesh: Mesh, side: str | None = None) -> Floats:
    """(3,) a fossa of the occlusal table: the middle of the floor of the "mesial", "distal" or "central" one, or (None) the lowest place.

    Of several hollows there the deepest; where that part of the table has none of its own, its lowest place.
    Raises CaseError for another word, GeometryError where the scan does not show the table.
    """
    if side not in SPANS:
        raise CaseError(f"a fossa is mesial, distal, central or (None) the deepest, not {side!r}")
    r = relief(tooth, mesh, UP)
    middle = middle_line(r, r.local(tooth.cusps))
    known = np.isfinite(_profile(r, middle))
    if not known.any():
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its occlusal table")
    low, high = r.u[known].min(), r.u[known].max()
    centre, half = 0.5 * (low + high), 0.5 * (high - low)
    width = np.ptp(r.v[r.known.any(axis=0)])
    inside = ((r.u > centre + SPANS[side][0] * half) & (r.u < centre + SPANS[side][1] * half))[:, None]
    inside = inside & (np.abs(r.v - middle) < TABLE_SHARE * width)[None] & r.known
    if not inside.any():
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its occlusal table")
    if side is None:
        return r.at(*_lowest(r.z, inside))
    calm = r.calmed(CALM_MM)
    hollow = inside & _hollows(calm)
    if not hollow.any():
        return r.at(*_lowest(calm, inside))
    return _floor_middle(r, calm, *_lowest(calm, hollow), inside)


def _lowest(z: Floats, of: Bools) -> tuple[int, int]:
    """Cell of the least height among those marked."""
    i, j = np.unravel_index(int(np.where(of, z, np.inf).argmin()), z.shape)
    return int(i), int(j)


def _floor_middle(r: Relief, z: Floats, i: int, j: int, inside: Bools) -> Floats:
    """(3,) the middle of the floor round its deepest cell, on the surface; deeper places count for more."""
    depth = np.where(inside & np.isfinite(z), z[i, j] + FLOOR_MM - z, 0.0)
    part, _ = label(depth > 0.0)
    depth = np.where(part == part[i, j], depth, 0.0)
    a, b = depth.sum(axis=1) @ r.u / depth.sum(), depth.sum(axis=0) @ r.v / depth.sum()
    return r.at(int(np.abs(r.u - a).argmin()), int(np.abs(r.v - b).argmin()))


def _hollows(z: Floats) -> Bools:
    """(a, b) True where a cell is lower than all others within 0.45 mm."""
    filled = np.where(np.isfinite(z), z, -np.inf)
    return np.asarray((filled <= minimum_filter(filled, size=7, mode="constant", cval=-np.inf)) & np.isfinite(z))


def _wanted(tooth: Tooth, mesh: Mesh) -> list[tuple[str, Callable[[], Floats]]]:
    """Names and finders of the landmarks that a kind of tooth has beside its cusps."""
    facial: list[tuple[str, Callable[[], Floats]]] = [("facial prominence", partial(facial_prominence, tooth, mesh))]
    if numbering.is_anterior(tooth.fdi):
        return [*facial, ("cingulum", partial(cingulum_crest, tooth, mesh))]
    fossae = ("central",) if numbering.is_molar(tooth.fdi) else ("mesial", "distal")
    found = facial + [(f"{side} fossa", partial(fossa, tooth, mesh, side)) for side in fossae]
    return found + [(f"{side} ridge", partial(marginal_ridge, tooth, mesh, side)) for side in ("mesial", "distal")]


def landmarks_of(teeth: Teeth, fdi: int, mesh: Mesh) -> dict[str, Floats]:
    """Every landmark of a crown that the scan shows: points (3,) by name, cusps (c, 3).

    Marginal ridges of the back teeth, the central fossa of molars, mesial and distal fossae of premolars, cingulum of the front teeth,
    prominence of all, contacts with neighbours no more than CONTACT_MM away.
    """
    tooth = teeth[fdi]
    found: dict[str, Floats] = {"cusps": tooth.cusps}
    for name, find in _wanted(tooth, mesh):
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
