"""The gap map of the fitting side: where metal touches the prepared cast, where it keeps a planned space, and where neither is true."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Bools, Floats, Mesh
from .fit import NEAR_MM, FaceGaps
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place

HOVER_MM = 0.3  # metal that faces the master cast nearer than this was meant to lie on it (measured misfits reach 0.28, handbook 9)
PRESSED_MM = 0.02  # as for rigid parts on their way (project target)
SHARE = (0.005, 0.02)  # of the fitting side, warn and fail: own limits; faces along borders that curl away measure 0.0006 on the samples
CONTACT, SPACE, HOVERS, PRESSED, NOT_FITTING = 1, 2, 3, 4, 0
GAP_SOURCE = "contact and relief as planned (common practice); amounts: own limits"


@dataclass(frozen=True, eq=False)
class GapMap:
    """Of each face the kind (m,): CONTACT, SPACE (planned), HOVERS, PRESSED, NOT_FITTING; gap (m,) mm to the prepared cast or NaN."""

    kind: np.ndarray
    gap: Floats

    def area(self, framework: Mesh, kind: int) -> float:
        """mm2 of one kind."""
        return float(framework.face_areas[self.kind == kind].sum())


def gap_map(to_master: FaceGaps, to_prepared: FaceGaps) -> GapMap:
    """Sort the faces of a framework by their gaps to the master cast (with block-out and relief) and to the prepared cast."""
    on_master = to_master.facing & (np.abs(to_master.gap) < NEAR_MM)
    pressed = (to_prepared.facing & (to_prepared.gap < -PRESSED_MM)) | (to_master.facing & (to_master.gap < -NEAR_MM))
    hovers = to_master.facing & (to_master.gap >= NEAR_MM) & (to_master.gap < HOVER_MM)
    touches = on_master & (np.abs(to_prepared.gap) < NEAR_MM)
    kind = np.select([pressed, hovers, touches, on_master], [PRESSED, HOVERS, CONTACT, SPACE], NOT_FITTING)
    return GapMap(kind, np.where(kind == NOT_FITTING, np.nan, to_prepared.gap))


def worst_spot(points: Floats, weight: Floats, radius_mm: float = 1.5) -> Floats | None:
    """The point (3,) round which most of the weight (k,) lies together, of (k, 3) points; None of none."""
    if len(points) == 0:
        return None
    near = cKDTree(points).query_ball_point(points[:: max(1, len(points) // 2000)], radius_mm)
    return points[:: max(1, len(points) // 2000)][int(np.argmax([weight[i].sum() for i in near]))]


def check_gap_map(framework: Mesh, found: GapMap, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """How much of the fitting side lies neither on the cast nor at the planned distance from it."""
    contact, space = found.area(framework, CONTACT), found.area(framework, SPACE)
    hovers, pressed = found.area(framework, HOVERS), found.area(framework, PRESSED)
    fitting = contact + space + hovers + pressed
    warn, fail = SHARE
    if fitting < 1.0:
        return Check("fit.gaps", "fail", None, fail, "share", "", GAP_SOURCE, "no metal faces the cast: wrong cast, or not seated")
    share = (hovers + pressed) / fitting
    bad: Bools = (found.kind == HOVERS) | (found.kind == PRESSED)
    status: Status = "fail" if share > fail else "warn" if share > warn else "pass"
    place = None if status == "pass" else worst_spot(framework.triangles[bad].mean(axis=1), framework.face_areas[bad])
    words = f"of {fitting:.0f} mm2 on the fitting side {contact:.0f} touch and {space:.0f} keep the planned space; "
    words += f"{hovers:.1f} mm2 stand off, {pressed:.1f} mm2 press in"
    limit = fail if status == "fail" else warn
    return Check("fit.gaps", status, share, limit, "share", landmarks.describe(place), GAP_SOURCE, words, as_place(place))
