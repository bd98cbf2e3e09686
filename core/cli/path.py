"""`claspwright path`: the whole cone of paths of placement scored, the best found, a picked one scored alike."""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path as File
from typing import Any

import numpy as np

from ... import __version__
from ..case import PathWeights, load_case
from ..case.components import Component
from ..case.fields import parse
from ..cast import Cast, load_cast
from ..errors import CaseError
from ..files import write_atomic
from ..planning.path_search import PathSearch, Scored, search
from ..planning.path_search_plan import plan_path
from ..planning.path_search_score import NAMES, SCALES, values
from ..survey import Path
from ..teeth import Teeth, find_teeth, propose_seeds, teeth_from_labels
from .console import Console
from .folder import result_folder, write_json
from .survey import labelled_arch, read_labels
from .teeth import tooth_numbers


@dataclass(frozen=True, eq=False)
class _Task:
    """What is searched: a case's cast with its plan, or a bare scan."""

    cast: Cast
    teeth: Teeth
    components: Sequence[Component]
    not_replaced: tuple[int, ...]
    weights: PathWeights
    picked: Path | None
    remarks: tuple[str, ...] = ()


def run(options: argparse.Namespace, console: Console) -> int:
    """Write path.json, path_map.png and path.txt."""
    chosen = _weights(options.weights)
    task = _from_case(options, console) if options.cast.lower().endswith(".json") else _from_scan(options, console)
    weights = parse(PathWeights, asdict(task.weights) | chosen, "--weights")
    folder = result_folder(options.output)
    with console.step("what it is judged on"):
        plan = plan_path(task.cast.mesh, task.teeth, task.components, task.not_replaced)
    with console.step("search"):
        found = search(plan, weights, task.picked)
    with console.step("draw path_map.png"):
        from ..output.drawing import write_png
        from ..output.path_map import path_map
        from ..output.path_words import path_words, warnings

        write_png(path_map(found), folder / "path_map.png")
    words = [*path_words(found), *(f"Note: {r}." for r in task.remarks)]
    write_atomic(folder / "path.txt", ("\n".join(words) + "\n").encode("utf-8"))
    result = {**describe(task.cast, found), "remarks": [*plan.remarks, *task.remarks], "warnings": warnings(found)}
    write_json(folder / "path.json", result)
    short = {k: v for k, v in result.items() if k != "map"}
    console.finish({"folder": str(folder), **short}, [*words, f"written to {folder}: path.json, path_map.png, path.txt"])
    return 0


def _picked(options: argparse.Namespace, case_path: Path | None = None) -> Path | None:
    return Path(*options.tilt) if options.tilt is not None else case_path


def _from_case(options: argparse.Namespace, console: Console) -> _Task:
    pipeline = importlib.import_module("..pipeline.build", __package__)
    for name in ("labels", "missing", "arch", "keep_frame"):
        if getattr(options, name):
            raise CaseError(f"--{name.replace('_', '-')} is for a bare scan; a case file says that itself")
    case = load_case(options.cast)
    with console.step("read and mend"):
        cast = pipeline.read_cast(case)
    with console.step("find crowns"):
        teeth = pipeline.mark_teeth(case, cast)
    own = Path(case.path.anteroposterior_deg, case.path.lateral_deg)
    picked = _picked(options, own if own.tilt_deg > 0.05 else None)
    return _Task(cast, teeth, case.components, case.chart.not_replaced, case.path.weights, picked)


def _from_scan(options: argparse.Namespace, console: Console) -> _Task:
    missing = tooth_numbers(options.missing)
    with console.step("read and mend"):
        cast = load_cast(options.cast, arch=options.arch or labelled_arch(options), keep_frame=options.keep_frame)
    if cast.arch is None:
        raise CaseError("it is not clear which arch this is; say so with --arch upper or --arch lower")
    with console.step("find crowns"):
        if options.labels:
            teeth = teeth_from_labels(cast.mesh, cast.arch, read_labels(options, cast), missing)
            remarks: tuple[str, ...] = ()
        else:
            teeth = find_teeth(cast.mesh, cast.arch, propose_seeds(cast.mesh, cast.arch, missing), missing)
            numbers = ", ".join(str(t.fdi) for t in teeth.ordered)
            remarks = (f"teeth and numbers were proposed by the program ({numbers}); check them, or give --labels or a case file",)
    if not teeth.teeth:
        raise CaseError(f"{File(options.cast).name}: no tooth is marked; give --labels with FDI numbers, or a case file")
    return _Task(cast, teeth, (), (), PathWeights(), _picked(options), remarks + cast.questions)


def _weights(text: str | None) -> dict[str, float]:
    """From "guide_planes=2,tilt=0". Raises CaseError that names what is wrong."""
    found = {}
    for item in filter(None, (text or "").replace(" ", "").split(",")):
        name, _, number = item.partition("=")
        try:
            found[name] = float(number)
        except ValueError:
            raise CaseError(f"--weights: {item!r} is no weight; write for example guide_planes=2,tilt=0 ({', '.join(NAMES)})") from None
    return found


def describe(cast: Cast, found: PathSearch) -> dict[str, Any]:
    """What path.json holds: degrees, mm, mm2, mm3."""
    plan, terms = found.plan, found.terms
    by_name = values(terms)
    return {
        "version": __version__,
        "cast": {"file": cast.source_name, "sha256": cast.sha256, "arch": plan.arch, "to_cast": cast.to_cast.tolist()},
        "judged_on": {
            "guide_surfaces": [{"tooth": s.fdi, "side": s.side, "height_mm": _round(s.height_mm)} for s in plan.surfaces],
            "tips": [{"name": t.name, "tooth": t.fdi, "gauge_mm": t.gauge_mm} for t in plan.tips],
            "rigid_parts": [p.name for p in plan.parts],
        },
        "weights": asdict(found.weights),
        "scales": {name: {"words": s.words, "unit": s.unit, "scores_one": s.one, "source": s.source} for name, s in SCALES.items()},
        "no_tilt": _scored(found, found.zero),
        "best": _scored(found, found.best),
        "picked": None if found.picked is None else _scored(found, found.picked),
        "choices": [_scored(found, c) for c in found.choices],
        "along": [
            {"tilt_deg": _round(found.along.tilt[k]), **{n: _round(v[k]) for n, v in values(found.along).items() if n != "tilt"}}
            for k in range(len(found.along))
        ],
        "map": {
            "seconds": round(found.seconds, 3),
            "tilt_plane": "lateral, anteroposterior: angle to the occlusal normal along the side that is lowered, degrees",
            "places_deg": np.round(terms.plane, 4).tolist(),
            "score": np.round(found.total, 4).tolist(),
            "not_beaten_in_everything": found.front.tolist(),
            **{name: np.round(value, 4).tolist() for name, value in by_name.items()},
        },
    }


def _scored(found: PathSearch, path: Scored) -> dict[str, Any]:
    plan, t = found.plan, path.terms
    vector = [round(float(v), 9) + 0.0 for v in path.path.vector]
    return {
        "anteroposterior_deg": _round(path.path.anteroposterior_deg), "lateral_deg": _round(path.path.lateral_deg), "vector": vector,
        "score": _round(path.total), "adds_to_score": {name: _round(v) for name, v in path.shares.items()},
        "terms": {name: _round(v[0]) for name, v in values(t).items()},
        "enamel_mm": {s.name: _round(t.enamel[0, k]) for k, s in enumerate(plan.surfaces)},
        "undercut_mm": {tip.name: _round(t.undercut[0, k]) for k, tip in enumerate(plan.tips)},
        "undercut_held_against_occlusal_pull_mm": {tip.name: _round(t.held[0, k]) for k, tip in enumerate(plan.tips)},
        "stand_off_mm": {part.name: _round(t.stand_off[0, k]) for k, part in enumerate(plan.parts)},
    }  # fmt: skip


def _round(number: float) -> float:
    return round(float(number), 4) + 0.0
