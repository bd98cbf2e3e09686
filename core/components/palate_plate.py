"""Upper major connectors without an opening: the single palatal strap and the complete palatal plate."""

from __future__ import annotations

import numpy as np

from ..case import Component, MinorConnector, PalatalPlate
from ..errors import ComponentError
from ..mesh import Floats
from ..solids.fields import Footprint
from .beading import INSIDE_MM, score
from .gaps import Gap
from .palate import LEAST_STATION_MM, back_station, base_gaps, inside, loop, off_margins, sheet, side_border, strap_border
from .site import Built, Site

STRAP_MM = 8.0  # under 8 mm it is a bar and must be bulky (standard texts, from memory)
BESIDE_MM = 1.5  # over the ends of a base or past a tooth that it reaches


def palatal_plate(spec: PalatalPlate, site: Site, components: tuple[Component, ...]) -> Built:
    """Metal of even thickness over the palate, from side to side as far forward and back as the parts that it joins.

    Raises ComponentError where a side has neither a base nor a minor connector to reach.
    """
    gaps = base_gaps(site, components)
    struts = [c.tooth for c in components if isinstance(c, MinorConnector)]
    sides = [_side(spec, site, sign, [g for g in gaps if g.sign == sign and not g.crosses], struts) for sign in (1.0, -1.0)]
    outline = loop(off_margins(site, sides, spec.margin_mm))
    width = _width(sides)
    warnings = []
    if width < STRAP_MM:
        warnings.append(f"{spec.id}: {width:.1f} mm from front to back; {STRAP_MM:g} mm are wanted: reach further, or take two straps")
    return Built(
        shapes=(sheet(site, Footprint(outline), np.vstack(sides), spec.thickness_mm, spec.id),),
        rails={"border": strap_border(outline, spec.thickness_mm, site)},
        scores=score((inside(outline, INSIDE_MM, site),), spec.bead_mm, site, gaps, spec.id),
        facts={"width_mm": width, "thickness_mm": spec.thickness_mm},
        warnings=tuple(warnings),
    )


def _side(spec: PalatalPlate, site: Site, sign: float, gaps: list[Gap], struts: list[int]) -> Floats:
    reached = [abs(s) for t in struts if np.sign(site.arch.station(t)) == sign for s in site.arch.extent(t)]
    ends = [abs(g.start) for g in gaps] + ([back_station(site, gaps)] if gaps else []) + reached
    if not ends:
        word = "+X" if sign > 0 else "-X"
        raise ComponentError(f"{spec.id}: nothing on the {word} side for it to join; add a base, or a rest with a minor connector")
    front, back = min(ends) - BESIDE_MM, max(ends)
    if spec.complete:
        front = LEAST_STATION_MM
    if back - front < STRAP_MM:
        front, back = 0.5 * (front + back) - 0.5 * STRAP_MM, 0.5 * (front + back) + 0.5 * STRAP_MM
    return side_border(site, sign * np.array([max(front, LEAST_STATION_MM), back]), spec.margin_mm, gaps)


def _width(sides: list[Floats]) -> float:
    """Least distance from the front to the back border, mm, taken at either end."""
    return min(float(np.linalg.norm(s[0, :2] - s[-1, :2])) for s in sides)
