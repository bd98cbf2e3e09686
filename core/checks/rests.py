"""Rests as finished: how wide the metal bears at the ridge, and whether its floor falls inward. Measured on the framework's faces."""

from __future__ import annotations

import numpy as np

from ..mesh import Bools, Floats, Mesh
from ..preparation import ON_TOP, RestSeatSpec
from .fit import FaceGaps
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place

# Least width by kind of seat, mm: (warn under, source).
WIDTHS: dict[str, tuple[float, str]] = {
    **dict.fromkeys(ON_TOP, (2.5, "occlusal rests 2.5 mm wide or more at the ridge (common practice)")),
    "cingulum": (2.5, "cingulum rests 2.5 to 3 mm wide (McCracken's, from memory)"),
    "ball": (1.5, "ball rests 1.5 to 2 mm across (Stewart's, from memory)"),
    "incisal": (2.5, "incisal rests 2.5 mm wide (McCracken's, from memory)"),
}
SLACK_MM = 0.1  # a border is rounded off by so much where seat and tooth meet
BAND_MM = 0.6  # a width is measured over this stretch
WALL = 0.25  # cosine: what is steeper is no longer a floor
AXIS_MM = 0.45  # and a floor's fall this far to either side of its middle
FLOOR_DEG = 90.0


def bearing(framework: Mesh, mask: Bools, gaps: FaceGaps, seat: RestSeatSpec) -> tuple[Floats, Floats]:
    """Centres (k, 3) in the seat's own axes (inward, across, up) and areas (k,) of the faces of a rest that lie in its seat."""
    touching = gaps.touching()
    touching = touching[mask[framework.faces[touching]].all(axis=1)]
    down = touching[framework.face_normals[touching] @ seat.up < -WALL]
    return (framework.triangles[down].mean(axis=1) - seat.point) @ seat.axes.T, framework.face_areas[down]


def check_rest_width(
    framework: Mesh, mask: Bools, name: str, gaps: FaceGaps, seat: RestSeatSpec, landmarks: Landmarks = NO_LANDMARKS
) -> Check:
    """The width over which a rest bears: across at the ridge, or along the face or edge of a front tooth."""
    least, source = WIDTHS[seat.kind]
    local, _ = bearing(framework, mask, gaps, seat)
    along, over = (1, 0) if seat.kind != "incisal" else (0, 1)
    band = local[np.abs(local[:, over] - (0.2 if seat.kind in ON_TOP else np.median(local[:, over]) if len(local) else 0.0)) < BAND_MM]
    if len(band) < 4:
        return Check(f"rest.width.{name}", "skip", None, least, "mm", landmarks.describe(seat.point), source, "no metal bears at the ridge")
    value = float(np.ptp(band[:, along]))
    status: Status = "pass" if value >= least - SLACK_MM else "warn"
    words = f"bears over {value:.1f} mm; {seat.width_mm:.1f} were asked for"
    place = None if status == "pass" else seat.point
    return Check(f"rest.width.{name}", status, value, least, "mm", landmarks.describe(seat.point), source, words, as_place(place))


def check_rest_floor(
    framework: Mesh, mask: Bools, name: str, gaps: FaceGaps, seat: RestSeatSpec, landmarks: Landmarks = NO_LANDMARKS
) -> list[Check]:
    """The angle between an occlusal rest's floor and a minor connector that comes up along the path: under 90 degrees, or it slides off."""
    if seat.kind not in ON_TOP:
        return []
    source = "floor to minor connector under 90 degrees (common practice)"
    local, area = bearing(framework, mask, gaps, seat)
    run = 0.45 * seat.length_mm
    chosen = (np.abs(local[:, 1]) < AXIS_MM) & (local[:, 0] > -0.1) & (local[:, 0] < run)
    if chosen.sum() < 5:
        words = "too little of its floor bears to be measured"
        return [Check(f"rest.floor.{name}", "skip", None, FLOOR_DEG, "degrees", landmarks.describe(seat.point), source, words)]
    fall = -float(np.polyfit(local[chosen, 0], local[chosen, 2], 1, w=np.sqrt(area[chosen]))[0])
    value = 90.0 - float(np.degrees(np.arctan(fall)))
    status: Status = "pass" if value < FLOOR_DEG else "warn"
    words = f"its floor falls inward by {90.0 - value:.0f} degrees" if status == "pass" else "its floor does not fall inward"
    return [Check(f"rest.floor.{name}", status, value, FLOOR_DEG, "degrees", landmarks.describe(seat.point), source, words)]
