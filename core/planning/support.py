"""Lines about which a denture may turn, and where a rest resists that best.

Fulcrum line: through the most posterior rests of both sides (McCracken, from memory); beside an anterior space through its two
abutments. An indirect retainer sits on the far side of the line from the base that lifts, as far from it as a tooth can bear.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from ..teeth.numbering import crown_width, is_anterior, order, position
from .classification import Classification, Space

# Intermolar width and depth of the arch over the crowns' middles, mm (Bishara and others, from memory; handbook section 10).
_ARCH_MM = {"upper": (50.0, 36.0), "lower": (45.0, 33.0)}
_LEAST_LEVER_MM = 4.0  # own limit: a rest nearer to the line than this hardly resists turning


@dataclass(frozen=True)
class Fulcrum:
    """A line through two teeth with rests; spaces : whose bases turn about it; why : words."""

    first: int
    second: int
    spaces: tuple[Space, ...]
    why: str


@dataclass(frozen=True)
class Lever:
    """A tooth and its distance from a fulcrum line on the side away from the base, mm; kind : of rest it would bear."""

    tooth: int
    distance_mm: float
    kind: str


def nominal_positions(arch: str) -> dict[int, Floats]:
    """Middles of the crowns (2,) mm on an average arch, for a chart without a scan: a parabola filled with average crown widths."""
    width, depth = _ARCH_MM[arch]
    x = np.linspace(0.0, 0.75 * width, 4000)
    y = -depth * (x / (width / 2)) ** 2
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    row = order(arch)
    half = row[8:]
    ends = np.cumsum([crown_width(t) for t in half])
    middles = ends - [crown_width(t) / 2 for t in half]
    out: dict[int, Floats] = {}
    for k, right in enumerate(half):
        at = np.array([np.interp(middles[k], along, x), np.interp(middles[k], along, y)])
        out[right], out[row[7 - k]] = at, at * [-1.0, 1.0]
    return out


def fulcrum_lines(arch: str, made: Classification, rests: Collection[int]) -> tuple[Fulcrum, ...]:
    """All lines about which a base can turn, given the teeth that bear rests. Empty where every base is borne by teeth at both ends."""
    row = [t for t in order(arch) if t in rests]
    lines = []
    free = tuple(s for s in made.spaces if s.extension)
    if free and len(row) >= 2:
        lines.append(Fulcrum(row[0], row[-1], free, "through the most posterior rests of both sides"))
    for space in made.spaces:
        leaning = space.crosses_midline or space.support != "tooth"
        if not space.extension and leaning and set(space.abutments) <= set(row):
            words = "through the abutments of the anterior space" if space.crosses_midline else "through the abutments of a long space"
            lines.append(Fulcrum(space.abutments[0], space.abutments[1], (space,), words))
    return tuple(lines)


def rest_kind(tooth: int) -> str:
    """The rest a tooth usually bears: cingulum on anterior teeth, occlusal on others."""
    return "cingulum rest" if is_anterior(tooth) else "occlusal rest"


def bears_rest(tooth: int) -> bool:
    """Whether an indirect retainer may sit on it: canines, premolars and molars; incisors only splinted, which a chart does not say."""
    return position(tooth) >= 3


def levers(fulcrum: Fulcrum, standing: Collection[int], positions: Mapping[int, Floats]) -> tuple[Lever, ...]:
    """Teeth that could carry an indirect retainer against lifting of the bases, longest lever first.

    positions : (2,) or (3,) mm, of the standing and of the missing teeth; only the first two coordinates count
    """
    a, b = (np.asarray(positions[t], dtype=float)[:2] for t in (fulcrum.first, fulcrum.second))
    along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
    across = np.array([-along[1], along[0]])
    bases = np.mean([np.asarray(positions[t], dtype=float)[:2] for s in fulcrum.spaces for t in s.teeth if t in positions], axis=0)
    away = -1.0 if float((bases - a) @ across) > 0.0 else 1.0
    found = []
    for tooth in standing:
        if tooth in (fulcrum.first, fulcrum.second) or not bears_rest(tooth) or tooth not in positions:
            continue
        distance = away * float((np.asarray(positions[tooth], dtype=float)[:2] - a) @ across)
        if distance >= _LEAST_LEVER_MM:
            found.append(Lever(tooth, distance, rest_kind(tooth)))
    return tuple(sorted(found, key=lambda v: (-v.distance_mm, v.tooth)))
