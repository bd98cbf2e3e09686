"""From a case to a checked framework: every stage is a function of the one before it and of one part of the case."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TypeVar

import manifold3d
import numpy as np

from ..blockout import MasterCast, block_out, master_cast
from ..case import Case
from ..case.bases import BasePart
from ..case.clasps import ClaspPart
from ..case.connectors import ConnectorPart
from ..case.keys import key_of
from ..cast import Cast, load_cast
from ..charts import ArchChart, CrownChart
from ..checks import Check, CheckInput, as_stored, gather, overrule, run_checks
from ..components import Assembly, Site, build_components, open_solids, relief_solid, score_solids
from ..crossings import ROUNDING_MM, self_crossings
from ..errors import Cancelled, CaseError, GeometryError
from ..mechanics import CaseMechanics, analyse
from ..memory import give_back
from ..mesh import Mesh, pieces_of
from ..planning.critique import OVERRULE
from ..preparation import Cut, Prepared
from ..solids.fields import Blend
from ..solids.fins import without_fins
from ..survey import Path, Survey, survey
from ..teeth import Teeth, find_teeth
from .bite import read_opposing
from .fitting import scored, whole_scan
from .kept import Kept, stamp_of
from .mechanics import case_input, framework_material
from .preparing import prepare_mouth

QUICK_SPACING_MM = 0.42
_NO_CUT = ClaspPart | ConnectorPart | BasePart  # nothing is cut into the teeth for these
CRUMB_MM3 = 2.0  # the smallest part of a framework is larger; what the cut leaves in deep corners of the cast is not metal
# Slivers along the seam are merged within the first of these after which no face crosses another; where one does is chance.
SEAM_MM = (1e-4, 2e-4, 5e-4, 1e-3)
STAGES = (
    "read cast", "teeth", "survey", "charts", "preparation", "block-out", "components", "master cast", "mechanics", "join", "cut", "checks",
)  # fmt: skip

Progress = Callable[[str, float], None]
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Build:
    """Everything that a case gives. checked: what the checks looked at; stages: seconds by name."""

    case: Case
    cast: Cast
    teeth: Teeth
    survey: Survey
    prepared: Prepared
    master: MasterCast
    assembly: Assembly
    mechanics: CaseMechanics
    framework: Mesh
    checked: CheckInput
    checks: tuple[Check, ...]
    stages: dict[str, float]
    remarks: tuple[str, ...] = ()

    @property
    def refused(self) -> dict[str, str]:
        """Component id: the reason why it is not in the framework."""
        return self.assembly.refused

    @property
    def cuts(self) -> tuple[Cut, ...]:
        """Mouth preparation."""
        return self.prepared.cuts


class Clock:
    """Times the stages, tells of them, and stops when asked to."""

    def __init__(self, progress: Progress | None, cancelled: Callable[[], bool] | None, kept: Kept | None = None) -> None:
        self.times: dict[str, float] = {}
        self.kept = Kept() if kept is None else kept
        self._progress, self._cancelled = progress, cancelled

    def once(self, name: str, key: str, make: Callable[[], T]) -> T:
        """One stage whose value is kept: made only where none is kept for this key."""
        with self.stage(name):
            return self.kept.get(name, key, make)

    def look(self) -> None:
        """Raises Cancelled when the user stopped the build."""
        if self._cancelled is not None and self._cancelled():
            raise Cancelled("the build was stopped; nothing was changed")

    def say(self, words: str) -> None:
        """Tell what is being done within a stage, and stop when asked to."""
        self.look()
        if self._progress is not None:
            self._progress(words, 1.0)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """One stage of the build."""
        self.look()
        if self._progress is not None:
            self._progress(name, STAGES.index(name) / len(STAGES) if name in STAGES else 1.0)
        begin = time.perf_counter()
        yield
        give_back()
        self.times[name] = round(time.perf_counter() - begin, 3)


def build(
    case: Case, *, quick: bool = False, progress: Progress | None = None, cancelled: Callable[[], bool] | None = None,
    kept: Kept | None = None,
) -> Build:  # fmt: skip
    """Build the framework of a case, from its scan to the checks.

    quick : a coarser polished side for a first look; the fitting side is as exact as ever
    progress : called with the stage's name and the share done; cancelled : asked between steps
    kept : of the build before, so that only what depends on the change is made again; the result is the same with and without
    Raises the named errors of core.errors; a component that cannot be built is refused with its reason and the rest goes on.
    """
    clock = Clock(progress, cancelled, kept)
    found = groundwork(case, clock, quick=quick)
    with clock.stage("join"):
        spacing = QUICK_SPACING_MM if quick else case.manufacture.resolution_mm
        metal = Blend(found.assembly.shapes, case.manufacture.fillet_mm).mesh(spacing)
    with clock.stage("cut"):
        framework, loose = cut_to_fit(metal, found.master.mesh, found.survey.path)
        del metal  # a few hundred megabytes that the checks need more
    with clock.stage("checks"):
        verdict = judge(found, framework)
    return found.with_framework(verdict, clock.times, loose)


@dataclass(frozen=True, eq=False)
class Groundwork:
    """What a case gives without its framework: what a framework is made from, and what any framework of the case is held against."""

    case: Case
    cast: Cast
    teeth: Teeth
    survey: Survey
    prepared: Prepared
    master: MasterCast
    assembly: Assembly
    mechanics: CaseMechanics
    remarks: tuple[str, ...]

    def with_framework(self, verdict: Verdict, times: dict[str, float], remarks: tuple[str, ...]) -> Build:
        """The build of this case with the framework that was judged: one made here, or one that was changed elsewhere."""
        return Build(
            self.case, self.cast, self.teeth, self.survey, self.prepared, self.master, self.assembly, self.mechanics,
            verdict.checked.framework, verdict.checked, verdict.checks, times, (*self.remarks, *remarks, *verdict.remarks),
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Verdict:
    """checked : what the checks looked at, with all that they worked out on the way; remarks : on overrules"""

    checked: CheckInput
    checks: tuple[Check, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Surveyed:
    """A case's cast with its teeth, surveyed along the case's path. charts : crown charts by tooth (FDI); key : of what it is made from"""

    cast: Cast
    teeth: Teeth
    survey: Survey
    charts: dict[int, CrownChart]
    key: str

    @property
    def path(self) -> Path:
        """The path of placement."""
        return self.survey.path


def cast_of(case: Case, clock: Clock) -> tuple[Cast, str]:
    """The scan of a case, read once, and the key of what it is. Raises CastError and GeometryError."""
    key = key_of(case.cast, case.folder, stamp_of(case.scan))
    return clock.once("read cast", key, lambda: read_cast(case)), key


def crowns(case: Case, clock: Clock) -> tuple[Cast, Teeth, str]:
    """The cast, its crowns, and the key of both. Raises CastError and CaseError."""
    cast, cast_key = cast_of(case, clock)
    key = key_of(cast_key, [(t.fdi, t.seeds, t.to_extract) for t in case.chart.teeth], case.chart.missing, case.chart.not_here)
    return cast, clock.once("teeth", key, lambda: mark_teeth(case, cast)), key


def surveyed(case: Case, clock: Clock) -> Surveyed:
    """The stages that need no prescription. Raises CastError and CaseError."""
    cast, teeth, teeth_key = crowns(case, clock)
    path = Path(case.path.anteroposterior_deg, case.path.lateral_deg)
    path_key = key_of(teeth_key, path)
    labels = np.asarray(teeth.labels, dtype=np.int64)
    found = clock.once("survey", path_key, lambda: survey(cast.mesh, path, labels))
    charts = clock.once("charts", path_key, lambda: {fdi: CrownChart(cast.mesh, t, found) for fdi, t in teeth.teeth.items()})
    return Surveyed(cast, teeth, found, charts, path_key)


@dataclass(frozen=True, eq=False)
class Footing:
    """What components are built on. prepared : with its cuts; remarks : of the preparation; site : cast, block-out and charts"""

    prepared: Prepared
    remarks: tuple[str, ...]
    site: Site


def footing_of(case: Case, seen: Surveyed, clock: Clock, *, quick: bool) -> Footing:
    """The prepared and blocked-out cast of a surveyed case, with its charts."""
    cast, teeth, path = seen.cast, seen.teeth, seen.path
    cut_parts = [c for c in case.components if not isinstance(c, _NO_CUT)]
    prepared_key = key_of(seen.key, cut_parts)
    prepared, remarks = clock.once("preparation", prepared_key, lambda: prepare_mouth(case, cast.mesh, teeth, path))
    taper, step_mm = case.manufacture.block_out_taper_deg, 0.25 if quick else 0.1
    blocked_key = key_of(prepared_key, taper, step_mm)
    blocked = clock.once("block-out", blocked_key, lambda: block_out(prepared.mesh, path, taper_deg=taper, step_mm=step_mm))

    def place() -> Site:
        return Site(cast.mesh, prepared.mesh, blocked, teeth, seen.charts, ArchChart(cast.mesh, teeth, path), path)

    return Footing(prepared, remarks, clock.kept.get("site", blocked_key, place))


def groundwork(case: Case, clock: Clock, *, quick: bool = False) -> Groundwork:
    """All stages up to the master cast."""
    seen = surveyed(case, clock)
    cast, teeth, path = seen.cast, seen.teeth, seen.path
    footing = footing_of(case, seen, clock, quick=quick)
    prepared, remarks, blocked, site = footing.prepared, footing.remarks, footing.site.blocked, footing.site
    with clock.stage("components"):
        assembly = build_components(case, site, lambda _: clock.look())
        if not assembly.shapes:
            raise CaseError("case.components: nothing could be built" + "".join(f"; {r}" for r in list(assembly.refused.values())[:3]))
    with clock.stage("master cast"):
        reliefs = [relief_solid(r, site) for b in assembly.built.values() for r in b.reliefs]
        step_mm = 0.25 if quick else 0.1
        body, waxed = whole_scan(cast, prepared, blocked, path, taper_deg=case.manufacture.block_out_taper_deg, step_mm=step_mm)
        scores = score_solids(assembly)
        fitted = scored(body, scores)
        if body is prepared.mesh:
            prepared = replace(prepared, mesh=fitted)
        else:
            prepared = replace(prepared, mesh=scored(prepared.mesh, scores), whole=fitted)
        master = master_cast(fitted, path, blocked=scored(waxed, scores), reliefs=reliefs, open_zones=open_solids(assembly))
    with clock.stage("mechanics"):
        material, unknown = framework_material(case)
        mechanics = analyse(case_input(case, assembly, site, material))
    return Groundwork(case, cast, teeth, seen.survey, prepared, master, assembly, mechanics, (*remarks, *unknown, *mechanics.remarks))


def evidence(found: Groundwork | Build, framework: Mesh) -> CheckInput:
    """What the checks look at: a framework against the groundwork of its case."""
    return gather(
        found.case, found.assembly, framework, found.survey.path.vector, found.teeth, prepared=found.prepared.whole or found.prepared.mesh,
        master=found.master.mesh, material=found.mechanics.material, opposing=read_opposing(found.case, found.cast.to_cast),
        mechanics=found.mechanics,
    )  # fmt: skip


def judge(found: Groundwork, framework: Mesh) -> Verdict:
    """All checks of a framework against the groundwork of its case, with the case's overrules."""
    checked = evidence(found, framework)
    reasons = {o.check: o.reason + (f" ({o.by})" if o.by else "") for o in found.case.overrules if not o.check.startswith(OVERRULE)}
    checks, remarks = overrule((*run_checks(checked), *_own_checks(found.assembly)), reasons)
    return Verdict(checked, checks, remarks)


def read_cast(case: Case) -> Cast:
    """The scan of a case, closed with a trimmed base where it is open."""
    entry = case.cast
    to_cast = None if entry.to_cast is None else np.array(entry.to_cast, dtype=np.float64)
    cast = load_cast(case.scan, arch=entry.arch, to_cast=to_cast, add_base=True, expected_sha256=entry.sha256 or None)
    if not cast.closed:
        raise GeometryError(f"{entry.file}: the scan could not be closed with a base; trim its border or scan it again")
    return cast


def mark_teeth(case: Case, cast: Cast) -> Teeth:
    """The crowns at the clicks of the chart, without those to be taken out. Raises CaseError when none is charted."""
    seeds = {t.fdi: np.array(t.seeds, dtype=np.float64) for t in case.chart.teeth if t.seeds}
    if not seeds:
        raise CaseError("case.chart.teeth: no tooth is marked on the cast; click each tooth that stands")
    not_here = np.array(case.chart.not_here, dtype=np.float64) if case.chart.not_here else None
    found = find_teeth(cast.mesh, case.cast.arch, seeds, case.chart.missing, not_here=not_here)
    return found.without(case.chart.to_extract)


def cut_to_fit(metal: Mesh, master: Mesh, path: Path) -> tuple[Mesh, tuple[str, ...]]:
    """The framework: metal less the master cast, so that the fitting side is the master cast itself; fins in its crevices are cut off.

    Its seam is merged as little as leaves no face crossing another. If nothing does, the mesh with the fewest is given, for the checks to
    tell.
    """
    best: tuple[int, Mesh, tuple[str, ...]] | None = None
    for solid, words in _cuts(metal, master, path):
        for within in SEAM_MM:
            mesh = as_stored(Mesh.from_manifold(solid.simplify(within)))
            crossings = int((self_crossings(mesh)[1] > ROUNDING_MM).sum())
            if best is None or crossings < best[0]:
                best = crossings, mesh, words
            if crossings == 0:
                return mesh, words
    assert best is not None
    return best[1], best[2]


def _cuts(metal: Mesh, master: Mesh, path: Path) -> Iterator[tuple[manifold3d.Manifold, tuple[str, ...]]]:
    """The cut metal with remarks, in the order of preference: without fins, without those that cutting fins off left, and with all."""
    whole, words = _without_crumbs(metal.to_manifold() - master.to_manifold())
    solid, said = whole, words
    for _ in range(2):
        bare = without_fins(as_stored(Mesh.from_manifold(solid.simplify(SEAM_MM[0]))), path.rotation)
        if bare is None:
            break
        solid, more = _without_crumbs(bare)
        said = (*said, *more)
        yield solid, said
    yield whole, words


def _without_crumbs(solid: manifold3d.Manifold) -> tuple[manifold3d.Manifold, tuple[str, ...]]:
    """What is left of a cut without what is too small to be metal, and words on that."""
    parts = sorted(pieces_of(solid), key=lambda p: -p.volume())
    if not parts or parts[0].volume() <= 0:
        raise GeometryError("nothing of the framework lies outside the cast; check the components' positions")
    kept = [p for p in parts if p.volume() > CRUMB_MM3]
    dropped = [p for p in parts if CRUMB_MM3 >= p.volume() > 0.05]
    words = (
        (f"{len(dropped)} crumbs of metal below {CRUMB_MM3:g} mm3 were dropped ({sum(p.volume() for p in dropped):.2f} mm3)",)
        if dropped
        else ()
    )
    return kept[0] if len(kept) == 1 else manifold3d.Manifold.compose(kept), words


def _own_checks(assembly: Assembly) -> Sequence[Check]:
    """What the components themselves have to say."""
    refused = [
        Check(f"component.{name}", "fail", None, None, "", name, "component rules (handbook sections 2 to 6)", why)
        for name, why in assembly.refused.items()
    ]
    warned = [
        Check(f"component.{name}", "warn", None, None, "", name, "component rules (handbook sections 2 to 6)", words)
        for name, b in assembly.built.items()
        for words in b.warnings
    ]
    return [*refused, *warned]
