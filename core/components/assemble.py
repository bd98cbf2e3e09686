"""All components of a case, in the order in which they lean on each other. One that cannot be built says why; the rest still are."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from ..case import (
    BackActionArm,
    BeadPlate,
    Case,
    CingulumRest,
    Component,
    ContinuousBar,
    ExtendedArm,
    GuidePlate,
    IBar,
    IncisalRest,
    LabialBar,
    LatticeBase,
    LingualBar,
    LingualPlate,
    MinorConnector,
    OcclusalRest,
    PalatalPlate,
    PalatalStraps,
    ReciprocalArm,
    RetentiveArm,
    RingArm,
    SublingualBar,
    TBar,
    UShapedPlate,
    WireArm,
)
from ..errors import ComponentError, GeometryError
from ..mesh import Floats, Mesh
from ..solids.fields import Blend, Shape
from ..solids.sweep import Rail
from .arms import reciprocal_arm, retentive_arm
from .bars import lingual_bar
from .bases import lattice_base
from .continuous_bar import continuous_bar
from .far_bars import labial_bar, sublingual_bar
from .ibar import i_bar
from .lingual_plate import lingual_plate
from .long_arms import back_action_arm, extended_arm
from .metal_bases import bead_plate
from .minor_connectors import minor_connector
from .palate import palatal_straps
from .palate_plate import palatal_plate
from .plates import guide_plate
from .rests import rest
from .ring import ring_arm
from .site import Built, Relief, Site
from .tbar import t_bar
from .uplate import u_shaped_plate
from .wire import wire_arm

ORDER = (
    LingualBar, LingualPlate, SublingualBar, LabialBar, ContinuousBar,
    PalatalStraps, PalatalPlate, UShapedPlate, LatticeBase, BeadPlate, OcclusalRest, CingulumRest, IncisalRest, GuidePlate,
    MinorConnector,
    ReciprocalArm, RetentiveArm, BackActionArm, ExtendedArm, IBar, TBar, WireArm, RingArm,
)  # fmt: skip
RELIEF_SPACING_MM = 0.35
SCORE_SPACING_MM = 0.14
RELIEF_SINK_MM = 0.3  # relief goes this far into the cast, so that the two never share a face


@dataclass(frozen=True, eq=False)
class Assembly:
    """Everything built: by component id, in building order; and what could not be, with its reason."""

    built: dict[str, Built]
    refused: dict[str, str]

    @property
    def shapes(self) -> list[Shape]:
        """All metal shapes."""
        return [s for b in self.built.values() for s in b.shapes]


def build_components(
    case: Case, site: Site, step: Callable[[str], None] = lambda _: None, known: Mapping[str, Built] | None = None
) -> Assembly:
    """Build every component of the case. `step` is called with the id of each before it is made (it may raise Cancelled).

    known : parts built before on this site, by id, that are taken as they are
    """
    known = known or {}
    built: dict[str, Built] = {}
    refused: dict[str, str] = {}
    for component in sorted(case.components, key=lambda c: ORDER.index(type(c))):
        step(component.id)
        try:
            built[component.id] = known.get(component.id) or build_part(component, case, site, built)
        except (ComponentError, GeometryError) as error:
            refused[component.id] = str(error) if str(error).startswith(component.id) else f"{component.id}: {error}"
    return Assembly(built, refused)


def _rail_of(built: dict[str, Built], name: str) -> Rail | None:
    return next((b.rails[name] for b in built.values() if name in b.rails), None)


def build_part(component: Component, case: Case, site: Site, built: dict[str, Built]) -> Built:
    """One component of a case. built : by id, those it may join or lean on. Raises ComponentError and GeometryError where it cannot be."""
    match component:
        case LingualBar():
            return lingual_bar(component, site, case.chart.sulcus_mm)
        case LingualPlate():
            return lingual_plate(component, site, case.chart.sulcus_mm)
        case SublingualBar():
            return sublingual_bar(component, site, case.chart.sulcus_mm)
        case ContinuousBar():
            return continuous_bar(component, site, case.components)
        case LabialBar():
            return labial_bar(component, site, case.components, _facial_sulcus(case))
        case PalatalStraps():
            return palatal_straps(component, site, case.components)
        case PalatalPlate():
            return palatal_plate(component, site, case.components)
        case LatticeBase():
            return lattice_base(component, site, _rail_of(built, "bar"), _rail_of(built, "labial bar"))
        case BeadPlate():
            return bead_plate(component, site, _rail_of(built, "bar"), _rail_of(built, "border"))
        case UShapedPlate():
            return u_shaped_plate(component, site)
        case OcclusalRest() | CingulumRest() | IncisalRest():
            return rest(component, site, case.components)
        case GuidePlate():
            return guide_plate(component, site, case.components)
        case MinorConnector():
            lingual = _rail_of(built, "bar") or _rail_of(built, "border")
            bar = lingual or _rail_of(built, "labial bar")
            if bar is None and any(isinstance(c, UShapedPlate) for c in case.components):
                raise ComponentError(f"{component.id}: a U-shaped plate lies on the teeth and bears the rest by itself; leave this out")
            if bar is None:
                raise ComponentError(f"{component.id}: there is no bar and no palatal strap for it to join; add a major connector")
            return minor_connector(component, site, case.components, bar, facial=lingual is None)
        case ReciprocalArm():
            return reciprocal_arm(component, site, case.components)
        case RetentiveArm():
            return retentive_arm(component, site, case.components)
        case BackActionArm():
            return back_action_arm(component, site, case.components)
        case ExtendedArm():
            return extended_arm(component, site)
        case IBar():
            return i_bar(component, site, _base_strut(component, case, built))
        case TBar():
            return t_bar(component, site, _base_strut(component, case, built))
        case WireArm():
            return wire_arm(component, site, _base_strut(component, case, built, component.face))
        case RingArm():
            return ring_arm(component, site, case.components, _base_strut(component, case, built, component.face))
    raise ComponentError(f"{component.id}: this release cannot build a {component.kind}")


def _facial_sulcus(case: Case) -> float | None:
    """Least charted depth of the facial sulcus, mm; None where none is charted."""
    return min((e.depth_mm for e in case.chart.sulcus if e.side == "facial"), default=None)


def _base_strut(component: IBar | TBar | WireArm | RingArm, case: Case, built: dict[str, Built], face: str = "facial") -> Rail:
    bases = [c for c in case.components if isinstance(c, LatticeBase) and c.id in built and (not component.base or c.id == component.base)]
    side = [c for c in bases if any(t // 10 == component.tooth // 10 for t in c.teeth)]  # one of front teeth lies on both sides
    if not side:
        raise ComponentError(f"{component.id}: no base beside tooth {component.tooth} for the bar to come from; add one")
    return built[side[0].id].rails[face]


def relief_solid(relief: Relief, site: Site) -> Mesh:
    """The space to be kept, as a closed solid that reaches a little into the cast."""
    skin = site.skin

    def field(points: Floats) -> Floats:
        zone = relief.zone.field(points)
        out = zone.copy()
        near = zone < 0.6
        if near.any():
            distance = skin(points[near])
            out[near] = np.maximum(zone[near], np.maximum(distance - relief.thickness_mm, -distance - RELIEF_SINK_MM))
        return out

    return Blend([Shape(field, relief.zone.bounds, relief.zone.name)], 0.0).mesh(RELIEF_SPACING_MM)


def open_solids(assembly: Assembly) -> list[Mesh]:
    """Closed solids in which the block-out is left open for retentive tips."""
    return [Blend([zone], 0.0).mesh(0.25) for b in assembly.built.values() for zone in b.open_zones]


def score_solids(assembly: Assembly) -> list[Mesh]:
    """Closed solids that are cut out of the cast for the metal to fill."""
    return [Blend([s], 0.0).mesh(SCORE_SPACING_MM) for b in assembly.built.values() for s in b.scores]
