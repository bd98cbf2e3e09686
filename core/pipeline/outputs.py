"""The files of a build, written atomically: meshes, survey, pictures, report, preview and build.json."""

from __future__ import annotations

import datetime
import hashlib
import json
import platform
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from ..case import case_to_json, open_questions
from ..files import all_at_once, write_atomic
from ..mechanics import mass
from ..mechanics.record import record
from ..mesh import Floats, Ints
from ..output import (
    ArchPlan,
    MechanicsSheet,
    Part,
    Picture,
    PreparationRow,
    ReportData,
    carried,
    component_rows,
    depth_colours,
    framework_pictures,
    png_bytes,
    preview_html,
    report_html,
    survey_picture,
)
from ..output.fit_maps import fit_map_pictures, fit_maps
from ..output.insertion_picture import InsertionSheet
from ..output.pdf import report_pdf
from ..output.stress_picture import stress_picture
from ..parallel import side_by_side
from .build import Build, Clock, Progress
from .exports import USUAL, write_meshes
from .insertion import insertion_sheet
from .pieces import pieces

ABREAST = 2  # pictures at a time: each has memory of its own, and uses threads of its own where most of its work is
VIEWS = ("occlusal", "facial", "lingual", "oblique")
MANIFEST = "manifest.json"
MAP_WORDS = {
    "thickness": "Thickness of the metal: the largest ball that fits inside it at each place",
    "fit": "Fitting side: where the metal touches the prepared cast and where it keeps its planned space",
}
OUTPUT_STAGES = ("write meshes", "pictures", "report")
PACKAGES = ("numpy", "scipy", "manifold3d", "embreex", "fast_simplification", "trimesh", "pillow")


def versions() -> dict[str, str]:
    """Release of this program, of Python and of the libraries the result depends on."""
    from ... import __version__

    found = {"claspwright": __version__, "python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "unknown"
    return found


def write_outputs(
    build: Build, folder: FilePath, *, progress: Progress | None = None, exports: tuple[str, ...] = USUAL, pages: bool = True
) -> dict[str, float]:
    """Write all files of a build into `folder`, which must be there, at once. Returns the seconds each group took.

    exports : names out of exports.EXPORTS; pages : also pictures, report and preview. The last file is manifest.json, with size and
    SHA-256 of every other. Raises WriteError; the files of the build before are then as they were.
    """
    clock = Clock(progress, None)
    with all_at_once(folder, MANIFEST) as aside:
        with clock.stage("write meshes"):
            written = list(write_meshes(build, aside, exports))
        written += _write_pages(build, aside, clock, turning=True) if pages else []
        build.stages.update(clock.times)
        _write_summary(build, aside / "build.json")
        write_manifest(aside, [*written, "build.json"])
    return clock.times


def write_manifest(folder: FilePath, names: Sequence[str]) -> None:
    """manifest.json: name, bytes and SHA-256 of each file as it lies on the disk now."""
    files = []
    for name in names:
        data = (folder / name).read_bytes()
        files.append({"file": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()})
    text = json.dumps({"format": "claspwright-manifest", "versions": versions(), "files": files}, indent=1)
    write_atomic(folder / MANIFEST, text.encode())


def write_findings(build: Build, folder: FilePath, *, progress: Progress | None = None) -> None:
    """Report, pictures and check.json of a framework that was made elsewhere; no mesh is written."""
    clock = Clock(progress, None)
    with all_at_once(folder, "check.json") as aside:
        _write_pages(build, aside, clock)
        build.stages.update(clock.times)
        _write_summary(build, aside / "check.json")


def _write_pages(build: Build, folder: FilePath, clock: Clock, *, turning: bool = False) -> list[str]:
    """Pictures and report, and with `turning` the view in three dimensions. Returns the names of the files."""
    with clock.stage("pictures"):
        drawn = _drawn(build, turning=turning)
        for name, picture in drawn.pictures.items():
            write_atomic(folder / f"{name}.png", picture.data)
        write_atomic(folder / "insertion.webp", drawn.insertion.moving)
        if turning:
            write_atomic(folder / "preview.html", drawn.preview.encode())
    with clock.stage("report"):
        page = report_html(report_data(build, drawn))
        write_atomic(folder / "report.html", page.encode())
        write_atomic(folder / "report.pdf", report_pdf(page))
    pages = ["preview.html"] if turning else []
    return [*(f"{name}.png" for name in drawn.pictures), "insertion.webp", *pages, "report.html", "report.pdf"]


def _write_summary(build: Build, file: FilePath) -> None:
    document = json.dumps(summary(build), indent=1, ensure_ascii=False, allow_nan=False)
    write_atomic(file, document.encode())


@dataclass(frozen=True, eq=False)
class Drawn:
    """All that is drawn of a build. arms : PNG bytes by clasp; preview : the page's text, empty where none was asked for"""

    pictures: dict[str, Picture]
    insertion: InsertionSheet
    arms: dict[str, bytes]
    pieces: tuple[tuple[str, ...], Ints]
    preview: str


def _drawn(build: Build, *, turning: bool) -> Drawn:
    """Pictures that know nothing of one another are drawn side by side, the longest first."""
    parts = pieces(build)
    jobs: list[Callable[[], Any]] = [
        lambda: _framework_pictures(build),
        lambda: _survey_picture(build),
        lambda: insertion_sheet(build),
        lambda: _preview(build, parts) if turning else "",
        lambda: _stress_pictures(build),
        lambda: _fit_maps(build),
    ]
    framework, survey, insertion, preview, arms, maps = side_by_side(lambda job: job(), jobs, most=ABREAST)
    return Drawn({"survey": survey, **framework, **maps}, insertion, arms, parts, preview)


def _survey_picture(build: Build) -> Picture:
    labels = np.asarray(build.teeth.labels, dtype=np.int64)
    sheet = survey_picture(build.cast.mesh, build.survey, labels, arch=build.case.cast.arch, tripod=build.case.path.tripod)
    return Picture("Survey: height of contour, undercut depth and gauge lines at the path of placement", png_bytes(sheet), wide=True)


def _framework_pictures(build: Build) -> dict[str, Picture]:
    labels = carried(np.asarray(build.teeth.labels, dtype=np.int64), build.cast.mesh, build.prepared.mesh)
    gone = tuple(build.teeth.taken_out.values())
    views = framework_pictures(build.prepared.mesh, build.framework, VIEWS, arch=build.case.cast.arch, labels=labels, taken_out=gone)
    return {f"framework_{view}": Picture(f"Framework on the prepared cast, {view}", png_bytes(image)) for view, image in views.items()}


def _fit_maps(build: Build) -> dict[str, Picture]:
    numbers = {fdi: tooth.centre for fdi, tooth in build.teeth.teeth.items()}
    drawn = fit_map_pictures(build.framework, fit_maps(build.checked), arch=build.case.cast.arch, teeth=numbers)
    return {f"map_{name}": Picture(MAP_WORDS[name], png_bytes(image)) for name, image in drawn.items()}


def _stress_pictures(build: Build) -> dict[str, bytes]:
    """PNG bytes by clasp: its arm with its stress as colour."""
    cast, path = build.prepared.mesh, build.survey.path.vector
    return {c.id: png_bytes(stress_picture(build.framework, cast, c, path)) for c in build.mechanics.clasps}


def report_data(build: Build, drawn: Drawn) -> ReportData:
    """What the report says of a build."""
    case = build.case
    missing = ", ".join(map(str, case.chart.missing)) or "none"
    chart = [("Missing teeth (FDI)", missing)]
    if case.chart.to_extract:
        chart.append(("To be taken out (FDI)", ", ".join(map(str, case.chart.to_extract))))
    if case.chart.sulcus_mm is not None:
        chart.append(("Lingual sulcus", f"{case.chart.sulcus_mm:g} mm"))
    grams = mass(build.framework.volume, build.mechanics.material)
    return ReportData(
        title=case.title,
        patient_code=case.patient_code,
        arch=case.cast.arch,
        to_ask=[str(question) for question in open_questions(case)],
        date=datetime.datetime.now().astimezone().isoformat(timespec="minutes"),
        chart=chart,
        anteroposterior_deg=case.path.anteroposterior_deg,
        lateral_deg=case.path.lateral_deg,
        tripod=case.path.tripod,
        plan=arch_plan(build, drawn.pieces),
        components=component_rows(case.components),
        preparations=[PreparationRow(str(c.tooth), c.what, c.deepest_mm, c.volume_mm3, c.warning) for c in build.cuts],
        checks=build.checks,
        mechanics=MechanicsSheet(build.mechanics, case.cast.arch, {fdi: t.margin for fdi, t in build.teeth.teeth.items()}, drawn.arms),
        materials=_materials(build),
        mass_g=(grams.low, grams.high),
        mass_basis="volume of the mesh and the alloy's density",
        pictures=[drawn.pictures[name] for name in (*(f"framework_{v}" for v in VIEWS), *(f"map_{m}" for m in MAP_WORDS), "survey")],
        insertion=drawn.insertion,
        cast_changes=build.cast.changes,
        cast_questions=(*build.cast.questions, *build.remarks),
        notes=case.notes,
        stages=list(build.stages.items()),
        versions=versions(),
        hashes={"scan": build.cast.sha256, "framework (mesh)": build.framework.digest, "case": case_digest(build)},
    )


def _materials(build: Build) -> list[tuple[str, str]]:
    """Alloy, process and its settings, cost where the case knows the price."""
    made = build.case.manufacture
    rows = [("Alloy", made.alloy), ("Process", made.process), ("Scale of the file", f"{made.scale:.3f}")]
    if made.finishing_mm > 0:
        rows.append(("Allowance for finishing", f"{made.finishing_mm:g} mm on polished faces, none on the fitting side"))
    if made.alloy_price is not None:
        grams = mass(build.framework.volume, build.mechanics.material)
        cost = f"{grams.low * made.alloy_price:.2f} to {grams.high * made.alloy_price:.2f}"
        rows.append(("Cost of the metal in it", f"{cost} at {made.alloy_price:g} a gram; sprues, supports and losses come on top"))
    return rows


def arch_plan(build: Build, parts: tuple[tuple[str, ...], Ints]) -> ArchPlan:
    """The arch drawing's data: crowns, height of contour, metal by kind of part, tips, tripod, teeth that the bases carry."""
    names, group = parts
    axes = build.survey.path.rotation[:2]
    tips = [(np.reshape(t.points, (-1, 3)).mean(axis=0), f"{t.planned_mm:.2f}") for b in build.assembly.built.values() for t in b.tips]
    return ArchPlan(
        build.case.cast.arch,
        axes,
        {fdi: tooth.margin for fdi, tooth in build.teeth.teeth.items()},
        [(line.points, line.closed) for line in build.survey.contours if line.label],
        build.framework,
        names,
        group,
        tips,
        [np.array(mark) for mark in build.case.path.tripod],
        [(fdi, at) for fdi, at in _carried_teeth(build) if fdi not in build.teeth.taken_out],
        {fdi: tooth.margin for fdi, tooth in build.teeth.taken_out.items()},
    )


def _carried_teeth(build: Build) -> Iterator[tuple[int, Floats]]:
    """Each tooth that a base carries, at its place along the base, from the abutment backwards."""
    for component in build.case.components:
        built, teeth = build.assembly.built.get(component.id), sorted(getattr(component, "teeth", ()), key=lambda f: f % 10)
        if built is None or not teeth or "facial" not in built.rails or "lingual" not in built.rails:
            continue
        rails = [built.rails[side].points for side in ("facial", "lingual")]  # both run from the abutment backwards
        for k, fdi in enumerate(teeth):
            yield fdi, np.mean([r[int((k + 0.5) / len(teeth) * len(r))] for r in rails], axis=0)


def case_digest(build: Build) -> str:
    """SHA-256 of the case document in its canonical form."""
    return hashlib.sha256(json.dumps(case_to_json(build.case), sort_keys=True, ensure_ascii=False).encode()).hexdigest()


def _preview(build: Build, pieces_of_it: tuple[tuple[str, ...], Ints]) -> str:
    found = build.survey
    names, group = pieces_of_it
    parts = [
        Part("cast", build.prepared.mesh, "stone", depth_colours(carried(found.undercut, build.cast.mesh, build.prepared.mesh))),
        Part("framework", build.framework, "metal", groups=names, group_of=group),
    ]
    return preview_html(
        parts,
        mark=build.framework.digest[:16],
        title=build.case.title or "Framework on its cast",
        patient_code=build.case.patient_code,
        arch=build.case.cast.arch,
        path=found.path.vector,
    )


def peak_memory_gb() -> float | None:
    """Most memory that this process has held so far, GB; None on Windows, which does not tell without a library of its own."""
    try:
        import resource
    except ImportError:
        return None
    unit = 1.0 if sys.platform == "darwin" else 1024.0  # bytes there, KiB elsewhere (getrusage manual pages)
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e9, 2)


def summary(build: Build) -> dict[str, Any]:
    """build.json: stage times, versions, hashes, path, components with their facts, checks."""
    path = build.survey.path
    return {
        "format": "claspwright-build",
        "versions": versions(),
        "scan": {  # by its digest alone: names of scans often hold a patient's
            "sha256": build.cast.sha256,
            "unit": build.cast.unit,
            "triangles": len(build.cast.mesh.faces),
            "changes": list(build.cast.changes),
        },
        "case_sha256": case_digest(build),
        "path": {
            "anteroposterior_deg": path.anteroposterior_deg,
            "lateral_deg": path.lateral_deg,
            "vector": [round(float(v), 9) for v in path.vector],
        },
        "peak_memory_gb": peak_memory_gb(),
        "framework": {
            "triangles": len(build.framework.faces),
            "volume_mm3": round(build.framework.volume, 3),
            "sha256": build.framework.digest,
        },
        "master_cast": {
            "undercut_volume_mm3": round(build.master.undercut_volume_mm3, 3),
            "wax_volume_mm3": round(build.master.wax_volume_mm3, 3),
        },
        "components": {
            name: {k: round(float(v), 4) if not isinstance(v, str) else v for k, v in b.facts.items()}
            for name, b in build.assembly.built.items()
        },
        "refused": dict(build.refused),
        "preparation": [
            {
                "tooth": c.tooth,
                "what": c.what,
                "deepest_mm": round(c.deepest_mm, 3),
                "volume_mm3": round(c.volume_mm3, 3),
                "warning": c.warning,
            }
            for c in build.cuts
        ],
        "mechanics": record(build.mechanics),
        "checks": [c.as_dict() for c in build.checks],
        "stages_s": build.stages,
        "total_s": round(sum(build.stages.values()), 3),
        "written": time.strftime("%Y-%m-%dT%H:%M:%S%z"),
    }
