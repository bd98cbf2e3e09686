"""The incisal edge of a front tooth: where a notch for a rest is cut."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..errors import CaseError, GeometryError
from ..mesh import Floats, Mesh
from .model import Tooth
from .relief import relief
from .walls import UP

ANGLE_DROP_MM = 2.0
"""The proximal angle is where the edge has fallen so far below its highest place, or where the crown ends."""
CALM_CELLS = 2.0


def incisal_edge(tooth: Tooth, mesh: Mesh, side: str, inset_mm: float) -> Floats:
    """(3,) the place on the edge of a front tooth `inset_mm` inside its mesial or distal angle.

    Raises CaseError for another side, GeometryError where the scan shows no edge as long as that.
    """
    if side not in ("mesial", "distal"):
        raise CaseError(f"an angle of the incisal edge is mesial or distal, not {side!r}")
    r = relief(tooth, mesh, UP)
    rows = np.flatnonzero(r.known.sum(axis=1) >= 3)
    if len(rows) < 8:
        raise GeometryError(f"tooth {tooth.fdi}: the scan does not show its incisal edge")
    crest = gaussian_filter1d(np.nanmax(r.z[rows], axis=1), CALM_CELLS, mode="nearest")
    out = r.u[rows] if side == "mesial" else -r.u[rows]
    edge = crest > crest.max() - ANGLE_DROP_MM
    place = out[edge].max() - inset_mm
    if place < out[edge].min() + inset_mm:
        raise GeometryError(f"tooth {tooth.fdi}: its edge is too short for a notch {inset_mm:g} mm from its {side} angle")
    i = int(rows[np.abs(out - place).argmin()])
    # The middle of what stands highest in that row, not a chance point of a flat worn edge.
    height = r.z[i]
    top = np.flatnonzero(height > np.nanmax(height) - 0.08)
    return r.at(i, int(round(float(top.mean()))))
