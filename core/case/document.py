"""The case document: everything needed to build a framework again, and nothing that can be derived."""

from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from ..errors import CaseError
from ..files import write_atomic
from .components import Component, parse_component, unparse_component
from .fields import option, parse, unparse
from .weights import PathWeights

FORMAT = "claspwright-case"
VERSION = 1
_MAX_BYTES = 20_000_000
LEAST_AXIS_MM = 5.0  # own limit: the ends of an axis lie on two teeth

RESTORATIONS = ("enamel", "amalgam", "composite", "ceramic", "metal", "metal-ceramic", "resin")
SOFT_TISSUE = ("torus", "frenum", "flabby ridge", "sharp ridge", "bony undercut", "sore or inflamed tissue", "other")

Point = tuple[float, float, float]
Row = tuple[float, float, float, float]


@dataclass(frozen=True)
class CastEntry:
    """Which scan: file name beside the case file, its SHA-256, and how it lies in the cast frame (4 rows; None: find out)."""

    file: str
    sha256: str
    arch: str = option(choices=("upper", "lower"))
    to_cast: tuple[Row, Row, Row, Row] | None = None


@dataclass(frozen=True)
class ToothEntry:
    """A tooth that stands: its FDI number, clicked points on its crown (cast frame, mm), what only the clinician knows.

    to_extract : it stands in the scan, but is to be taken out
    mobility : degree 0 to 3, None where nobody has looked
    crown_length_mm : clinical crown, edge to margin, where it was measured in the mouth (None: from the scan)
    restoration : in words; restoration_material : what a rest or an arm would lie on
    """

    fdi: int = option(low=11, high=48)
    seeds: tuple[Point, ...] = ()
    to_extract: bool = option(False)
    mobility: int | None = option(None, low=0, high=3)
    root_support: str = option("", choices=("", "good", "fair", "poor"))
    crown_length_mm: float | None = option(None, low=0, high=20)
    restoration: str = ""
    restoration_material: str = option("", choices=("", *RESTORATIONS))
    notes: str = ""

    @property
    def weak(self) -> bool:
        """Mobile by degree 2 or more, or poorly supported. What is not charted is no reason against a tooth."""
        return (self.mobility or 0) >= 2 or self.root_support == "poor"

    @property
    def support_words(self) -> str:
        """Mobility and root support as charted."""
        return f"mobility {'not charted' if self.mobility is None else self.mobility}, root support {self.root_support or 'not charted'}"


@dataclass(frozen=True)
class SulcusEntry:
    """Depth of the sulcus beside a tooth or its empty place, measured in the mouth from the gingival margin or crest, mm."""

    fdi: int = option(low=11, high=48)
    depth_mm: float = option(low=0, high=25)
    side: str = option("lingual", choices=("facial", "lingual"))


@dataclass(frozen=True)
class SoftTissueEntry:
    """What the clinician found in the tissue: the kind, the teeth or empty places beside it, and words."""

    kind: str = option(choices=SOFT_TISSUE)
    near: tuple[int, ...] = ()
    notes: str = ""


@dataclass(frozen=True)
class Chart:
    """The mouth. missing: FDI numbers; not_replaced: those of them that no base carries; not_here: clicks on no crown (mm).

    sulcus_mm : least depth of the lingual sulcus; sulcus : depths place by place; aesthetic : teeth and places that show
    nothing_found : lists among these that are empty because there is nothing, not because nobody has looked
    """

    teeth: tuple[ToothEntry, ...] = ()
    missing: tuple[int, ...] = ()
    not_replaced: tuple[int, ...] = ()
    sulcus_mm: float | None = option(None, low=0, high=25)
    not_here: tuple[Point, ...] = ()
    aesthetic: tuple[int, ...] = ()
    sulcus: tuple[SulcusEntry, ...] = ()
    soft_tissue: tuple[SoftTissueEntry, ...] = ()
    nothing_found: tuple[str, ...] = option((), choices=("aesthetic", "soft_tissue"))
    notes: str = ""

    @property
    def to_extract(self) -> tuple[int, ...]:
        """FDI numbers of standing teeth that are to be taken out."""
        return tuple(t.fdi for t in self.teeth if t.to_extract)

    @property
    def standing(self) -> tuple[int, ...]:
        """FDI numbers that stand when the denture is worn: after planned extractions."""
        return tuple(t.fdi for t in self.teeth if not t.to_extract)

    @property
    def lost(self) -> tuple[int, ...]:
        """FDI numbers that do not stand when the denture is worn: missing, or to be taken out."""
        return (*self.missing, *self.to_extract)


@dataclass(frozen=True)
class RotationEntry:
    """A seat in two stages: lowered along the path onto an axis, opened by some degrees, then turned about it.

    axis : its two points on the cast, cast frame, mm (as a rule the rests beside the rigid retainers)
    """

    axis: tuple[Point, Point]
    degrees: float = option(10.0, low=1, high=45)


@dataclass(frozen=True)
class PathEntry:
    """Tilts in degrees from the occlusal normal, tripod marks on the cast if there are any, and what counts in a search for a path.

    rotation : for a framework that is turned into its seat; then the two stages are proved instead of the straight path
    """

    anteroposterior_deg: float = option(0.0, low=-30, high=30)
    lateral_deg: float = option(0.0, low=-30, high=30)
    tripod: tuple[Point, ...] = ()
    weights: PathWeights = PathWeights()
    rotation: RotationEntry | None = None


@dataclass(frozen=True)
class Manufacture:
    """How it is made. resolution_mm is the lattice of the polished side; the fitting side is exact whatever it is.

    scale : of the exported framework; 1 unless who makes it asks for another (investments and printers compensate by themselves)
    finishing_mm : allowance for finishing on polished faces only; alloy_price : of one gram, in any currency
    build_angle_deg : between the clasp arms and the platform of the printer, where it is known; cycles to failure hang on it
    """

    process: str = option("printed metal", choices=("printed metal", "printed pattern", "milled"))
    alloy: str = "cobalt-chromium, laser-melted"
    resolution_mm: float = option(0.3, low=0.1, high=0.6)
    fillet_mm: float = option(0.5, low=0, high=1.5)
    block_out_taper_deg: float = option(0.0, low=0, high=6)
    scale: float = option(1.0, low=0.95, high=1.05)
    finishing_mm: float = option(0.0, low=0, high=0.2)
    alloy_price: float | None = option(None, low=0, high=1000)
    build_angle_deg: float | None = option(None, low=0, high=90)


Three = tuple[float, float, float]


@dataclass(frozen=True)
class MaterialEntry:
    """A material from a maker's data sheet; each figure as (lowest, likely, highest). `manufacture.alloy` calls it by its name or label."""

    name: str
    source: str
    modulus_gpa: Three = option(low=0.1, high=1000)
    proof_mpa: Three = option(low=1, high=5000)
    elongation_pct: Three = option(low=0, high=300)
    density_g_cm3: Three = option(low=0.5, high=25)
    label: str = ""
    poisson: float = option(0.3, low=0.05, high=0.49)
    metal: bool = option(True)


@dataclass(frozen=True)
class Opposing:
    """Scan of the opposing arch as it bites on this cast: file beside the case file, in the frame of the cast's own file."""

    file: str
    sha256: str = ""


@dataclass(frozen=True)
class Overrule:
    """A failed or doubtful check that a person accepts. check : its id in the report; reason : why; by : who answers for it."""

    check: str
    reason: str
    by: str = ""


@dataclass(frozen=True)
class Case:
    """A whole case. `folder` is where it was loaded from; it is not stored."""

    cast: CastEntry
    chart: Chart = Chart()
    path: PathEntry = PathEntry()
    components: tuple[Component, ...] = ()
    manufacture: Manufacture = Manufacture()
    materials: tuple[MaterialEntry, ...] = ()
    opposing: Opposing | None = None
    overrules: tuple[Overrule, ...] = ()
    title: str = ""
    patient_code: str = ""
    notes: str = ""
    folder: str = ""

    @property
    def scan(self) -> FilePath:
        """The scan's file: always inside the case's folder."""
        return FilePath(self.folder) / self.cast.file

    @property
    def opposing_scan(self) -> FilePath | None:
        """The file of the opposing arch, if the case names one."""
        return None if self.opposing is None else FilePath(self.folder) / self.opposing.file


def case_from_json(data: Any, folder: str = "") -> Case:
    """Validate and build. Raises CaseError naming the field that is wrong."""
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise CaseError(f"case.format: not a Claspwright case file (it should say {FORMAT!r})")
    if data.get("version") != VERSION:
        raise CaseError(f"case.version: {str(data.get('version'))[:20]} is not known to this release, which reads version {VERSION}")
    rest = {k: v for k, v in data.items() if k not in ("format", "version", "components", "folder")}
    raw = data.get("components", [])
    if not isinstance(raw, list):
        raise CaseError("case.components: a list is needed")
    components = tuple(parse_component(c, f"case.components[{k}]") for k, c in enumerate(raw))
    case = dataclasses.replace(parse(Case, rest, "case"), components=components, folder=folder)
    _validate(case)
    return case


def _plain_name(file: str, where: str) -> None:
    if FilePath(file).name != file or file in ("", ".", "..") or "\\" in file:
        raise CaseError(f"{where}: {file[:60]!r} must be a plain file name beside the case file")


def _validate(case: Case) -> None:
    _plain_name(case.cast.file, "case.cast.file")
    if case.opposing is not None:
        _plain_name(case.opposing.file, "case.opposing.file")
    for k, overrule in enumerate(case.overrules):
        if not overrule.check.strip() or not overrule.reason.strip():
            raise CaseError(f"case.overrules[{k}]: a check's id and the reason are both needed")
    seen: set[str] = set()
    for k, component in enumerate(case.components):
        if not component.id or component.id in seen:
            raise CaseError(f"case.components[{k}].id: {component.id!r} is empty or used twice")
        seen.add(component.id)
    quadrants = (1, 2) if case.cast.arch == "upper" else (3, 4)
    chart = case.chart
    numbers = [t.fdi for t in chart.teeth]
    lists = [("teeth", numbers), ("missing", chart.missing), ("not_replaced", chart.not_replaced), ("aesthetic", chart.aesthetic)]
    lists += [(f"soft_tissue[{k}].near", entry.near) for k, entry in enumerate(chart.soft_tissue)]
    lists += [(f"sulcus[{k}].fdi", (entry.fdi,)) for k, entry in enumerate(chart.sulcus)]
    for label, values in lists:
        for fdi in values:
            if fdi // 10 not in quadrants or not 1 <= fdi % 10 <= 8:
                raise CaseError(f"case.chart.{label}: {fdi} is not a tooth of the {case.cast.arch} arch (FDI)")
        if len(set(values)) != len(values):
            raise CaseError(f"case.chart.{label}: a tooth is listed twice")
    both = set(numbers) & set(case.chart.missing)
    if both:
        raise CaseError(f"case.chart.missing: {min(both)} is charted both as standing and as missing")
    if len(case.path.tripod) not in (0, 3):
        raise CaseError(f"case.path.tripod: three marks are needed, not {len(case.path.tripod)}")
    if case.path.rotation is not None and math.dist(*case.path.rotation.axis) < LEAST_AXIS_MM:
        raise CaseError(f"case.path.rotation.axis: its points lie closer than {LEAST_AXIS_MM:g} mm; take one on each side of the arch")


def case_to_json(case: Case) -> dict[str, Any]:
    """The document as plain JSON values, in a fixed order."""
    body = unparse(dataclasses.replace(case, components=(), folder=""))
    body["components"] = [unparse_component(c) for c in case.components]
    return {"format": FORMAT, "version": VERSION, **body}


def load_case(path: str | FilePath) -> Case:
    """Read and validate a case file. Raises CaseError with one line that says what, where and what to do."""
    path = FilePath(path)
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise CaseError(f"{path.name}: larger than {_MAX_BYTES // 1_000_000} MB; this is not a case file")
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise CaseError(f"{path.name}: cannot be read ({error.strerror}); check the name and the folder") from error
    except (ValueError, RecursionError) as error:
        raise CaseError(f"{path.name}: not valid JSON ({str(error)[:80]}); restore an earlier copy") from error
    return case_from_json(data, folder=str(path.resolve().parent))


def save_case(case: Case, path: str | FilePath) -> None:
    """Write atomically: the old file stays whole until the new one is complete. Raises WriteError."""
    text = json.dumps(case_to_json(case), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    write_atomic(path, text.encode("utf-8"))
