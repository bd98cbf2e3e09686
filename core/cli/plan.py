"""`claspwright plan`: a charted scan in, a drafted design with its reasons out."""

from __future__ import annotations

import argparse
import importlib
from dataclasses import replace
from pathlib import Path as File
from typing import TYPE_CHECKING, Any

from ... import __version__
from ..case import load_case, open_questions, save_case
from ..errors import CaseError
from ..files import write_atomic
from ..survey import Path
from .console import Console
from .folder import result_folder, write_json

if TYPE_CHECKING:
    from ..output.plan_page import PlanPage
    from ..pipeline.plan import Offer, Plan


def run(options: argparse.Namespace, console: Console) -> int:
    """Write case.json with the drafted components, its scan, plan.json and plan.html; 1 when something must be settled."""
    pipeline = importlib.import_module("..pipeline.plan", __package__)
    output = importlib.import_module("..output.plan_page", __package__)
    case = load_case(options.case)
    folder = result_folder(options.output)
    if not options.critique and folder.resolve() == File(case.folder).resolve():
        raise CaseError(f"{folder}: the case itself lies there and would be overwritten; give another folder with -o DIR")
    made = pipeline.plan(case, keep=options.critique, keep_path=options.keep_path, progress=console.stage)
    console.stage("write the plan")
    write_atomic(folder / "plan.html", output.plan_html(_page(made)).encode("utf-8"))
    result = describe(made)
    write_json(folder / "plan.json", result)
    files = ["plan.html", "plan.json"]
    if not options.critique:
        write_atomic(folder / case.cast.file, case.scan.read_bytes())
        save_case(replace(made.draft.case, folder=str(folder)), folder / "case.json")
        files += ["case.json", case.cast.file]
    console.finish({"folder": str(folder), **result}, [*_words(made), f"written to {folder}: {', '.join(files)}"])
    return 1 if any(f.severity == "error" and not f.overruled for f in made.findings) else 0


def _page(made: Plan) -> PlanPage:
    page = importlib.import_module("..output.plan_page", __package__)
    tables = importlib.import_module("..output.plan_tables", __package__)
    pictures = importlib.import_module("..output.preparation_picture", __package__)
    rounds = importlib.import_module("..planning.rounds", __package__)
    own = made.draft.case.components
    offers = [
        tables.OfferRow(
            o.name, o.path, o.pair.scored if o.pair else None, o.cost, o.findings,
            rounds.changes(own, o.pair.draft.case.components) if o.pair else (),
        )
        for o in made.offers
    ]  # fmt: skip
    drawn = pictures.preparation_pictures(
        made.cast.mesh, made.prepared.mesh, made.teeth, made.tasks, made.path.vector,
        [c.points for c in made.survey.contours if c.label],
    )  # fmt: skip
    result: PlanPage = page.PlanPage(
        made.draft, made.design, made.findings, made.outlines, made.positions, made.path, made.rounds, offers, made.tasks, drawn,
        made.remarks, made.foretold, __version__, {fdi: tooth.margin[:, :2] for fdi, tooth in made.teeth.taken_out.items()},
    )  # fmt: skip
    return result


def describe(made: Plan) -> dict[str, Any]:
    """What plan.json holds."""
    return {
        "version": __version__,
        "class": made.design.classification.name,
        "path": _path(made.path),
        "rounds": [{"path": _path(r.path), "moved_deg": round(r.moved_deg, 3), "changed": list(r.changed)} for r in made.rounds],
        "pairs": [_offer(o) for o in made.offers],
        "preparation": [
            {
                "step": t.step, "tooth": t.tooth, "where": t.where, "what": t.words, "deepest_mm": round(t.deepest_mm, 3),
                "enamel_mm": t.enamel_mm, "warning": t.warning,
            }
            for t in made.tasks
        ],
        "remarks": list(made.remarks),
        "foretold": list(made.foretold),
        "fulcrum_lines": [{"teeth": [f.first, f.second], "why": f.why} for f in made.design.fulcrums],
        "parts": [{"id": r.part, "why": r.words} for r in made.draft.reasons],
        "open": list(made.draft.open),
        "to_ask": [{"field": q.field, "words": q.words, "teeth": list(q.teeth)} for q in open_questions(made.design.case)],
        "clasps": {
            str(tooth): [
                {
                    "kind": o.kind, "origin": o.origin, "face": o.face, "points": round(o.points, 1), "for": list(o.speaks_for),
                    "against": list(o.speaks_against), "vetoes": list(o.vetoes),
                }
                for o in options
            ]
            for tooth, options in made.draft.options.items()
        },
        "findings": [
            {
                "rule": f.rule, "severity": f.severity, "parts": list(f.parts), "words": f.words, "detail": f.detail, "source": f.source,
                "overruled": f.overruled,
            }
            for f in made.findings
        ],
        "times": made.stages,
    }  # fmt: skip


def _path(path: Path) -> dict[str, float]:
    return {"anteroposterior_deg": round(path.anteroposterior_deg, 3), "lateral_deg": round(path.lateral_deg, 3)}


def _offer(offer: Offer) -> dict[str, Any]:
    score = importlib.import_module("..planning.path_search_score", __package__)
    cost = {} if offer.cost is None else vars(offer.cost)
    ranges = {name: [round(v, 2) for v in (r.low, r.likely, r.high)] for name, r in cost.items()}
    terms = {} if offer.pair is None else {name: round(float(v[0]), 4) for name, v in score.values(offer.pair.scored.terms).items()}
    return {
        "name": offer.name, "path": _path(offer.path), "terms": terms, "estimated": ranges,
        "findings": [f.rule for f in offer.findings if f.severity != "advice"],
    }  # fmt: skip


def _words(made: Plan) -> list[str]:
    result = describe(made)
    lines = [str(result["class"]), f"  path: {made.path.anteroposterior_deg:g} anteroposterior, {made.path.lateral_deg:g} lateral, degrees"]
    lines += [f"  {p['id']}: {p['why']}" for p in result["parts"]]
    lines += [f"  not settled: {w}" for w in result["open"]]
    lines += [f"  ask the dentist: {q}" for q in open_questions(made.design.case)]
    lines += [f"  a build will find: {w}" for w in result["foretold"]]
    lines += [
        f"  {f['severity']}: {f['words']} ({f['detail']})" + (f"; overruled: {f['overruled']}" if f["overruled"] else "")
        for f in result["findings"]
    ]
    lines += [f"  prepare {t['tooth']}: {t['what']}, {t['deepest_mm']:.2f} mm" for t in result["preparation"]]
    return lines
