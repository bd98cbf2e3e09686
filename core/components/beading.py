"""Beading: a rounded ridge on the tissue side along the free borders of an upper connector, which seats itself in the tissue.

The cast is scored for it before the framework is made, so the ridge is the metal that fills the score.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from ..mesh import Floats
from ..solids.curves import resample
from ..solids.fields import Shape
from .gaps import Gap, ridge_line
from .site import Site

FADE_MM = (6.0, 9.0)  # from the gingival margins: none nearer than 6 mm (handbook, section 4); whole from here on (own choice)
MIDLINE_MM, HARD_SHARE = 3.0, 0.5  # shallower over the hard tissue of the midline (handbook, section 4; by how much: own choice)
OFF_BASE_MM = 3.0  # beside a base the border is a finish line and takes none
INSIDE_MM = 1.0  # of the border, so that the metal fills the score
LEAST_MM = 0.1  # what is shallower is left out
STEP_MM = 0.1
CALM_SAMPLES = 6
OPEN_MM = 0.1  # the score is open along the path in steps of this: on a slope nothing catches


def score(lines: Sequence[Floats], bead_mm: float, site: Site, gaps: Sequence[Gap], name: str) -> tuple[Shape, ...]:
    """What is scored out of the cast: a half-round groove as deep as it is half wide, open along the path.

    lines : (k, 3) closed lines on the palate, already inside the borders; bead_mm : greatest depth
    """
    if bead_mm <= 0:
        return ()
    on_skin = [site.skin.project(resample(line, STEP_MM))[0] for line in lines]
    points = np.vstack(on_skin)
    depth = np.concatenate([gaussian_filter1d(depths(p, bead_mm, site, gaps), CALM_SAMPLES, mode="wrap") for p in on_skin])
    kept = depth > LEAST_MM
    if not kept.any():
        return ()
    points, depth = points[kept], depth[kept]
    tree, up = cKDTree(points), site.up
    rises = np.arange(0.0, 2.0 * bead_mm + OPEN_MM, OPEN_MM)

    def field(query: Floats) -> Floats:
        out = np.full(len(query), np.inf)
        for rise in rises:
            away, nearest = tree.query(query - rise * up, workers=-1)
            np.minimum(out, away - depth[nearest], out=out)
        return out

    pad = 3.0 * bead_mm + 0.5
    return (Shape(field, np.array([points.min(axis=0) - pad, points.max(axis=0) + pad]), f"{name} beading"),)


def depths(points: Floats, bead_mm: float, site: Site, gaps: Sequence[Gap]) -> Floats:
    """(k,) mm deep at points (k, 3) of the border."""
    margins = np.vstack([t.margin for t in site.teeth.teeth.values()])
    near = np.clip((cKDTree(margins).query(points)[0] - FADE_MM[0]) / (FADE_MM[1] - FADE_MM[0]), 0.0, 1.0)
    middle = np.clip(np.abs(points[:, 0]) / MIDLINE_MM, 0.0, 1.0)
    whole = bead_mm * near * (HARD_SHARE + (1.0 - HARD_SHARE) * middle)
    for gap in gaps:
        stations = gap.inset(0.0, 0.0)
        line = ridge_line(site, stations, "lingual", gap.lingual_mm)
        off = cKDTree(line).query(points)[0]
        whole = whole * np.clip((off - OFF_BASE_MM) / OFF_BASE_MM, 0.0, 1.0)
    return np.asarray(whole)
