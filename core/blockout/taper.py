"""The part of a tapered block-out that stands outside the parallel one, in thin layers across the path.

A tapered wall is the cast dilated by a cone that opens downward: at a depth t below any point of the cast the wax reaches
t tan(taper) further out. Layer by layer from the top that is a running union of offset outlines. Each layer shows the taper's
exact width at its middle height, so the steps stand off the true cone by half a step times tan(taper): 0.002 mm for 2 degrees
and 0.1 mm.
"""

from __future__ import annotations

import manifold3d
import numpy as np

_GRAIN_MM = 5e-4
"""Outlines are thinned by this much; the running union stays small and the wall moves by less than a scanner sees."""
_OVERLAP_MM = 0.02
"""Layers reach this far into one another and into the parallel shadow, so that no two bodies only touch."""


def tapered_layers(solid: manifold3d.Manifold, low: float, taper_deg: float, step_mm: float) -> list[manifold3d.Manifold]:
    """Layers that flare from the walls of a solid downward to z = low; the path is +z.

    solid : in the path frame; taper_deg : opening half-angle; step_mm : layer height. Sources are taken half a step above a
    layer, so that wax never stands on surfaces that the path sees unless they are steeper than twice the taper.
    """
    slope = float(np.tan(np.radians(taper_deg)))
    top = float(solid.bounding_box()[5])
    count = max(int(np.ceil((top - low) / step_mm)), 1)
    flared = manifold3d.CrossSection()
    straight = manifold3d.CrossSection()
    layers = []
    previous = top
    for k in range(count):
        ceiling = top - k * step_mm
        floor = max(ceiling - step_mm, low)
        source = min(ceiling + 0.5 * step_mm, top - 1e-6 * step_mm)
        flared = (_grown(flared, slope * (previous - source)) + solid.slice(source)).simplify(_GRAIN_MM)
        previous = source
        straight = (straight + solid.slice(max(floor, low + 1e-6))).simplify(_GRAIN_MM)
        reach = _grown(flared, slope * (source - 0.5 * (floor + ceiling)))
        outside = reach - straight
        if outside.area() < 1e-4:
            continue
        body = outside.offset(_OVERLAP_MM, manifold3d.JoinType.Square) ^ reach
        bottom = max(floor - 0.3 * _OVERLAP_MM, low)
        layers.append(body.extrude(ceiling - bottom).translate((0.0, 0.0, bottom)))
    return layers


def _grown(outline: manifold3d.CrossSection, by_mm: float) -> manifold3d.CrossSection:
    if outline.is_empty() or by_mm <= 0.0:
        return outline
    return outline.offset(by_mm, manifold3d.JoinType.Round, 2.0, 24)
