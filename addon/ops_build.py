"""Building: the core's pipeline in its own process, then its meshes as objects."""

import json
import math
from collections.abc import Iterator
from typing import Any

import bpy

from ..core.background import Process
from ..core.errors import CaseError
from . import bridge, document, jobs, materials

# role: object name and look
RESULTS = {"prepared": ("Prepared cast", "stone"), "master": ("Master cast", "wax"), "framework": ("Framework", "metal")}
SHARP_DEG = 40.0
TIP_WIDTH_MM = 0.25
TIP_SRGB = (0.85, 0.33, 0.10)


def put_results(scene: bpy.types.Scene, info: dict[str, Any], arrays: dict[str, Any], key: str, *, into: bool = False) -> None:
    """The meshes of a build as objects, and a line along each retentive tip. into: the meshes that are there take the new shapes."""
    for role in RESULTS:
        for _ in put_mesh(scene, role, arrays, key, into=into):
            pass
    put_tips(scene, info, arrays)
    put_words(scene, info, key)


def put_mesh(scene: bpy.types.Scene, role: str, arrays: dict[str, Any], key: str, *, into: bool = False) -> Iterator[None]:
    """One mesh of a build, signed with the key of its case: an undo may bring back the case and not the mesh. A pause after each piece."""
    name, look = RESULTS[role]
    vertices, faces = arrays[f"{role}_vertices"], arrays[f"{role}_faces"]
    source = bridge.digest_of(vertices, faces)
    found = bridge.find_object(scene, role)
    if not (found is not None and into and found.data.get(bridge.SOURCE) == source):
        data = bridge.to_blender(vertices, faces, name, into=found.data if found is not None and into else None)
        data[bridge.SOURCE] = data[bridge.BUILT] = ""  # not finished, should somebody look
        yield
        data.set_sharp_from_angle(angle=math.radians(SHARP_DEG))
        yield
        bridge.set_colours(data, "Look", materials.flat_colour(look, len(data.vertices)))
        bridge.show_colours(data, "Look")
        yield
        data[bridge.SOURCE], data[bridge.SHAPE] = source, bridge.shape_digest(data)  # an edit by hand is noticed by its shape
        found = bridge.put_object(scene, role, name, data) if found is None or not into else found
        materials.give(found, look)
    found.data[bridge.BUILT] = key


def put_tips(scene: bpy.types.Scene, info: dict[str, Any], arrays: dict[str, Any]) -> None:
    """A line along each retentive tip."""
    bridge.remove_objects(scene, [r for r in bridge.all_roles(scene) if r.startswith("tip ")])
    shown = scene.objects.get("Framework") is not None and not bridge.is_shown(scene, "prepared")
    for k, tip in enumerate(info["tips"]):
        name = f"Clasp tip {tip['tooth']}, {tip['planned_mm']:.2f} mm"
        curve = bpy.data.curves.new(name, "CURVE")
        curve.dimensions, curve.bevel_depth = "3D", TIP_WIDTH_MM
        bridge.set_lines(curve, [(arrays[f"tip_{k}"], False)])
        thing = bridge.put_object(scene, f"tip {k}", name, curve)
        thing.hide_select = True
        materials.give_ink(thing, "clasp tip", TIP_SRGB)
        bridge.show(thing, shown)


def put_words(scene: bpy.types.Scene, info: dict[str, Any], key: str) -> None:
    """What a build says: its checks and remarks, and of which case it is."""
    own = document.settings(scene)
    own.built_key = key
    own.checks = json.dumps(info["checks"], ensure_ascii=False)
    own.arms = json.dumps(info["arms"], ensure_ascii=False)
    document.notice(scene, "; ".join(info["remarks"][:2]))


class CLASPWRIGHT_OT_build(jobs.NeedsCase, jobs.JobOperator, bpy.types.Operator):
    """Build the framework of this case. The window stays free meanwhile; nothing is changed until it is done"""

    bl_idname = "claspwright.build"
    bl_label = "Build Framework"
    bl_options = {"REGISTER", "UNDO"}
    words = "Building"

    _key = ""
    _quick = False

    def begin(self, context: Any) -> tuple[Process, str, dict[str, Any]]:
        case = document.need_case(context.scene)
        if not any(t.seeds for t in case.chart.teeth):
            raise CaseError("no tooth is marked on the cast; mark each tooth that stands first")
        if not case.components:
            raise CaseError("the prescription is empty; add a component first")
        self._quick = bool(document.settings(context.scene).quick)
        self._key = document.case_key(case, self._quick)
        return jobs.builder, "build", {"case": document.as_json(case), "folder": case.folder, "quick": self._quick}

    def land(self, context: Any, info: dict[str, Any], arrays: dict[str, Any]) -> set[Any]:
        scene = context.scene
        if document.case_key(document.need_case(scene), self._quick) != self._key:
            raise CaseError("the case was changed while it was being built, so the result was left out; build it again")
        put_results(scene, info, arrays, self._key)
        document.settings(scene).built_quick = self._quick
        show_set(scene, "FRAMEWORK")
        failed = sum(c["status"] == "fail" for c in info["checks"])
        words = f"Framework built in {info['seconds']:.0f} s: {len(info['checks'])} checks, {failed} failed"
        self.report({"WARNING"} if failed else {"INFO"}, words)
        return {"FINISHED"}


# what: label, roles whose eye is open, description
VIEWS = {
    "SURVEY": ("Survey", ("cast", "contour", "gauge 0", "gauge 1", "gauge 2"), "The cast with its undercut and its lines"),
    "FRAMEWORK": ("Framework", ("prepared", "framework"), "The framework on the prepared cast"),
    "MASTER": ("Master cast", ("master",), "The blocked-out and relieved cast that the framework fits"),
    "METAL": ("Metal alone", ("framework", "tip"), "The framework alone, with the places of the retentive tips"),
}


def show_set(scene: bpy.types.Scene, what: str) -> None:
    """Open the eyes of one set of our objects and close those of the others."""
    shown = VIEWS[what][1]
    for role in bridge.all_roles(scene):
        bridge.show(bridge.find_object(scene, role), role in shown or role.split(" ")[0] in shown)


class CLASPWRIGHT_OT_view(bpy.types.Operator):
    """Show one set of objects"""

    bl_idname = "claspwright.view"
    bl_label = "Show"
    bl_options = {"REGISTER", "UNDO"}

    what: bpy.props.EnumProperty(name="What", items=[(key, label, words) for key, (label, _, words) in VIEWS.items()])

    @classmethod
    def poll(cls, context: Any) -> bool:
        return document.settings(context.scene).case_text != ""

    @classmethod
    def description(cls, context: Any, properties: Any) -> str:
        return VIEWS[properties.what][2]

    def execute(self, context: Any) -> set[Any]:
        def work() -> set[Any]:
            show_set(context.scene, self.what)
            return {"FINISHED"}

        return jobs.guarded(self, work)


CLASSES = (CLASPWRIGHT_OT_build, CLASPWRIGHT_OT_view)


register, unregister = bpy.utils.register_classes_factory(CLASSES)
