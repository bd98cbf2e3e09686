"""Between Blender's data and the core's arrays: bulk transfer, units, and the objects that belong to the add-on.

The core is in millimetres. Mesh data of our objects is in millimetres too, always; the object's scale turns it into the scene's units.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ..core.errors import CaseError

if TYPE_CHECKING:
    from ..core.mesh import Mesh

COLLECTION = "Claspwright"
ROLE = "claspwright_role"
SOURCE, SHAPE, BUILT = "claspwright_arrays", "claspwright_shape", "claspwright_built"  # on the meshes of a build
STARTUP = {"Camera", "Cube", "Light"}


def is_new(scene: bpy.types.Scene) -> bool:
    """Nothing of the user's own is in the scene: never saved, and empty or with the three start-up objects alone."""
    return not bpy.data.filepath and {o.name for o in scene.objects} <= STARTUP


def prepare_units(scene: bpy.types.Scene) -> None:
    """In a new scene let one Blender unit be a millimetre; a scene that holds something keeps its units."""
    if not is_new(scene):
        return
    scene.unit_settings.system = "METRIC"
    scene.unit_settings.scale_length = 0.001
    scene.unit_settings.length_unit = "MILLIMETERS"
    for thing in scene.objects:  # what Blender starts with would stand inside the cast; hidden, not removed
        thing.hide_set(True)
        thing.hide_render = thing.hide_render or thing.name == "Cube"


def units_per_mm(scene: bpy.types.Scene) -> float:
    """Blender units that a millimetre measures in this scene."""
    return 0.001 / scene.unit_settings.scale_length


def collection(scene: bpy.types.Scene) -> bpy.types.Collection:
    """Our collection in this scene, made when missing."""
    for child in scene.collection.children_recursive:
        if child.name.split(".")[0] == COLLECTION:
            return child
    made = bpy.data.collections.new(COLLECTION)
    scene.collection.children.link(made)
    return made


def find_object(scene: bpy.types.Scene, role: str) -> Any:
    """Our object with this role; found by what it is, so that the user may rename it."""
    return next((o for o in scene.objects if o.get(ROLE) == role), None)


def need_cast(scene: bpy.types.Scene) -> Any:
    """The cast in the view. Raises CaseError where there is none."""
    found = find_object(scene, "cast")
    if found is None:
        raise CaseError("the cast is not in this scene any more; undo, or open the scan again")
    return found


def put_object(scene: bpy.types.Scene, role: str, name: str, data: Any) -> Any:
    """Show `data` (mm) as our object with this role: the old one gets the new data, so its name and place stay the user's."""
    found = find_object(scene, role)
    if found is not None:
        old = found.data
        found.data = data
        if old is not None and old.users == 0:
            bpy.data.batch_remove([old])
        return found
    made = bpy.data.objects.new(name, data)
    made[ROLE] = role
    made.scale = (units_per_mm(scene),) * 3
    made.lock_location = made.lock_rotation = made.lock_scale = (True, True, True)  # they belong together; unlock to move
    collection(scene).objects.link(made)
    return made


def show(thing: bpy.types.Object | None, shown: bool) -> None:
    """Open or close Blender's own eye of an object, where it is in the view layer."""
    layer = bpy.context.view_layer
    if thing is not None and layer is not None and thing.name in layer.objects:
        thing.hide_set(not shown)


def is_shown(scene: bpy.types.Scene, role: str) -> bool:
    """Whether our object with this role is there and can be seen."""
    found = find_object(scene, role)
    return found is not None and bool(found.visible_get())


def digest_of(*arrays: NDArray) -> str:
    """SHA-256 of arrays."""
    return hashlib.sha256(b"".join(a.tobytes() for a in arrays)).hexdigest()


def remove_objects(scene: bpy.types.Scene, roles: Iterable[str]) -> None:
    """Take our objects with these roles out of the file, their data too where nothing else uses it."""
    for role in roles:
        found = find_object(scene, role)
        if found is None:
            continue
        data = found.data
        bpy.data.objects.remove(found, do_unlink=True)
        if data is not None and data.users == 0:
            bpy.data.batch_remove([data])


def all_roles(scene: bpy.types.Scene) -> list[str]:
    """The roles of our objects in this scene."""
    return [role for o in scene.objects if (role := o.get(ROLE))]


def to_blender(vertices: NDArray, faces: NDArray, name: str, *, sharp_deg: float | None = None, into: Any = None) -> Any:
    """A Blender mesh of vertices (n, 3) in mm and triangles (m, 3), smooth-shaded; edges sharper than `sharp_deg` stay sharp.

    into: a mesh that takes the new shape in the place of its own
    """
    data = bpy.data.meshes.new(name) if into is None else into
    data.clear_geometry()
    data.vertices.add(len(vertices))
    data.vertices.foreach_set("co", vertices.astype(np.float32).ravel())
    data.loops.add(3 * len(faces))
    data.loops.foreach_set("vertex_index", faces.astype(np.int32).ravel())
    data.polygons.add(len(faces))
    data.polygons.foreach_set("loop_start", np.arange(0, 3 * len(faces), 3, dtype=np.int32))
    data.update(calc_edges=True)
    data.shade_smooth()
    if sharp_deg is not None:
        data.set_sharp_from_angle(angle=float(np.radians(sharp_deg)))
    return data


def points_of(data: bpy.types.Mesh) -> NDArray:
    """(n, 3) corners of one of our meshes, in mm."""
    points = np.zeros(3 * len(data.vertices), dtype=np.float32)
    data.vertices.foreach_get("co", points)
    return points.reshape(-1, 3)


def to_core(data: bpy.types.Mesh) -> Mesh:
    """The triangles of one of our meshes, in mm (rounded to Blender's single precision, about 0.000004 mm on a cast)."""
    from ..core.mesh import Mesh

    data.calc_loop_triangles()
    faces = np.zeros(3 * len(data.loop_triangles), dtype=np.int32)
    data.loop_triangles.foreach_get("vertices", faces)
    return Mesh(points_of(data).astype(np.float64), faces.reshape(-1, 3).astype(np.int64))


def set_colours(data: Any, name: str, linear: NDArray) -> None:
    """A colour (n, 3) in linear light a vertex, under a name, and shown."""
    layer = data.color_attributes.get(name)
    if layer is None or layer.domain != "POINT" or len(layer.data) != len(data.vertices):
        if layer is not None:
            data.color_attributes.remove(layer)
        layer = data.color_attributes.new(name, "FLOAT_COLOR", "POINT")
    full = np.ones((len(linear), 4), dtype=np.float32)
    full[:, :3] = linear
    layer.data.foreach_set("color", full.ravel())
    data.update()


def show_colours(data: bpy.types.Mesh, name: str) -> None:
    """Make a colour attribute the one that views and renders use."""
    index = data.color_attributes.find(name)
    if index >= 0 and data.color_attributes.active_color_index != index:
        data.color_attributes.active_color_index = index
        data.color_attributes.render_color_index = index


def set_numbers(data: Any, name: str, values: NDArray, kind: str) -> None:
    """One number a vertex under a name; kind is Blender's word, "INT" or "FLOAT"."""
    layer = data.attributes.get(name) or data.attributes.new(name, kind, "POINT")
    layer.data.foreach_set("value", np.ascontiguousarray(values, dtype=np.int32 if kind == "INT" else np.float32))


def get_numbers(data: Any, name: str, kind: str) -> NDArray | None:
    """The numbers (n,) stored under a name, or None."""
    layer = data.attributes.get(name)
    if layer is None or len(layer.data) != len(data.vertices):
        return None
    values = np.zeros(len(data.vertices), dtype=np.int32 if kind == "INT" else np.float32)
    layer.data.foreach_get("value", values)
    return values


def set_lines(curve: bpy.types.Curve, lines: Sequence[tuple[NDArray, bool]]) -> None:
    """Replace the lines of a curve by polylines: points (k, 3) in mm, and whether each is closed."""
    curve.splines.clear()
    for points, closed in lines:
        spline = curve.splines.new("POLY")
        spline.points.add(len(points) - 1)
        full = np.ones((len(points), 4), dtype=np.float32)
        full[:, :3] = points
        spline.points.foreach_set("co", full.ravel())
        spline.use_cyclic_u = closed


def shape_digest(data: bpy.types.Mesh) -> str:
    """SHA-256 of a mesh's corners and faces: tells whether somebody edited it."""
    points = np.zeros(3 * len(data.vertices), dtype=np.float32)
    data.vertices.foreach_get("co", points)
    corners = np.zeros(len(data.loops), dtype=np.int32)
    data.loops.foreach_get("vertex_index", corners)
    return hashlib.sha256(points.tobytes() + corners.tobytes()).hexdigest()
