"""Which survey lines to show: a wall trimmed along the path has a line but no undercut."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Mesh
from .lines import Contour
from .measure import Survey

SHALLOW_MM, NEAR_MM, SHARE = 0.05, 1.5, 0.3  # own limits: what counts as undercut, how near the line it lies, along how much of it


def contours_to_show(mesh: Mesh, survey: Survey) -> tuple[Contour, ...]:
    """The heights of contour of a survey, mm, less those off the teeth with no undercut under them (the trimmed base of a cast).

    mesh : the surveyed mesh. On a survey without tooth numbers every line counts as off the teeth.
    """
    undercut = cKDTree(mesh.vertices[survey.undercut > SHALLOW_MM])

    def over(line: Contour) -> bool:
        return bool(np.mean(undercut.query(line.points, distance_upper_bound=NEAR_MM)[0] < NEAR_MM) >= SHARE)

    return tuple(c for c in survey.contours if c.label or over(c))
