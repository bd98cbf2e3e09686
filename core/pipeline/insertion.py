"""The insertion of a build, for the report: bending of each tip on its way off, and the moving picture."""

from __future__ import annotations

import numpy as np

from ..checks import CheckInput, tip_travel
from ..checks.insertion import Move
from ..checks.two_stage import opening, reach_mm
from ..mesh import Floats
from ..output.drawing import png_bytes
from ..output.insertion_picture import InsertionSheet, TipTravel, insertion_frames, moving_picture, strip_of
from .build import Build

CLEAR_MM = 9.0  # higher than the crowns of most casts stand over their height of contour
STEP_MM = 0.1  # from one place at which the tips are looked at to the next
STEPS = 19
TURNED = 12  # pictures of the turn
EYE = np.eye(3)


def insertion_sheet(build: Build) -> InsertionSheet:
    """The framework followed from seated to clear against the prepared cast, by turning first where the case asks for it."""
    data = build.checked
    assert data.prepared is not None
    way = _way(data)
    moves = [move(data, float(w)) for w in way]
    tips = [
        TipTravel(tip.id, tip.tooth, tip.planned_mm, tip_travel(data.framework, data.prepared_scene, data.path, tip, moves))
        for tip in data.tips
    ]
    total = np.sum([t.bent for t in tips], axis=0) if tips else np.zeros(len(way))
    most = int(np.argmax(total))
    turned = turn_mm(data)
    # The beginning is shown closely: there the tips pass the height of contour.
    off = turned + np.linspace(0.0, 1.0, STEPS) ** 1.6 * CLEAR_MM
    shown = np.unique(np.r_[np.linspace(0.0, turned, TURNED) if turned else 0.0, off, way[most]])
    captions = [_caption(data, float(w), {t.tooth: float(np.interp(w, way, t.bent)) for t in tips}) for w in shown]
    frames = insertion_frames(data.prepared, build.framework, [move(data, float(w)) for w in shown], captions)
    at = int(np.argmin(np.abs(shown - way[most])))
    chosen = sorted({0, at if at > 0 else len(shown) // 3, len(shown) - 1})
    wanted = "insertion.rigid" if data.two_stage is None else "insertion.rotation"
    rigid = next((c.words for c in build.checks if c.id == wanted), "")
    return InsertionSheet(
        way, tips, moving_picture(frames), png_bytes(strip_of(frames, chosen)),
        "Seated, with the tips most bent, and clear of the teeth", f"Rigid parts: {rigid}." if rigid else "",
        "lift" if data.two_stage is None else "way of the farthest point",
    )  # fmt: skip


def turn_mm(data: CheckInput) -> float:
    """The arc that the point farthest from the axis describes while the framework is turned open; 0 for a straight path."""
    stages = data.two_stage
    return 0.0 if stages is None else float(np.radians(stages.degrees)) * reach_mm(stages, data.framework.vertices)


def move(data: CheckInput, way: float) -> Move:
    """The framework's turn and shift after so many mm of its way off the seat: turned open first where two stages are asked for."""
    turned, stages = turn_mm(data), data.two_stage
    if stages is None:
        return EYE, way * data.path
    turn, fixed = opening(stages, data.framework, data.path, stages.degrees * min(way / turned, 1.0))
    return turn, fixed - turn @ fixed + max(way - turned, 0.0) * data.path


def _way(data: CheckInput) -> Floats:
    """(m,) mm of way at which the tips are looked at."""
    whole = turn_mm(data) + CLEAR_MM
    return np.linspace(0.0, whole, int(round(whole / STEP_MM)) + 1)


def _caption(data: CheckInput, way: float, bent: dict[int, float]) -> str:
    turned, stages = turn_mm(data), data.two_stage
    words = f"lifted {max(way - turned, 0.0):.1f} mm"
    if stages is not None:
        words = f"turned open {stages.degrees * min(way / turned, 1.0):.1f} degrees" + (f", {words}" if way > turned else "")
    told = [f"{tooth} {value:.2f}" for tooth, value in bent.items() if value > 0.01]
    return words + ("; bent, mm: " + ", ".join(told) if told else "")
