"""`claspwright teeth`: a scan in, its crowns, margins and landmarks out."""

from __future__ import annotations

import argparse
from typing import Any

import numpy as np

from ... import __version__
from ..cast import Cast, load_cast, write_mesh
from ..charts import ArchChart, Pad, crest_of, pads
from ..errors import CaseError
from ..mesh import Floats
from ..survey import Path
from ..teeth import Teeth, Tooth, find_teeth, numbering, propose_seeds
from ..teeth.landmarks import landmarks_of, occlusal_plane
from .console import Console
from .folder import result_folder, write_json


def run(options: argparse.Namespace, console: Console) -> int:
    """Write teeth.json, teeth.png and teeth.ply."""
    missing = tooth_numbers(options.missing)
    with console.step("read and mend"):
        cast = load_cast(options.cast, arch=options.arch, keep_frame=options.keep_frame)
    if cast.arch is None:
        raise CaseError("it is not clear which arch this is; say so with --arch upper or --arch lower")
    folder = result_folder(options.output)
    with console.step("propose seeds"):
        seeds = propose_seeds(cast.mesh, cast.arch, missing)
    with console.step("find crowns"):
        teeth = find_teeth(cast.mesh, cast.arch, seeds, missing)
    with console.step("landmarks"):
        landmarks = {fdi: landmarks_of(teeth, fdi, cast.mesh) for fdi in teeth.teeth}
    with console.step("arch"):
        chart = ArchChart(cast.mesh, teeth, Path())
        regions = pads(chart)
    with console.step("write teeth.ply"):
        write_mesh(folder / "teeth.ply", cast.mesh, vertex_data={"tooth": np.asarray(teeth.labels, dtype=np.int16)})
    with console.step("draw teeth.png"):
        from ..output import write_png
        from ..output.teeth_picture import teeth_picture

        picture = teeth_picture(
            cast.mesh, teeth, landmarks, title=f"Teeth, proposed ({cast.arch})", universal=options.numbers == "universal",
            regions=[(region.name, region.faces) for region in regions],
        )  # fmt: skip
        write_png(picture, folder / "teeth.png")
    result = {**describe(cast, teeth, seeds, landmarks), "ridge": _ridge(chart, regions)}
    write_json(folder / "teeth.json", result)
    console.finish({"folder": str(folder), **result}, _words(result, str(folder)))
    return 0


def tooth_numbers(text: str | None) -> tuple[int, ...]:
    """FDI numbers from --missing. Raises CaseError for anything else."""
    try:
        return tuple(numbering.check(int(word)) for word in (text or "").replace(",", " ").split())
    except ValueError:
        raise CaseError(f"--missing: {text!r} is no list of tooth numbers; write for example 36,37") from None


def _point(p: Floats) -> list[float]:
    return [round(float(v), 4) + 0.0 for v in p]


def crown_length(tooth: Tooth) -> float:
    """mm along the crown's axis from its highest tip to the facial margin's lowest place: the clinical crown, as the scan shows it."""
    offset = tooth.margin - tooth.centre
    facial = offset @ tooth.facial > 0.64 * np.linalg.norm(offset[:, :2], axis=1)
    low = (tooth.margin[facial] if facial.any() else tooth.margin) @ tooth.axis
    return round(float((tooth.cusps @ tooth.axis).max() - low.min()), 2)


def _tooth(tooth: Tooth, seeds: Floats, marks: dict[str, Floats]) -> dict[str, Any]:
    unsure = ~tooth.supported & (tooth.shared == 0)
    return {
        "fdi": tooth.fdi, "universal": numbering.universal(tooth.fdi), "name": numbering.name(tooth.fdi),
        "crown_length_mm": crown_length(tooth),
        "seeds": [_point(p) for p in np.atleast_2d(seeds)], "centre": _point(tooth.centre), "axis": _point(tooth.axis),
        "mesial": _point(tooth.mesial), "facial": _point(tooth.facial), "margin": [_point(p) for p in tooth.margin],
        "shared_with": sorted({int(n) for n in tooth.shared if n}), "unsupported_share": round(float(unsure.mean()), 3),
        "unsupported": np.flatnonzero(unsure).tolist(), "flags": list(tooth.flags),
        "landmarks": {k: [_point(p) for p in np.atleast_2d(v)] for k, v in marks.items()},
    }  # fmt: skip


def describe(cast: Cast, teeth: Teeth, seeds: dict[int, Floats], landmarks: dict[int, dict[str, Floats]]) -> dict[str, Any]:
    """What teeth.json holds: mm, cast frame."""
    point, normal = occlusal_plane(teeth)
    return {
        "version": __version__,
        "cast": {"file": cast.source_name, "sha256": cast.sha256, "arch": cast.arch, "to_cast": cast.to_cast.tolist()},
        "proposed": True,
        "missing": list(teeth.missing),
        "occlusal_plane": {"point": _point(point), "normal": _point(normal)},
        "teeth": [_tooth(t, seeds[t.fdi], landmarks[t.fdi]) for t in teeth.ordered],
    }  # fmt: skip


def _ridge(chart: ArchChart, regions: tuple[Pad, ...]) -> dict[str, Any]:
    """Gaps with the crest of their ridge, and the regions behind the last teeth: mm, cast frame."""
    return {
        "gaps": [
            {"before": g.before, "after": g.after, "length_mm": round(g.length, 2), "crest": [_point(p) for p in crest_of(chart, g)]}
            for g in chart.gaps
        ],
        "regions": [
            {"name": r.name, "side": "+X" if r.side > 0 else "-X", "length_mm": round(abs(r.end - r.start), 2),
             "crest": [_point(p) for p in r.crest]}
            for r in regions
        ],
    }  # fmt: skip


def _words(result: dict[str, Any], folder: str) -> list[str]:
    lines = [f"{result['cast']['file']}: {len(result['teeth'])} crowns proposed; accept, move or remove each one"]
    lines += [f"  {t['fdi']} ({t['universal']}) {t['name']}: " + "; ".join(t["flags"]) for t in result["teeth"] if t["flags"]]
    return [*lines, f"written to {folder}: teeth.ply, teeth.png, teeth.json"]
