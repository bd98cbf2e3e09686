"""Continuous bar: a thin band on the cingula of the lower front teeth, borne by rests at both ends."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..case import AnyRest, Component, ContinuousBar
from ..errors import ComponentError
from ..mesh import Floats
from ..teeth import numbering
from .lingual_plate import FACIAL_LIMIT_MM, STEP_MM, Apron, covered, lingual_margin, sheet_on_teeth, stretches
from .site import Built, Site

CALM_MM = 1.6  # the band waves with the teeth, but softly
OVER_MARGIN_MM = 0.8  # of its lower border, where the contour lies at the gingiva
HIGHEST = 0.8  # of the crown's height
INTO_PLATE_MM = 1.2  # past the last teeth, into their guide plates


def continuous_bar(spec: ContinuousBar, site: Site, components: tuple[Component, ...]) -> Built:
    """The band. Raises ComponentError where no rest keeps it up at its ends, or the crowns are too low for it."""
    if site.teeth.arch != "lower":
        raise ComponentError(f"{spec.id}: a continuous bar lies on lower teeth; use a palatal connector above")
    teeth = covered(spec, site)
    borne = {c.tooth for c in components if isinstance(c, AnyRest)}
    for end in (teeth[0], teeth[-1]):
        near = {end, *numbering.neighbours(end)}
        if not near & borne:
            raise ComponentError(f"{spec.id}: no rest on {end} or beside it keeps the bar from sinking; add one at either end")
    stations, ends = stretches(site, teeth, INTO_PLATE_MM)
    low, high = _borders(spec, site, teeth, stations)
    line, outward, offset = lingual_margin(site, stations)
    apron = Apron(stations, line, outward, high, low, -FACIAL_LIMIT_MM - offset, ends)
    shape, _ = sheet_on_teeth(site, apron, lambda p: np.full(len(p), spec.thickness_mm), spec.id)
    facts: dict[str, float | str] = {
        "height_mm": spec.height_mm, "thickness_mm": spec.thickness_mm, "length_mm": float(np.diff(ends, axis=1).sum()),
    }  # fmt: skip
    words = f"{spec.id}: alone it joins the two sides only through the teeth's plates and struts; a lingual bar below makes it rigid"
    alone = not any(c.kind in ("lingual_bar", "sublingual_bar", "labial_bar") for c in components)
    return Built(shapes=(shape,), facts=facts, warnings=(words,) if alone else ())


def _borders(spec: ContinuousBar, site: Site, teeth: list[int], stations: Floats) -> tuple[Floats, Floats]:
    """Heights (k,) of the lower and the upper border along the path, mm: the lower one at or over the lingual height of contour."""
    places, heights = [], []
    for fdi in teeth:
        chart = site.chart(fdi, spec.id)
        phi = np.linspace(250.0, 290.0, 9)
        z, margin, top = (float(np.median(v)) for v in (chart.contour(phi), chart.margin(phi), chart.top(phi)))
        ceiling = margin + HIGHEST * (top - margin)
        low = max(z, margin + OVER_MARGIN_MM)
        if low + spec.height_mm > ceiling:
            raise ComponentError(
                f"{spec.id}: over the height of contour of {fdi} there are {max(ceiling - z, 0):.1f} mm, the bar is {spec.height_mm:g} mm "
                "high; tilt the path, ask for a lower bar, or use a labial bar"
            )
        places.append(site.arch.station(fdi))
        heights.append(float(chart.origin @ site.up) + low)
    low = gaussian_filter1d(np.interp(stations, places, heights), CALM_MM / STEP_MM, mode="nearest")
    return low, low + spec.height_mm
