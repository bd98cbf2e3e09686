"""Guide plates: plates on the guide surface beside a gap, from the guide plane down to the tissue, with a foot on the ridge."""

from __future__ import annotations

import numpy as np

from ..case import Component, GuidePlate, OcclusalRest
from ..charts import CrownChart
from ..mesh import Floats
from ..preparation import GuidePlaneSpec
from ..solids.fields import Shape, round_max
from ..teeth import Tooth
from ..teeth.landmarks import marginal_ridge
from .site import Built, Site

FOOT_MM = 3.2  # relief starts 2 mm from the abutment (1.5 to 2, handbook section 5); the outer line stands 1.2 mm further (1 to 2)
FOOT_THICKNESS_MM = 2.2  # stands over the relieved lattice: its end is the external finish line
DEPTH_MM = 0.7


def plane_of(spec: GuidePlate, tooth: Tooth, up: Floats) -> GuidePlaneSpec:
    """The guide plane that a plate asks for."""
    outward = tooth.mesial if spec.side == "mesial" else -tooth.mesial
    flat = outward - (outward @ up) * up
    return GuidePlaneSpec(tooth=spec.tooth, side=spec.side, outward=flat / np.linalg.norm(flat), up=up, height_mm=spec.plane_height_mm)


def planes(components: tuple[Component, ...], teeth: dict[int, Tooth], up: Floats) -> list[GuidePlaneSpec]:
    """All guide planes that the components ask for, in their order; teeth that do not stand are passed over."""
    return [plane_of(c, teeth[c.tooth], up) for c in components if isinstance(c, GuidePlate) and c.tooth in teeth]


def guide_plate(spec: GuidePlate, site: Site, components: tuple[Component, ...]) -> Built:
    """A plate of even thickness over the blocked-out proximal surface; higher where a rest on the same side joins it."""
    chart = site.chart(spec.tooth, spec.id)
    tooth = site.teeth.teeth[spec.tooth]
    phi = 0.0 if spec.side == "mesial" else 180.0
    outward = chart.outward(phi)[0]
    across = np.cross(site.up, outward)
    ridge = chart.local(marginal_ridge(tooth, site.cast, spec.side)[None])[0, 2]
    with_rest = any(isinstance(c, OcclusalRest) and c.tooth == spec.tooth and c.side == spec.side for c in components)
    rim = chart.contour(np.linspace(phi - 20, phi + 20, 9))
    top = ridge - 0.25 if with_rest else min(ridge - 1.0, float(np.median(rim)) + spec.plane_height_mm)
    radius = float(np.nanmax(chart.radius(np.linspace(phi - 15, phi + 15, 11), float(np.median(rim)))))
    half = float(np.clip(radius * np.tan(np.radians(0.5 * spec.width_deg)), 1.6, 0.5 * _breadth(chart)))
    origin, up, skin = chart.origin, site.up, site.calm
    foot_edge = radius + FOOT_MM

    def field(points: Floats) -> Floats:
        rel = points - origin
        u, w, z = rel @ across, rel @ outward, rel @ up
        distance = skin(points)
        # The plate thickens into its foot where it leaves the tooth for the ridge.
        blend = np.clip((w - radius + 0.4) / 1.2, 0.0, 1.0)
        thickness = spec.thickness_mm + (FOOT_THICKNESS_MM - spec.thickness_mm) * blend * blend * (3 - 2 * blend)
        face = distance - thickness
        side = np.abs(u) - half
        rim_up = round_max(np.maximum(side, z - top), face, 0.4)
        body = np.maximum(rim_up, np.maximum(-distance - DEPTH_MM, 0.35 * radius - w))
        return np.maximum(body, w - foot_edge)  # square: the external finish line

    reach = outward * (0.5 * (foot_edge + 0.35 * radius))
    size = np.abs(across) * (half + 1) + np.abs(outward) * (0.5 * (foot_edge - 0.35 * radius) + 1)
    low_z, high_z = chart.z_low - 3.0, top + 0.5
    ends = np.array(
        [
            origin + reach - size + up * low_z,
            origin + reach + size + up * high_z,
            origin + reach - size + up * high_z,
            origin + reach + size + up * low_z,
        ]
    )
    bounds = np.array([ends.min(axis=0), ends.max(axis=0)])
    return Built(
        shapes=(Shape(field, bounds, spec.id),),
        facts={"width_mm": 2 * half, "thickness_mm": spec.thickness_mm, "height_mm": top - float(np.median(chart.margin(np.array([phi]))))},
    )


def _breadth(chart: CrownChart) -> float:
    """Faciolingual size of the crown at its contour, mm."""
    f, li = chart.radius(90.0, chart.contour(90.0)), chart.radius(270.0, chart.contour(270.0))
    return float(np.nan_to_num(f[0], nan=3.5) + np.nan_to_num(li[0], nan=3.5))
