"""What lies under the pointer: lines of sight in the cast's own frame, and the other way, places of the cast in the view."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bpy_extras import view3d_utils
from mathutils import Vector

from ..core.errors import ClaspwrightError
from . import bridge, document

if TYPE_CHECKING:
    from ..core.case import Case
    from ..core.survey import Path
    from ..core.survey.handles import Sight


def path_of(anteroposterior_deg: float, lateral_deg: float) -> Path:
    """A path of placement. The survey's room is loaded when it is first asked for, not when Blender starts."""
    from ..core.survey import Path

    return Path(anteroposterior_deg, lateral_deg)


def array(vector: Any) -> Any:
    """A place or a direction (3,) for the core."""
    import numpy as np

    return np.array([float(v) for v in vector], dtype=np.float64)


def corners(things: list[Any]) -> Any:
    """Corners (8 n, 3) of the boxes of objects, in the scene's frame and units."""
    import numpy as np

    return np.array([t.matrix_world @ Vector(c) for t in things for c in t.bound_box], dtype=np.float64)


def standing(thing: Any) -> tuple[Any, float]:
    """Foot of the rod on our object and its length, mm, in the object's own frame."""
    import numpy as np

    from ..core.survey import handles

    return handles.standing(np.array([tuple(c) for c in thing.bound_box], dtype=np.float64))


def sight_at(context: Any, thing: Any, spot: tuple[float, float]) -> Sight:
    """The line of sight through a place of the region (pixels), in the frame of our object, mm."""
    from ..core.survey.handles import sight

    region, view = view_of(context)
    back = thing.matrix_world.inverted()
    start = back @ view3d_utils.region_2d_to_origin_3d(region, view, spot)
    way = back.to_3x3() @ view3d_utils.region_2d_to_vector_3d(region, view, spot)
    return sight(start, way)


def sight_of(context: Any, event: Any, thing: Any) -> Sight:
    """The line of sight under the pointer."""
    region, _ = view_of(context)
    return sight_at(context, thing, (event.mouse_x - region.x, event.mouse_y - region.y))


def hit_at(context: Any, thing: Any, spot: tuple[float, float]) -> tuple[float, float, float] | None:
    """The point of our object under a place of the region, mm, or None."""
    look = sight_at(context, thing, spot)
    hit, point, _, _ = thing.ray_cast(Vector(tuple(look.start)), Vector(tuple(look.way)))
    return (point[0], point[1], point[2]) if hit else None


def seen_at(context: Any, thing: Any, point: Any) -> tuple[float, float] | None:
    """Where a place of the cast (mm) lies in the region, pixels; None behind the viewer."""
    region, view = view_of(context)
    flat = view3d_utils.location_3d_to_region_2d(region, view, thing.matrix_world @ Vector(tuple(point)))
    return (flat.x, flat.y) if flat is not None else None


def hidden(context: Any, thing: Any, point: Any) -> bool:
    """Whether our object stands before a place (mm)."""
    spot = seen_at(context, thing, point)
    if spot is None:
        return True
    look = sight_at(context, thing, spot)
    start, way = Vector(tuple(look.start)), Vector(tuple(look.way))
    room = (Vector(tuple(point)) - start).dot(way) - 0.6  # what lies on the surface must not hide itself
    return room > 0 and bool(thing.ray_cast(start, way, distance=room)[0])


def view_of(context: Any) -> tuple[Any, Any]:
    """The main region of the 3D view and how it looks."""
    region = context.region
    if region is None or region.type != "WINDOW":
        region = next(r for r in context.area.regions if r.type == "WINDOW")
    return region, context.area.spaces.active.region_3d


def need_view(context: Any) -> bool:
    """For polls: the pointer is in a 3D view."""
    return context.area is not None and context.area.type == "VIEW_3D"


def case_and_cast(scene: Any) -> tuple[Case | None, Any]:
    """The case and its cast, for what is drawn over the view; None for what is not there or cannot be read."""
    try:
        return document.find_case(scene), bridge.find_object(scene, "cast")
    except ClaspwrightError:
        return None, None


def cast_in_view(context: Any) -> Any:
    """The cast where it can be handled in this view, else None."""
    thing = bridge.find_object(context.scene, "cast")
    return thing if thing is not None and thing.mode == "OBJECT" and thing.visible_get() else None


def cast_shown(context: Any) -> Any:
    """The cast or, where that is hidden, the prepared cast: what components can be handled on in this view; None without either."""
    found = (bridge.find_object(context.scene, role) for role in ("cast", "prepared"))
    return next((t for t in found if t is not None and t.mode == "OBJECT" and t.visible_get()), None)


def over_view(context: Any, event: Any) -> bool:
    """Whether the pointer is on the view itself, not on a panel that lies over it."""
    if context.area is None:
        return False
    over = [r.type for r in context.area.regions if r.x <= event.mouse_x < r.x + r.width and r.y <= event.mouse_y < r.y + r.height]
    return over == ["WINDOW"]
