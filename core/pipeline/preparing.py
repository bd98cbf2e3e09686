"""Mouth preparation of a case: which seats and planes its prescription asks for, cut into the cast."""

from __future__ import annotations

from dataclasses import replace

from ..case import AnyRest, Case, GuidePlate
from ..components import planes, planned_seat
from ..errors import GeometryError
from ..mesh import Mesh
from ..preparation import PLANE_MOST_MM, Prepared, fit_plane, measure_planes, prepare
from ..survey import Path
from ..teeth import Teeth


def prepare_mouth(case: Case, mesh: Mesh, teeth: Teeth, path: Path) -> tuple[Prepared, tuple[str, ...]]:
    """All seats and planes of a prescription, cut into the closed cast; one that misses its tooth is left out and said."""
    remarks: list[str] = []
    if case.chart.to_extract:
        named = ", ".join(map(str, case.chart.to_extract))
        remarks.append(f"to be taken out, yet standing in the scan: {named}; what is built there lies on its crown: scan again")
    wanted_seats, wanted_planes = [], []
    for component in case.components:
        if isinstance(component, AnyRest) and component.tooth in teeth.teeth:
            try:
                wanted_seats.append(planned_seat(component, teeth, mesh, path.vector))
            except GeometryError as error:
                remarks.append(f"{component.id}: no seat could be cut ({error})")
    for plane in planes(case.components, teeth.teeth, path.vector):
        try:
            wanted_planes.append(fit_plane(plane, teeth[plane.tooth], mesh))
        except GeometryError as error:
            remarks.append(f"no guide plane could be cut ({error})")
            continue
        if wanted_planes[-1].height_mm < plane.height_mm:
            low = wanted_planes[-1].height_mm
            remarks.append(f"guide plane on {plane.tooth} {plane.side}: {low:g} mm high, not {plane.height_mm:g}; the face is no higher")
    return prepare(mesh, teeth, path, wanted_seats, wanted_planes), tuple(remarks)


LEAST_PLANE_MM = 2.0
"""A guide plane on a tooth that bears a bounded base is this high at the least (handbook, section 1)."""


def spare_enamel(case: Case, mesh: Mesh, teeth: Teeth, path: Path) -> tuple[Case, dict[str, str]]:
    """The case with every guide plane as high as a shallow cut allows, and by component the words that say why it is lower.

    A plane that would take more than PLANE_MOST_MM is lowered by half millimetres, down to LEAST_PLANE_MM.
    """
    words: dict[str, str] = {}
    first: dict[str, float] = {}
    while True:
        parts = {(c.tooth, c.side): c for c in case.components if isinstance(c, GuidePlate) and c.tooth in teeth.teeth}
        lower: dict[str, float] = {}
        for spec in planes(tuple(c for c in parts.values() if c.id not in words), teeth.teeth, path.vector):
            part = parts[spec.tooth, spec.side]
            try:
                fitted = fit_plane(spec, teeth[spec.tooth], mesh)
            except GeometryError:
                words[part.id] = ""  # said again, with its reason, when the mouth is prepared
                continue
            (cut,) = measure_planes(mesh, teeth, (fitted,))
            before = first.setdefault(part.id, cut.deepest_mm)
            if cut.deepest_mm > PLANE_MOST_MM and fitted.height_mm - 0.5 >= LEAST_PLANE_MM:
                lower[part.id] = fitted.height_mm - 0.5
            else:
                taller = f"; {fitted.height_mm:g} mm high, a taller one would take {before:.2f} mm"
                words[part.id] = taller if cut.deepest_mm < before else ""
        if not lower:
            return case, {name: w for name, w in words.items() if w}
        case = replace(
            case,
            components=tuple(
                replace(c, plane_height_mm=lower[c.id]) if isinstance(c, GuidePlate) and c.id in lower else c for c in case.components
            ),
        )
