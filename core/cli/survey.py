"""`claspwright survey`: a scan in, its undercuts for one path out."""

from __future__ import annotations

import argparse
from pathlib import Path as File
from typing import Any

import numpy as np

from ... import __version__
from ..cast import Cast, load_cast, read_mesh, vertex_labels, write_mesh
from ..errors import CastError
from ..gauges import GAUGES_INCH, INCH_MM, gauge_name
from ..mesh import Ints
from ..survey import Path, Survey, local_undercut, survey
from .console import Console
from .folder import result_folder, write_json


def run(options: argparse.Namespace, console: Console) -> int:
    """Write survey.ply, survey.png and survey.json."""
    with console.step("read and mend"):
        cast = load_cast(options.cast, arch=options.arch or labelled_arch(options), keep_frame=options.keep_frame, add_base=options.base)
        labels = read_labels(options, cast)
    folder = result_folder(options.output)
    with console.step("survey"):
        found = survey(cast.mesh, Path(*options.tilt), labels)
    with console.step("write survey.ply"):
        values = {"undercut": found.undercut, "convergence": found.convergence, "visible": found.visible, "tooth": labels.astype(np.int16)}
        if labels.any():
            values["undercut_alone"] = local_undercut(cast.mesh, found.path, labels)
        write_mesh(folder / "survey.ply", cast.mesh, vertex_data=values)
    with console.step("draw survey.png"):
        _draw(folder / "survey.png", cast, found, labels)
    result = describe(cast, found, labels)
    write_json(folder / "survey.json", result)
    console.finish({"folder": str(folder), **result}, _words(result, folder))
    return 0


def read_labels(options: argparse.Namespace, cast: Cast) -> Ints:
    """(n,) FDI number a vertex of the cast, from the file that --labels names; zeros without one."""
    if not options.labels:
        return np.zeros(len(cast.mesh.vertices), np.int64)
    return vertex_labels(read_mesh(options.cast)[0], _given(options.labels), cast).astype(np.int64)


def labelled_arch(options: argparse.Namespace) -> str | None:
    """The arch that the FDI numbers of --labels tell (ISO 3950: the first digit is the quadrant), None without or when they disagree."""
    if not options.labels:
        return None
    quadrants = {int(fdi) // 10 for fdi in np.unique(_given(options.labels)) if fdi > 0}
    arches = {"upper" if quadrant in (1, 2, 5, 6) else "lower" for quadrant in quadrants}
    return arches.pop() if len(arches) == 1 else None


def _given(labels: str) -> Ints:
    try:
        return np.asarray(np.load(labels, allow_pickle=False)).astype(np.int64)
    except (OSError, ValueError, EOFError, TypeError):
        raise CastError(f"{File(labels).name}: no .npy file of FDI numbers; give one number a triangle or a point") from None


def _draw(file: File, cast: Cast, found: Survey, labels: Ints) -> None:
    from ..output import survey_picture, write_png

    known = labels if labels.any() else None
    write_png(survey_picture(cast.mesh, found, known, arch=cast.arch), file)


def describe(cast: Cast, found: Survey, labels: Ints) -> dict[str, Any]:
    """What survey.json holds: plain numbers, areas in mm2, depths in mm."""
    mesh = cast.mesh
    depth = found.undercut[mesh.faces].mean(axis=1)
    lengths = [c.length for c in found.contours]
    gauges = []
    for mm in (inch * INCH_MM for inch in GAUGES_INCH):
        gauges.append({"gauge": gauge_name(mm), "depth_mm": round(mm, 4), "area_mm2": _round(mesh.face_areas[depth >= mm].sum())})
    hidden = mesh.face_areas[~found.visible[mesh.faces].any(axis=1)].sum()
    teeth = {str(fdi): _round(found.undercut[labels == fdi].max()) for fdi in np.unique(labels[labels > 0]).tolist()}
    return {
        "version": __version__,
        "cast": {
            "file": cast.source_name, "sha256": cast.sha256, "unit": cast.unit, "arch": cast.arch, "closed": cast.closed,
            "vertices": len(mesh.vertices), "triangles": len(mesh.faces), "to_cast": cast.to_cast.tolist(),
            "changes": list(cast.changes), "questions": list(cast.questions),
        },
        "path": {
            "anteroposterior_deg": found.path.anteroposterior_deg, "lateral_deg": found.path.lateral_deg,
            "vector": [round(float(v), 9) + 0.0 for v in found.path.vector],
        },
        "undercut": {
            "deepest_mm": _round(found.undercut.max()), "hidden_area_mm2": _round(hidden),
            "gauges": gauges, "deepest_by_tooth_mm": teeth,
        },
        "contour": {"lines": len(lengths), "length_mm": _round(sum(lengths))},
    }  # fmt: skip


def _round(number: float) -> float:
    return round(float(number), 4)


def _words(result: dict[str, Any], folder: File) -> list[str]:
    cast, undercut = result["cast"], result["undercut"]
    lines = [f"{cast['file']}: {cast['arch']}, {cast['triangles']:,} triangles, {'closed' if cast['closed'] else 'open'}"]
    lines += [f"  changed: {words}" for words in cast["changes"]]
    lines += [f"  please check: {words}" for words in cast["questions"]]
    teeth = undercut["deepest_by_tooth_mm"]
    if teeth:
        deepest = max(teeth, key=lambda fdi: teeth[fdi])
        lines.append(f"deepest undercut of a tooth {teeth[deepest]:.2f} mm, on {deepest}; with tissue and base:")
    else:
        lines.append("teeth are not marked (--labels): tissue and the underside of a base count too")
    areas = ", ".join(f"{g['area_mm2']:.0f} mm2 at {g['gauge']} or more" for g in undercut["gauges"])
    lines.append(f"deepest undercut {undercut['deepest_mm']:.2f} mm; {areas}")
    return [*lines, f"written to {folder}: survey.ply, survey.png, survey.json"]
