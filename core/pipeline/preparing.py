"""Mouth preparation of a case: which seats and planes its prescription asks for, cut into the cast."""

from __future__ import annotations

from ..case import Case, CingulumRest, OcclusalRest
from ..components import planes, planned_seat
from ..errors import GeometryError
from ..mesh import Mesh
from ..preparation import Prepared, fit_plane, prepare
from ..survey import Path
from ..teeth import Teeth


def prepare_mouth(case: Case, mesh: Mesh, teeth: Teeth, path: Path) -> tuple[Prepared, tuple[str, ...]]:
    """All seats and planes of a prescription, cut into the closed cast; one that misses its tooth is left out and said."""
    remarks: list[str] = []
    wanted_seats, wanted_planes = [], []
    for component in case.components:
        if isinstance(component, OcclusalRest | CingulumRest) and component.tooth in teeth.teeth:
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
