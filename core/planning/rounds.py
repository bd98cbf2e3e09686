"""Path and design together: each is revised for the other until neither changes, and the best few pairs are laid side by side.

A design says where tips and guide plates will be; the search finds the path that suits them; along that path the undercuts lie elsewhere,
so the clasps are weighed again. Nothing is decided here: the pairs are offered, the clinician picks.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..case import Case, Component
from ..charts import CrownChart
from ..mesh import Floats, Mesh
from ..survey import Path, RayScene, Survey, survey
from ..teeth import Teeth
from .abutment import Abutment, Measured, tip_gauge_mm
from .draft import Draft, draft
from .ground import palate_shown
from .known import Known
from .path_search import PathSearch, Scored, score_path, search
from .path_search_plan import Grounds, PathPlan, plan_path

MOST_ROUNDS = 6
STILL_DEG = 0.25
"""A path that moves less than this is the same path: less than a surveyor's table is set by hand (own limit)."""
_OTHERS = 2
_APART_DEG = 1.0  # of two pairs that carry the same design

Step = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class View:
    """A cast measured along one path. charts, abutments : by tooth (FDI)"""

    path: Path
    survey: Survey
    charts: Mapping[int, CrownChart]
    abutments: Mapping[int, Abutment]


@dataclass(frozen=True)
class Round:
    """One turn: the path that the design was drafted along, how far the search then moved it, and what the draft changed, in words."""

    path: Path
    moved_deg: float
    changed: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Pair:
    """A design with the path that it was drafted along. name : in words; scored : the terms of that path for that design"""

    name: str
    view: View
    draft: Draft
    scored: Scored

    @property
    def path(self) -> Path:
        """The path of placement."""
        return self.view.path


@dataclass(frozen=True, eq=False)
class Settled:
    """chosen : where path and design agree; others : worth a look; rounds : how it came to that; settled : whether they did agree

    found : the search round the chosen path; palate : the scan shows one for a connector to cross
    """

    chosen: Pair
    others: tuple[Pair, ...]
    rounds: tuple[Round, ...]
    settled: bool
    found: PathSearch
    palate: bool


@dataclass(frozen=True, eq=False)
class _Bench:
    """What does not change from round to round."""

    case: Case
    mesh: Mesh
    teeth: Teeth
    scene: RayScene
    positions: Mapping[int, Floats]
    known: Known

    def view(self, path: Path) -> View:
        seen = survey(self.mesh, path, np.asarray(self.teeth.labels, dtype=np.int64), scene=self.scene)
        charts = {fdi: CrownChart(self.mesh, tooth, seen) for fdi, tooth in self.teeth.teeth.items()}
        gauge = tip_gauge_mm(self.case.manufacture.alloy)
        return View(path, seen, charts, Measured(charts, gauge))

    @cached_property
    def grounds(self) -> Grounds:
        """What every path is judged on, read once."""
        return Grounds.of(self.mesh, self.teeth, self.scene)

    def draft(self, view: View) -> Draft:
        own = replace(
            self.case.path, anteroposterior_deg=view.path.anteroposterior_deg, lateral_deg=view.path.lateral_deg, tripod=()
        )
        return draft(replace(self.case, path=own), view.abutments, self.positions, self.known)

    def search(self, made: Draft, picked: Path | None = None) -> PathSearch:
        return search(self._judged(made), self.case.path.weights, picked)

    def pair(self, name: str, path: Path) -> Pair:
        view = self.view(path)
        made = self.draft(view)
        return Pair(name, view, made, score_path(self._judged(made), path, self.case.path.weights))

    def _judged(self, made: Draft) -> PathPlan:
        return plan_path(self.mesh, self.teeth, made.case.components, self.case.chart.not_replaced, self.grounds)


def settle(case: Case, mesh: Mesh, teeth: Teeth, step: Step = lambda _: None) -> Settled:
    """Draft a design and search its path in turn until neither changes, at most MOST_ROUNDS times; then weigh the pairs near it.

    mesh : the closed cast, mm; step is called with words before each turn (it may raise Cancelled)
    Raises CaseError where the chart asks for no partial denture, GeometryError where no tooth is marked.
    """
    scene = RayScene(mesh)
    known = Known(palate=palate_shown(mesh, teeth, scene))
    bench = _Bench(case, mesh, teeth, scene, {fdi: tooth.centre for fdi, tooth in teeth.teeth.items()}, known)
    rounds: list[Round] = []
    tried: list[tuple[View, Draft, PathSearch]] = []
    path, settled = Path(case.path.anteroposterior_deg, case.path.lateral_deg), False
    while len(rounds) < MOST_ROUNDS:
        step(f"design and path, turn {len(rounds) + 1}")
        view = bench.view(path)
        made = bench.draft(view)
        before = tried[-1][1].case.components if tried else ()
        found = bench.search(made, path)
        tried.append((view, made, found))
        moved = between_deg(path, found.best.path)
        rounds.append(Round(path, moved, changes(before, made.case.components)))
        if moved <= STILL_DEG:
            settled = True
            break
        path = _tenth(found.best.path)
        if any(between_deg(path, v.path) < 1e-6 for v, *_ in tried):  # it goes round in a circle
            break
    # Where it goes round, the turn whose path suits its own design best.
    view, made, found = tried[-1] if settled else min(tried, key=lambda t: _picked(t[2]).total)
    chosen = Pair("path and design agree" if settled else "the best of the turns", view, made, _picked(found))
    return Settled(chosen, _others(bench, chosen, found, step), tuple(rounds), settled, found, known.palate)


def _picked(found: PathSearch) -> Scored:
    assert found.picked is not None
    return found.picked


def _others(bench: _Bench, chosen: Pair, found: PathSearch, step: Step) -> tuple[Pair, ...]:
    """Pairs near the chosen one, each with the design that its own path asks for; no tilt is always among them."""
    kept: list[Pair] = []
    for choice in (None, *found.choices[:_OTHERS]):
        path = Path() if choice is None else _tenth(choice.path)
        name = "no tilt" if choice is None else _better(found, choice, [p.name for p in kept])
        if any(between_deg(path, p.path) < _APART_DEG for p in (chosen, *kept)):
            continue
        step(f"another pair: {name}")
        kept.append(bench.pair(name, path))
    return tuple(kept)


def _better(found: PathSearch, other: Scored, taken: Collection[str]) -> str:
    """What a choice spares most against the best path, in words that are not taken yet."""
    gain = {name: found.best.shares[name] - value for name, value in other.shares.items()}
    words = {
        "guide_planes": "less enamel", "guide_inequality": "more even guide planes", "retention": "more undercut at the tips",
        "balance": "better balanced undercuts", "interference": "less stand-off of rigid parts", "looks": "smaller open triangles",
        "block_out": "less block-out", "tilt": "less tilt",
    }  # fmt: skip
    free = [name for name in gain if words[name] not in taken]
    return words[max(free, key=lambda name: gain[name])]


def between_deg(a: Path, b: Path) -> float:
    """Angle between two paths, degrees."""
    return float(np.degrees(np.arccos(np.clip(a.vector @ b.vector, -1.0, 1.0))))


def _tenth(path: Path) -> Path:
    """The path in tenths of a degree, as it is told to the laboratory."""
    return Path(round(path.anteroposterior_deg, 1) + 0.0, round(path.lateral_deg, 1) + 0.0)


def changes(before: tuple[Component, ...], after: tuple[Component, ...]) -> tuple[str, ...]:
    """What one draft has that the one before had not, and the reverse, in words; nothing for the first."""
    if not before:
        return ()
    old, new = {c.id: c for c in before}, {c.id: c for c in after}
    gone = [f"{name} left out" for name in old if name not in new]
    come = [f"{name} added" for name in new if name not in old]
    other = [f"{name} changed" for name, c in new.items() if name in old and old[name] != c]
    return tuple(gone + come + other)
