"""The insertion of a build, for the report: bending of each tip over the lift, and the moving picture."""

from __future__ import annotations

import numpy as np

from ..checks import tip_travel
from ..output.drawing import png_bytes
from ..output.insertion_picture import InsertionSheet, TipTravel, insertion_frames, moving_picture, strip_of
from .build import Build

CLEAR_MM = 9.0  # higher than the crowns of most casts stand over their height of contour
STEPS = 19


def insertion_sheet(build: Build) -> InsertionSheet:
    """The framework followed from seated to clear against the prepared cast."""
    data = build.checked
    assert data.prepared is not None
    lifts = np.linspace(0.0, CLEAR_MM, 91)
    tips = [
        TipTravel(tip.id, tip.tooth, tip.planned_mm, tip_travel(data.framework, data.prepared_scene, data.path, tip, lifts))
        for tip in data.tips
    ]
    total = np.sum([t.bent for t in tips], axis=0) if tips else np.zeros(len(lifts))
    most = int(np.argmax(total))
    # Early lifts are shown closely: there the tips pass the height of contour.
    shown = np.unique(np.r_[np.linspace(0.0, 1.0, STEPS) ** 1.6 * CLEAR_MM, lifts[most]])
    captions = []
    for lift in shown:
        bent = [f"{t.tooth} {value:.2f}" for t in tips if (value := float(np.interp(lift, lifts, t.bent))) > 0.01]
        captions.append(f"lifted {lift:.1f} mm" + ("; bent, mm: " + ", ".join(bent) if bent else ""))
    frames = insertion_frames(data.prepared, build.framework, data.path, shown, captions)
    at = int(np.argmin(np.abs(shown - lifts[most])))
    chosen = sorted({0, at if at > 0 else len(shown) // 3, len(shown) - 1})
    rigid = next((c.words for c in build.checks if c.id == "insertion.rigid"), "")
    return InsertionSheet(
        lifts, tips, moving_picture(frames), png_bytes(strip_of(frames, chosen)),
        "Seated, with the tips most bent, and clear of the teeth", f"Rigid parts: {rigid}." if rigid else "",
    )  # fmt: skip
