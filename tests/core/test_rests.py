"""The forms of rests on a made-up arch, measured on the metal cut to its seats against the handbook's dimensions (section 3)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from claspwright.core.case import AnyRest, CingulumRest, IncisalRest, OcclusalRest
from claspwright.core.charts import CrownChart
from claspwright.core.checks.fit import face_gaps
from claspwright.core.checks.rests import check_rest_floor, check_rest_width
from claspwright.core.components import Site, planned_seat
from claspwright.core.components.rests import rest
from claspwright.core.errors import ComponentError
from claspwright.core.mesh import Mesh
from claspwright.core.output.wording import describe
from claspwright.core.phantom import PhantomSpec, make_phantom
from claspwright.core.preparation import RestSeatSpec, prepare
from claspwright.core.solids.fields import Blend
from claspwright.core.survey import Path, survey
from claspwright.core.teeth import find_teeth

pytestmark = pytest.mark.slow

RESTS: dict[str, AnyRest] = {
    "long": OcclusalRest("long", 47, "mesial", form="long"),
    "short": OcclusalRest("short", 44, "distal", depth_mm=1.0),
    "pair a": OcclusalRest("pair a", 35, "distal", depth_mm=1.0, form="embrasure"),
    "pair b": OcclusalRest("pair b", 36, "mesial", form="embrasure"),
    "ball": CingulumRest("ball", 43, form="ball"),
    "incisal": IncisalRest("incisal", 33),
}


@pytest.fixture(scope="module")
def site() -> Site:
    spec = PhantomSpec("lower", missing=(45, 46), absent=(38, 48), seed=13, triangles=60_000)
    made = make_phantom(spec)
    teeth = find_teeth(made.mesh, "lower", {k: np.atleast_2d(p) for k, p in made.seeds.items()}, spec.missing)
    path = Path(0.0, 0.0)
    found = survey(made.mesh, path, np.asarray(teeth.labels, dtype=np.int64))
    charts = {r.tooth: CrownChart(made.mesh, teeth[r.tooth], found) for r in RESTS.values()}
    seats = [planned_seat(r, teeth, made.mesh, path.vector) for r in RESTS.values()]
    prepared = prepare(made.mesh, teeth, path, seats).mesh
    return Site(made.mesh, prepared, prepared, teeth, charts, None, path)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def metal(site: Site) -> dict[str, tuple[Mesh, RestSeatSpec]]:
    """Each rest alone, cut by the prepared cast."""
    out = {}
    for name, spec in RESTS.items():
        built = rest(spec, site, tuple(RESTS.values()))
        solid = Blend(built.shapes, 0.0).mesh(0.2).to_manifold() - site.prepared.to_manifold()
        assert built.seat is not None
        out[name] = Mesh.from_manifold(max(solid.decompose(), key=lambda p: p.volume())), built.seat
    return out


def section(mesh: Mesh, seat: RestSeatSpec, axis: int, at: float) -> shapely.Geometry:
    """The metal cut by a plane square to one of the seat's axes (0 inward, 1 across), in the other two (manifold3d and shapely)."""
    order = {0: [1, 2, 0], 1: [2, 0, 1]}[axis]  # turned, not mirrored
    local = ((mesh.vertices - seat.point) @ seat.axes.T)[:, order]
    rings = Mesh(local, mesh.faces).to_manifold().slice(at).to_polygons()
    cut = shapely.unary_union([shapely.Polygon(r) for r in rings])
    return cut if axis == 0 else shapely.transform(cut, lambda p: p[:, ::-1])


def test_occlusal_rests_are_as_wide_and_thick_at_the_ridge_as_the_handbook_wants(metal) -> None:
    """2.5 mm or more wide; 1.0 to 1.5 mm of metal over the lowered ridge, and what stands proud."""
    for name in ("short", "long", "pair a", "pair b"):
        mesh, seat = metal[name]
        cut = section(mesh, seat, 0, 0.1)
        low, _, high, _ = cut.bounds
        assert high - low >= 2.4, name
        height = cut.intersection(shapely.LineString([(0, -5), (0, 5)])).length
        assert 1.0 <= height <= seat.depth_mm + 0.9, (name, height)


def test_a_long_rest_covers_more_than_half_of_its_crown(site: Site, metal) -> None:
    """More than half of the crown mesiodistally, 1 mm thick (McCracken's, from memory)."""
    mesh, seat = metal["long"]
    crown = site.cast.vertices[np.unique(site.cast.faces[site.teeth[47].faces])]
    along, inside = np.ptp(crown @ seat.inward), np.ptp(mesh.vertices @ seat.inward)
    assert 0.52 * along < inside < 0.8 * along
    cut = section(mesh, seat, 1, 0.0)
    for x in np.linspace(0.2, seat.length_mm - 0.7, 6):
        assert cut.intersection(shapely.LineString([(x, -6), (x, 6)])).length > 0.95


def test_a_pair_meets_over_the_embrasure_and_leaves_the_contact(site: Site, metal) -> None:
    (a, seat), (b, _) = metal["pair a"], metal["pair b"]
    assert (a.to_manifold() ^ b.to_manifold()).volume() > 0.5
    taken = site.cast.to_manifold() - site.prepared.to_manifold()
    between = [p for p in taken.decompose() if np.linalg.norm(Mesh.from_manifold(p).vertices - seat.point, axis=1).min() < 1.0]
    depth = seat.point[2] - min(Mesh.from_manifold(p).vertices[:, 2].min() for p in between)
    assert depth < seat.depth_mm + 0.5 + 0.7  # no slot is cut down between the crowns


def test_ball_and_incisal_rests_have_their_sizes(metal) -> None:
    """Ball 1.5 to 2 mm across (Stewart's, from memory); notch 2.5 mm wide and 1.5 mm deep (McCracken's, from memory)."""
    mesh, seat = metal["ball"]
    assert 1.5 <= np.ptp((mesh.vertices - seat.point) @ seat.axes[1]) <= 2.0
    mesh, seat = metal["incisal"]
    local = (mesh.vertices - seat.point) @ seat.axes.T
    assert -local[np.abs(local[:, 1]) < 0.4, 2].min() == pytest.approx(1.5, abs=0.1)
    low, _, high, _ = section(mesh, seat, 1, 0.0).bounds
    assert high - low == pytest.approx(2.5, abs=0.45)


def test_the_checks_measure_what_was_asked_and_see_a_narrow_rest(site: Site, metal) -> None:
    mesh, seat = metal["short"]
    gaps, all_of_it = face_gaps(mesh, site.prepared), np.ones(len(mesh.vertices), dtype=bool)
    width = check_rest_width(mesh, all_of_it, "short", gaps, seat)
    assert width.status == "pass" and width.value == pytest.approx(2.6, abs=0.3)
    (floor,) = check_rest_floor(mesh, all_of_it, "short", gaps, seat)
    assert floor.status == "pass" and floor.value < 85.0
    half = all_of_it & (((mesh.vertices - seat.point) @ seat.axes[1]) > 0.0)
    assert check_rest_width(mesh, half, "short", gaps, seat).status == "warn"
    (turned,) = check_rest_floor(mesh, all_of_it, "short", gaps, replace(seat, inward=-seat.inward, point=seat.point + 1.1 * seat.inward))
    assert turned.status == "warn"


def test_a_seat_runs_along_its_crown(site: Site) -> None:
    """Its long axis follows the crown's own from the ridge inward (common practice); a pit that lies aside does not turn it across."""
    for fdi in (44, 47, 34, 35, 36, 37):
        tooth = site.teeth.teeth[fdi]
        for side in ("mesial", "distal"):
            seat = planned_seat(OcclusalRest("r", fdi, side), site.teeth, site.cast, site.up)
            assert seat.inward @ -tooth.direction(side) > 0.99 * np.cos(np.radians(50.0)), (fdi, side)
            aside = replace(tooth, cusps=tooth.cusps + 2.5 * tooth.facial)  # a worn or badly scanned crown: its hollow is found far aside
            moved = replace(site.teeth, teeth={**site.teeth.teeth, fdi: aside})
            turned = planned_seat(OcclusalRest("r", fdi, side), moved, site.cast, site.up)
            assert turned.inward @ -tooth.direction(side) > 0.99 * np.cos(np.radians(50.0)), (fdi, side)


def test_a_rest_that_cannot_be_made_says_why(site: Site) -> None:
    alone = RESTS["pair a"]
    with pytest.raises(ComponentError, match="mesial side of 36"):
        rest(alone, site, (alone,))
    beside_gap = OcclusalRest("gap", 44, "distal", form="embrasure")
    with pytest.raises(ComponentError, match="no tooth stands distal of 44"):
        rest(beside_gap, site, (beside_gap,))


def test_every_form_has_its_words() -> None:
    assert [describe(r).part for r in RESTS.values()] == [
        "Long occlusal rest", "Occlusal rest", "Embrasure rest", "Embrasure rest", "Ball rest", "Incisal rest",
    ]  # fmt: skip
