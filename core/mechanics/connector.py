"""The major connector as a beam on its real centre line: how stiff between the two sides, and its stress when one side is loaded.

Sections are measured from the built solid (`measured.py`), so that any connector is analysed; the vault of a strap stiffens it. That a wide
thin plate also flattens as it bends is left out, so the stiffness of such plates is the upper end.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np

from ..mesh import Bools, Floats, Ints
from .frame import Frame, Response, solve, stresses
from .levers import MUCOSA_SINK, TOOTH_SINK
from .materials import Material
from .ranges import Range
from .sections import Sections, Shape, sections

LOAD_N = 100.0  # on one side: load of published tests 50 to 200 N (handbook 8.5)
# Links from rests and bases to the connector: minor connectors, about 2.6 by 1.5 mm (pattern practice, from memory).
LINK_MM = (2.6, 1.5)
# Base between two abutments with its plates: lattice and finish line together, about 6 by 2 mm of metal (own samples).
BASE_MM = (6.0, 2.0)
Form = Literal["bar", "ring", "plate"]
MOUNT_STIFF = 1e-3  # N/mm: holds the freedoms that no tooth or mucosa holds, so that the equations have an answer


@dataclass(frozen=True, eq=False)
class Run:
    """A stretch of connector: nodes (k, 3) on the centroids, away (k, 3) unit from the flat side, k sections. closed : a ring."""

    nodes: Floats
    away: Floats
    sections: Sections
    closed: bool = False


def swept(points: Floats, normals: Floats, width: Floats, thickness: Floats, shape: Shape, closed: bool = False) -> Run:
    """A run of a known section with its flat side on points (k, 3); normals (k, 3) unit away from it, width, thickness (k,) mm."""
    run = sections(shape, width, thickness)
    return Run(points + normals * run.centroid[:, None], normals, run, closed)


@dataclass(frozen=True, eq=False)
class ConnectorInput:
    """A connector with what it carries.

    form : what it is compared with; run : its centre line; path : (3,) unit off the teeth
    ends : (right, left) places (3,) where the two sides join it, for stiffness
    rests : (r, 3) places of rests; rest_sides : (r,) 0 right, 1 left
    bases : (right, left) middle of what is loaded on each side (3,)
    mucosa_borne : share of each that mucosa bears (1 for an extension base, 0 where teeth stand at both ends: then the rests of that side
        carry the base itself)
    """

    id: str
    form: Form
    run: Run
    path: Floats
    ends: tuple[Floats, Floats]
    rests: Floats
    rest_sides: Ints
    bases: tuple[Floats, Floats]
    mucosa_borne: tuple[float, float]


@dataclass(frozen=True)
class Stiffness:
    """Between the two sides: N/mm to spread them, N/mm to shift one up, N mm a degree to turn one about the line through both."""

    spread: float
    lift: float
    twist: float

    def ranges(self, material: Material) -> tuple[Range, Range, Range]:
        """The three with what the modulus leaves open."""
        e = material.modulus
        words = f"beam of measured sections of {material.label}, modulus {e.low:g} to {e.high:g} GPa; sections keep their shape"
        low, high = e.low / e.likely, e.high / e.likely
        units = ("N/mm", "N/mm", "N mm/degree")
        values = (self.spread, self.lift, self.twist)
        return tuple(Range(low * v, v, high * v, u, words) for v, u in zip(values, units, strict=True))  # type: ignore[return-value]


@dataclass(frozen=True, eq=False)
class ConnectorResult:
    """stiffness : for the likely modulus; references : name and stiffness of other sections on the same line

    stress : greatest equivalent stress, MPa, with LOAD_N on one side (the worse one); stress_at : where (3,); along : (e,) MPa
    sag_mm : how much farther the loaded side sinks than the other
    """

    id: str
    length_mm: float
    stiffness: Stiffness
    references: tuple[tuple[str, Stiffness], ...]
    stress: Range
    stress_at: tuple[float, float, float]
    sag_mm: Range
    nodes: Floats
    along: Floats
    allowable_mpa: float


def frame_of(run: Run, material: Material) -> Frame:
    """Elements between the samples of a run, thinned to about a millimetre."""
    length = float(np.linalg.norm(np.diff(run.nodes, axis=0), axis=1).sum())
    step = max(int(len(run.nodes) / max(length, 1.0)), 1)
    keep = np.unique(np.r_[np.arange(0, len(run.nodes), step), len(run.nodes) - 1])
    if run.closed and len(keep) > 2:
        keep = keep[:-1] if np.linalg.norm(run.nodes[keep[-1]] - run.nodes[keep[0]]) < 0.5 else keep
    k = len(keep)
    first = np.arange(k if run.closed else k - 1)
    second = (first + 1) % k
    away = run.away[keep[first]] + run.away[keep[second]]
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    between = run.sections.between(keep[first], keep[second])
    return Frame(run.nodes[keep], np.stack([first, second], axis=1), away, between, material.modulus_mpa, material.poisson)


def nearest(nodes: Floats, place: Floats) -> int:
    """Number of the node nearest to a place (3,)."""
    return int(np.linalg.norm(nodes - place, axis=1).argmin())


def side_stiffness(frame: Frame, ends: tuple[Floats, Floats], path: Floats) -> Stiffness:
    """One side built in, unit forces on the other."""
    held, loaded = (nearest(frame.nodes, e) for e in ends)
    line = frame.nodes[loaded] - frame.nodes[held]
    line = line - (line @ path) * path
    line /= np.linalg.norm(line)
    loads = np.zeros((3, len(frame.nodes), 6))
    loads[0, loaded, :3], loads[1, loaded, :3], loads[2, loaded, 3:] = line, path, line
    answer = solve(frame, np.array([held]), loads)
    give = (answer.shifts[0, loaded] @ line, answer.shifts[1, loaded] @ path, answer.turns[2, loaded] @ line)
    return Stiffness(float(1.0 / give[0]), float(1.0 / give[1]), float(np.radians(1.0) / give[2]))


def with_section(run: Run, shape: Shape, width: Floats | float, thickness: Floats | float) -> Run:
    """The same line with another section: width, thickness one for all or (k,) mm."""
    k = len(run.nodes)
    return replace(run, sections=sections(shape, np.broadcast_to(width, k), np.broadcast_to(thickness, k)))


def without_back(run: Run, path: Floats, forward: Floats) -> Run:
    """A ring opened at the back: the U-shape that tests found least rigid. forward : (3,) unit to the front of the mouth."""
    y = run.nodes @ forward
    across = run.nodes @ np.cross(forward, path)
    back = (y < np.quantile(y, 0.3)) & (np.abs(across - across.mean()) < 0.6 * (across.max() - across.min()) / 2)
    start = int(np.flatnonzero(back)[-1]) if back.any() else 0
    # Begin just behind the cut, so that what is left is one open run.
    order = np.roll(np.arange(len(back)), -_run_start(back, start))
    keep = order[~back[order]]
    if len(keep) < len(back) // 4:
        return replace(run, closed=False)
    return Run(run.nodes[keep], run.away[keep], run.sections.between(keep, keep), False)


def _run_start(back: Bools, fallback: int) -> int:
    """Index of the first sample after the cut stretch of a ring."""
    after = np.flatnonzero(back & ~np.roll(back, -1))
    return int(after[0] + 1) % len(back) if len(after) else fallback


STRAP_MM, STRAP_THICK_MM = 8.0, 0.64  # a single strap of the texts: 8 mm wide, 22 gauge (handbook, section 4)


def references(run: Run, form: Form, path: Floats, forward: Floats) -> tuple[tuple[str, Run], ...]:
    """Runs to compare with, on the same line.

    Bars: tested sections (Ben-Ur et al. 1989) and the 6-gauge half-pear. Rings: thinner, and open at the back. Plates and single straps:
    the strap of the texts and the remedies tested on U-shapes (Green and Hondrum 2003): wider, or twice as thick.
    """
    wide, thick = run.sections.width, run.sections.thickness
    if form == "ring":
        opened = without_back(run, path, forward)
        doubled = with_section(opened, "strip", opened.sections.width, 2.0 * opened.sections.thickness)
        return (
            ("the same, 22 gauge (0.64 mm) thick", with_section(run, "strip", wide, STRAP_THICK_MM)),
            ("the same without its back strap (U-shape)", opened),
            ("U-shape of double thickness", doubled),
        )
    if form == "plate":
        return (
            ("strap 8 mm wide, 22 gauge (0.64 mm)", with_section(run, "strip", STRAP_MM, STRAP_THICK_MM)),
            ("strap 13 mm wide, 22 gauge", with_section(run, "strip", 13.0, STRAP_THICK_MM)),
            ("strap 8 mm wide, double thickness", with_section(run, "strip", STRAP_MM, 2.0 * STRAP_THICK_MM)),
            ("as designed, but flat", with_section(run, "strip", wide, thick)),
        )
    return (
        ("half-pear, 6 gauge (4.1 by 2.06)", with_section(run, "half_pear", 4.115, 2.06)),
        ("half-ellipse 3.75 by 1.75", with_section(run, "half_round", 3.75, 1.75)),
        ("half-ellipse 4 by 1.5", with_section(run, "half_round", 4.0, 1.5)),
    )


def loaded_side(data: ConnectorInput, frame: Frame, side: int, mucosa_mm: float, tooth_mm: float) -> tuple[Response, int, Frame, float]:
    """LOAD_N on one side, against the path, through the middle of what is loaded there; rests stand on teeth, bases on mucosa.

    mucosa_mm, tooth_mm : how far each gives way under LOAD_N. Returns the answer, the number of connector elements, the whole frame and the
    difference of sinking between the two sides, mm.
    """
    count, carried = len(frame.nodes), len(frame.ends)
    places = np.vstack([data.bases[0], data.bases[1], data.rests])
    borne = np.array(data.mucosa_borne)
    roots = [nearest(frame.nodes, p) for p in places]
    on_base = [i >= 2 and borne[data.rest_sides[i - 2]] < 0.5 for i in range(len(places))]
    links = np.array([[count + data.rest_sides[i - 2] if on_base[i] else roots[i], count + i] for i in range(len(places))])
    heavy = np.array([on_base[i] or (i < 2 and borne[i] < 0.5) for i in range(len(places))])
    whole = _with_links(frame, places, links, heavy, data.path)
    springs = np.full((len(whole.nodes), 6), MOUNT_STIFF)
    for i in range(2):
        springs[count + i, :3] += data.mucosa_borne[i] * LOAD_N / mucosa_mm
    springs[count + 2 :, :3] += LOAD_N / tooth_mm
    loads = np.zeros((1, len(whole.nodes), 6))
    loads[0, count + side, :3] = -LOAD_N * data.path
    answer = solve(whole, np.zeros(0, dtype=int), loads, springs)
    sunk = -(answer.shifts[0, count : count + 2] @ data.path)
    return answer, carried, whole, float(sunk[side] - sunk[1 - side])


def _with_links(frame: Frame, places: Floats, links: Ints, heavy: Floats, path: Floats) -> Frame:
    """The frame with struts out to more places. A place on the connector itself gets a very short strut."""
    nodes = np.vstack([frame.nodes, places])
    along = nodes[links[:, 1]] - nodes[links[:, 0]]
    short = np.linalg.norm(along, axis=1) < 0.1
    nodes[links[short, 1]] += 0.1 * path
    along = nodes[links[:, 1]] - nodes[links[:, 0]]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    helper = np.where(np.abs(along @ path)[:, None] > 0.9, np.array([1.0, 0.0, 0.0]) + 1e-3, path)
    away = np.cross(along, np.cross(helper, along))
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    strut = sections("strip", np.where(heavy, BASE_MM[0], LINK_MM[0]), np.where(heavy, BASE_MM[1], LINK_MM[1]))
    joined = _joined(frame, strut)
    return replace(frame, nodes=nodes, ends=np.vstack([frame.ends, links]), away=np.vstack([frame.away, away]), sections=joined)


def _joined(frame: Frame, strut: Sections) -> Sections:
    """The sections of a frame and of its struts in one run."""
    a = frame.sections
    joined = {}
    for field in fields(a):
        name = field.name
        first, second = getattr(a, name), getattr(strut, name)
        if name == "fibres":  # outlines of different point counts: the last point is repeated
            m = max(first.shape[1], second.shape[1])
            first, second = (np.concatenate([f, np.repeat(f[:, -1:], m - f.shape[1], axis=1)], axis=1) for f in (first, second))
        joined[name] = np.concatenate([first, second])
    return replace(a, **joined)


def analyse_connector(data: ConnectorInput, material: Material, forward: Floats) -> ConnectorResult:
    """Stiffness, comparison and stress of one connector."""
    frame = frame_of(data.run, material)
    stiff = side_stiffness(frame, data.ends, data.path)
    runs = references(data.run, data.form, data.path, forward)
    others = tuple((name, side_stiffness(frame_of(r, material), data.ends, data.path)) for name, r in runs)
    found: list[tuple[float, float, Floats, int]] = []
    for mucosa, tooth in (
        (MUCOSA_SINK.low, TOOTH_SINK.high), (MUCOSA_SINK.likely, TOOTH_SINK.likely), (MUCOSA_SINK.high, TOOTH_SINK.low),
    ):  # fmt: skip
        worst: tuple[float, float, Floats, int] | None = None
        for side in (0, 1):
            answer, carried, whole, sag = loaded_side(data, frame, side, mucosa, tooth)
            along = stresses(whole, answer.forces)[0][:carried]
            if worst is None or along.max() > worst[0]:
                worst = (float(along.max()), sag, along, side)
        assert worst is not None
        found.append(worst)
    peaks, sags = sorted(f[0] for f in found), sorted(abs(f[1]) for f in found)
    words = (
        f"{LOAD_N:g} N on one side, the worse one; {MUCOSA_SINK.assumption}; {TOOTH_SINK.assumption}; both taken as the give under "
        "that load; struts to the rests 2.6 by 1.5 mm, bases between teeth as 6 by 2 mm of metal, base resin left out"
    )
    top = int(found[1][2].argmax())
    at = frame.nodes[frame.ends[top]].mean(axis=0)
    return ConnectorResult(
        data.id, float(frame.lengths.sum()), stiff, others, Range(peaks[0], peaks[1], peaks[2], "MPa", words),
        (float(at[0]), float(at[1]), float(at[2])), Range(sags[0], sags[1], sags[2], "mm", words), frame.nodes, found[1][2],
        material.allowable_mpa,
    )  # fmt: skip
