"""Faults planted in the lower sample's framework, each caught by the check that is meant to catch it; and none seen where there is none.

The framework is a real build (quick: coarse polished side, exact fitting side). A fault passes this test only when the check named
beside it fails (or warns, where a warning is all that check can say) on the changed framework; on the unchanged one it must not.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pytest
from claspwright.core import checks as c
from claspwright.core.checks import Check, CheckInput
from claspwright.core.checks.opposing import check_clearance
from claspwright.core.checks.rays import Rays
from claspwright.core.mesh import Mesh, once_a_mesh

from . import planting as p

pytestmark = pytest.mark.slow

RESTS = ("rest-34", "rest-44", "rest-33", "rest-43")
BASES = ("base-3", "base-4")
PLATES = ("guide-plate-34", "guide-plate-44")
STRUTS = ("minor-connector-34", "minor-connector-44", "minor-connector-33", "minor-connector-43")
CLASPS = ("I-bar-34", "I-bar-44")
BAR = "lingual-bar"
PARTS = (BAR, *BASES, *RESTS, *PLATES, *STRUTS, *CLASPS)
PAIRS = ((BAR,), BASES, RESTS[:2], RESTS[2:], PLATES, STRUTS[:2], STRUTS[2:], CLASPS)


class Fault(NamedTuple):
    name: str
    caught_by: str
    plant: Callable[[CheckInput], CheckInput]
    status: str = "fail"


def solid_faults() -> list[Fault]:
    found = []
    for part in (BAR, *CLASPS, "base-3"):
        found += [Fault(f"hole of {n} faces in {part}", "solid.watertight", lambda d, q=part, n=n: p.holed(d, q, n)) for n in (1, 40)]
        found.append(Fault(f"faces flipped in {part}", "solid.watertight", lambda d, q=part: p.flipped(d, p.faces_near(d, q, 25))))
        found.append(Fault(f"faces doubled in {part}", "solid.watertight", lambda d, q=part: p.doubled(d, p.faces_near(d, q, 3))))
        found.append(Fault(f"void in {part}", "solid.outward", lambda d, q=part: p.with_shell(d, p.inside_point(d, q), 0.1, True)))
        found.append(Fault(f"shell in {part}", "solid.one_body", lambda d, q=part: p.with_shell(d, p.inside_point(d, q), 0.1)))
        found.append(Fault(f"a corner of {part} pushed through", "solid.self_intersection", lambda d, q=part: p.pierced(d, q)))
        found.append(Fault(f"corners of {part} fall together", "solid.stored", lambda d, q=part: p.crowded(d, q)))
    found.append(Fault("all faces flipped", "solid.outward", lambda d: p.flipped(d, slice(None))))
    found += [Fault(f"speck of {s} mm far off", "solid.one_body", lambda d, s=s: p.with_shell(d, (0, -20, 5), s)) for s in (0.01, 1.0)]
    found += [Fault(f"sawn in two across {'xyz'[a]}", "solid.one_body", lambda d, a=a: p.split(d, a)) for a in (0, 1)]
    for name, factor in (("metres", 1e-3), ("inches", 1 / 25.4), ("centimetres", 0.1), ("micrometres", 1000.0), ("double", 2.0)):
        found.append(Fault(f"scale: {name}", "solid.scale", lambda d, f=factor: p.scaled(d, f)))
    found.append(Fault("a coordinate is no number", "solid.scale", p.not_a_number))
    return found


def place_faults() -> list[Fault]:
    """The whole framework in a wrong place, of a wrong size, on a wrong cast or a wrong path."""
    found = [Fault(f"seated {z} mm too deep", "fit.overlap", lambda d, z=z: p.moved(d, -z * d.path)) for z in (0.02, 0.1, 0.4)]
    found += [Fault(f"stands {z} mm too high", "fit.surface", lambda d, z=z: p.moved(d, z * d.path)) for z in (0.01, 0.1)]
    found += [Fault(f"stands {z} mm too high", "fit.gaps", lambda d, z=z: p.moved(d, z * d.path)) for z in (0.05, 0.2)]
    for name, shift in (("right", (0.06, 0, 0)), ("left", (-0.06, 0, 0)), ("forward", (0, 0.06, 0)), ("back", (0, -0.06, 0))):
        found.append(Fault(f"0.06 mm to the {name}", "insertion.rigid", lambda d, s=shift: p.moved(d, s)))
        found.append(Fault(f"0.01 mm to the {name}", "fit.surface", lambda d, s=shift: p.moved(d, np.array(s) / 6)))
    for axis in range(3):
        found.append(Fault(f"turned by 0.3 degrees about {'xyz'[axis]}", "fit.gaps", lambda d, a=axis: p.turned(d, a, 0.3)))
    found += [Fault(f"shrunk or grown to {f}", "fit.gaps", lambda d, f=f: p.scaled(d, f)) for f in (0.99, 0.977, 1.01)]
    for toward in range(0, 360, 90):
        found.append(Fault(f"path turned by 3 degrees toward {toward}", "insertion.rigid", lambda d, t=toward: p.tilted(d, 3.0, t)))
    mirror = np.diag([-1.0, 1, 1, 1])
    found.append(Fault("cast swapped for its mirror image", "fit.gaps", lambda d: p.other_cast(d, lambda m: m.transformed(mirror))))
    found.append(Fault("cast 1 mm off", "fit.gaps", lambda d: p.other_cast(d, lambda m: Mesh(m.vertices + [0, 1, 0], m.faces))))
    found.append(Fault("cast of another size", "fit.gaps", lambda d: p.other_cast(d, lambda m: Mesh(m.vertices * 1.02, m.faces))))
    found.append(Fault("cast swapped", "insertion.rigid", lambda d: p.other_cast(d, lambda m: Mesh(m.vertices * [1, 0.98, 1], m.faces))))
    found.append(Fault("framework of a doll", "form.mass", lambda d: p.scaled(d, 0.4)))
    found.append(Fault("framework of a giant", "form.mass", lambda d: p.scaled(d, 1.75)))
    return found


def on_both_sides(parts: tuple, plant: Callable[[CheckInput, object], CheckInput]) -> Callable[[CheckInput], CheckInput]:
    """The same fault in parts that lie on opposite sides of the arch, planted once for the checks of both; only the last one is kept."""

    def planted(good: CheckInput) -> CheckInput:
        if _last.get("by") is not planted:
            _last.clear()
            data = good
            for part in parts:
                data = plant(data, part)
            _last.update(by=planted, data=data)
        return _last["data"]

    return planted


_last: dict[str, object] = {}


def part_faults() -> list[Fault]:
    found = []
    for parts in PAIRS:
        share = 0.1 if parts == STRUTS[2:] else 0.2  # those are 3 mm deep or more where they meet the strut beside
        thin = on_both_sides(parts, lambda d, q, s=share: p.ground_down(d, q, 0.3) if q in RESTS else p.part_thinned(d, q, s))
        found += [Fault(f"{part} thinned", f"form.thickness.{part}", thin) for part in parts]
    for part in PARTS:
        found.append(Fault(f"{part} bent off the cast by 0.15 mm", "fit.gaps", lambda d, q=part: p.part_lifted(d, q, 0.15), "warn"))
        found.append(Fault(f"{part} bent into the cast by 0.15 mm", "fit.gaps", lambda d, q=part: p.part_lifted(d, q, -0.15), "warn"))
    for parts in ((BAR,), CLASPS):
        neck = on_both_sides(parts, lambda d, q: p.part_necked(d, q, 0.15))
        found += [Fault(f"neck in {part}", f"form.thickness.{part}", neck) for part in parts]
    for parts in (RESTS[:2], RESTS[2:]):
        for by in (0.12, 0.2, 0.3):
            high = on_both_sides(parts, lambda d, q, b=by: p.part_lifted(d, q, b))
            found += [Fault(f"{rest} lifted by {by} mm", f"fit.rest.{rest}", high) for rest in parts]
    found += [Fault(f"opposing teeth in {rest}", f"bite.{rest}", lambda d, q=rest: p.closing_plane(d, q, 0.2)) for rest in RESTS]
    found.append(Fault("opposing teeth touch", "bite.rest-34", lambda d: p.closing_plane(d, "rest-34", -0.1), "warn"))
    for out in (0.05, 0.1, 0.25, 0.6, -0.05, -0.1, -0.15, -0.3):
        bent = on_both_sides((0, 1), lambda d, k, o=out: p.tip_moved(d, k, o))
        found += [Fault(f"tip of {name} bent {out} mm outward", f"insertion.tip.{name}", bent) for name in CLASPS]
    for k, name in enumerate(CLASPS):
        found.append(Fault(f"tip of {name} lost", f"insertion.tip.{name}", lambda d, k=k: p.tip_lost(d, k)))
        found.append(Fault(f"{name} not counted as flexible", "insertion.rigid", lambda d, k=k: p.replace(d, tips=d.tips[1 - k : 2 - k])))
    for by in (1.0, 1.5, 2.5):
        found.append(Fault(f"bar {by} mm nearer to the margins", f"form.margin.{BAR}", lambda d, b=by: p.part_moved(d, BAR, (0, 0, b))))
    return found


FAULTS = [*solid_faults(), *place_faults(), *part_faults()]


@once_a_mesh
def thickness_of(metal: Mesh) -> c.Thickness:
    return c.local_thickness(metal, 8000)


def run(check_id: str, data: CheckInput) -> Check:
    """The one check with that id, as `run_checks` would make it."""
    metal, marks = data.framework, data.landmarks
    group, _, rest = check_id.partition(".")
    part = rest.partition(".")[2]
    region = next((r for r in data.regions if part and r.id == part or r.id == rest), None)
    if group == "solid":
        return getattr(c, f"check_{rest}")(metal)
    if check_id == "insertion.rigid":
        scenes = {"cast_scene": data.prepared_scene, "framework_scene": data.framework_scene}
        return c.check_rigid(metal, data.prepared, data.path, data.tips, marks, **scenes)
    if group == "insertion":
        return c.check_tip(metal, data.prepared_scene, data.path, next(t for t in data.tips if t.id == part), marks)
    if rest.startswith("rest."):
        return c.check_rest_contact(metal, region.mask, part, data.prepared_gaps, data.path, marks)
    if rest.startswith("thickness"):
        return c.check_thickness(metal, thickness_of(metal), region, marks)
    if rest.startswith("margin."):
        return c.check_margin_distance(metal, region.mask, part, data.margins, data.arch, marks)
    if group == "bite":
        return check_clearance(metal, region, Rays(data.opposing), data.path, marks)
    return {
        "fit.overlap": lambda: c.check_overlap(metal, data.prepared, marks),
        "fit.surface": lambda: c.check_fitting_surface(metal, data.master, marks, data.master_gaps),
        "fit.gaps": lambda: c.check_gap_map(metal, data.gap_map, marks),
        "form.mass": lambda: c.check_mass(metal, data.material),
    }[check_id]()


@pytest.fixture(scope="module")
def good(quick_lower) -> CheckInput:
    data = quick_lower.checked
    assert {r.id for r in data.regions} == set(PARTS) and [t.id for t in data.tips] == list(CLASPS)
    return data


def test_there_are_enough_faults_with_names_of_their_own():
    assert len(FAULTS) >= 150
    assert len({(f.name, f.caught_by) for f in FAULTS}) == len(FAULTS)


def test_nothing_fails_where_nothing_is_wrong(quick_lower):
    assert [x for x in quick_lower.checks if x.status == "fail"] == []
    seen = {x.id for x in quick_lower.checks}
    assert {f.caught_by for f in FAULTS if not f.caught_by.startswith("bite")} <= seen


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.name.replace(" ", "-"))
def test_fault_is_caught_by_the_check_that_is_meant_to(good: CheckInput, fault: Fault):
    data = fault.plant(good)
    for name, same in (("prepared_scene", data.prepared is good.prepared), ("master_scene", data.master is good.master)):
        if same:  # rays against an unchanged cast are made ready once
            data.__dict__[name] = getattr(good, name)
    check = run(fault.caught_by, data)
    assert check.id == fault.caught_by
    assert check.status in ("fail", fault.status), check
    assert check.words and check.source
