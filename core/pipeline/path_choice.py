"""The search for a path of placement, as a window shows it: a map to click in, the best path, and the choices with their reasons."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..case import Case
from ..output.path_map import clickable
from ..output.path_words import choice_words, path_name, warnings
from ..planning.path_search import PathSearch, Scored, search
from ..planning.path_search_grid import CONE_DEG
from ..planning.path_search_plan import plan_path
from ..planning.path_search_score import SCALES, values
from .build import Clock, Progress, crowns

DIGITS = {"mm": 2, "mm2": 1, "deg": 1}
SPACING_DEG = 1.6  # coarser than in the report: a hand clicks no finer, and the best path is refined whatever it is
_LEFT_OUT = ("tilt",)  # said in words beside the map anyway


def path_choice(case: Case, clock: Clock, tell: Progress) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """What a window needs of a search: words and paths; picture (s, s, 4), plane (k, 2) and values (k, t) as `survey.TiltMap` has them."""
    tell("find crowns", 0.1)
    cast, teeth, _ = crowns(case, clock)
    tell("what it is judged on", 0.3)
    plan = plan_path(cast.mesh, teeth, case.components, case.chart.not_replaced)
    tell("search", 0.4)
    found = search(plan, case.path.weights, spacing_deg=SPACING_DEG)
    by_name = {name: value for name, value in values(found.terms).items() if name not in _LEFT_OUT and np.ptp(value) > 1e-9}
    info: dict[str, Any] = {
        "cone_deg": CONE_DEG,
        "words": ["score", *(SCALES[n].words for n in by_name)],
        "units": ["", *(SCALES[n].unit for n in by_name)],
        "digits": [2, *(DIGITS.get(SCALES[n].unit, 0) for n in by_name)],
        "paths": [_path(found, found.best, "best"), *(_path(found, c, str(k)) for k, c in enumerate(found.choices, 1))],
        "warnings": [*plan.remarks, *warnings(found)],
        "seconds": found.seconds,
    }
    table = np.column_stack([found.total, *by_name.values()])
    return info, {"picture": clickable(found), "plane": found.terms.plane, "values": table}


def _path(found: PathSearch, scored: Scored, name: str) -> dict[str, Any]:
    """One path to choose: its tilts rounded as the window holds them, its words, and what it is better and worse in than the best."""
    better, worse = choice_words(found, scored) if name != "best" else ("", "")
    tilts = {k: round(getattr(scored.path, k), 1) for k in ("anteroposterior_deg", "lateral_deg")}
    return {"name": name, **tilts, "words": path_name(scored, found.plan.arch), "better": better, "worse": worse, "score": scored.total}
