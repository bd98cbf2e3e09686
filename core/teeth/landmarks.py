"""Landmarks of a crown that rests, plates and planes are tied to: marginal ridges, fossae, cingulum, prominence, contacts."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.ndimage import minimum_filter

from ..errors import CaseError, GeometryError
from ..mesh import Bools, Floats, Mesh
from . import numbering
from .contacts import CONTACT_MM, contact
from .model import Teeth, Tooth
from .planes import occlusal_plane
from .relief import Relief, middle_line, relief
from .ridges import marginal_ridge
from .walls import UP, cingulum, cingulum_crest, ends_along, facial_prominence

__all__ = [
    "cingulum", "cingulum_crest", "contact", "facial_prominence", "fossa", "landmarks_of", "marginal_ridge", "occlusal_plane",
]  # fmt: skip

SPANS = {"central": (-0.35, 0.35), None: (-0.55, 0.55), "mesial": (0.15, 0.75), "distal": (-0.75, -0.15)}
"""Where fossae lie, in half-widths of the crown from its middle, mesially."""
TABLE_SHARE = 0.22
FLOOR_MM = 0.7
"""A fossa's floor is what lies no higher over its deepest place: its middle is sure where the deepest place, a fissure's, is chance."""
CALM_MM = 0.05


def fossa(tooth: Tooth, mesh: Mesh, side: str | None = None) -> Floats:
    """(3,) a fossa of the occlusal table: the middle of the floor of the "mesial", "distal" or "central" one, or (None) the lowest place.

    Raises CaseError for another word, GeometryError where the scan does not show the table, or that part of it has no hollow.
    """
    if side not in SPANS:
        raise CaseError(f"a fossa is mesial, distal, central or (None) the deepest, not {side!r}")
    r = relief(tooth, mesh, UP)
    middle = middle_line(r, r.local(tooth.cusps))
    low, high = ends_along(tooth, mesh.submesh(tooth.faces)[0])
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
        raise GeometryError(f"tooth {tooth.fdi}: its occlusal table has no {side} fossa that the scan shows")
    return _floor_middle(r, calm, *_lowest(calm, hollow), inside)


def _lowest(z: Floats, of: Bools) -> tuple[int, int]:
    """Cell of the least height among those marked."""
    i, j = np.unravel_index(int(np.where(of, z, np.inf).argmin()), z.shape)
    return int(i), int(j)


def _floor_middle(r: Relief, z: Floats, i: int, j: int, inside: Bools) -> Floats:
    """(3,) the middle of the floor round its deepest cell, on the surface; deeper places count for more."""
    depth = np.where(inside & np.isfinite(z), np.maximum(z[i, j] + FLOOR_MM - z, 0.0), 0.0)
    a, b = depth.sum(axis=1) @ r.u / depth.sum(), depth.sum(axis=0) @ r.v / depth.sum()
    return r.point(float(a), float(b), float(r.raw[int(np.abs(r.u - a).argmin()), int(np.abs(r.v - b).argmin())]))


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
