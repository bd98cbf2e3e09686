"""The sample cases: a made-up cast and a design for each; together they use every kind of component.

What each is to show stands in its function. Sizes and places are the trade's (sources: `core/case`); mouths and findings are invented.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from claspwright.core import case as doc
from claspwright.core.phantom import SAMPLES, PhantomSpec

Parts = list[doc.Component]
UPPER_THIRDS, LOWER_THIRDS = (18, 28), (38, 48)
TRIANGLES = 100_000  # of the casts beside the two that tests measure


@dataclass(frozen=True)
class Design:
    """What is prescribed, and what only the mouth could tell.

    sulcus_mm : least depth of the lingual sulcus; soft_tissue : findings; notes : why it is designed so
    """

    title: str
    components: Parts
    sulcus_mm: float | None = None
    soft_tissue: tuple[doc.SoftTissueEntry, ...] = ()
    material: Mapping[int, str] = field(default_factory=dict)
    why: str = ""


def _arms(tooth: int, origin: str, *, reach_deg: float, embrasure: bool = False) -> Parts:
    """A cast circumferential clasp, slighter on a premolar than on a molar (pattern practice; handbook, section 2.2)."""
    slight = {"base_width_mm": 1.5, "base_thickness_mm": 0.76} if tooth % 10 in (4, 5) else {"base_thickness_mm": 0.85}
    reach = {"reach_deg": 106.0} if embrasure else {}
    return [
        doc.RetentiveArm(f"retentive arm {tooth}", tooth, origin, reach_deg=reach_deg, **slight),
        doc.ReciprocalArm(f"reciprocal arm {tooth}", tooth, origin, **reach),
    ]


def _rest(tooth: int, side: str, **sizes: object) -> doc.OcclusalRest:
    """A rest, its seat less deep on a premolar."""
    depth = 1.0 if tooth % 10 in (4, 5) else 1.3
    return doc.OcclusalRest(f"rest {tooth} {side}", tooth, side, **{"depth_mm": depth, **sizes})  # type: ignore[arg-type]


def _minor(tooth: int, side: str) -> doc.MinorConnector:
    return doc.MinorConnector(f"minor connector {tooth}", tooth, side)


def _embrasure(front: int, behind: int, reach_deg: tuple[float, float]) -> Parts:
    """Two arms back to back through the embrasure of two standing teeth, from a pair of rests."""
    return [
        _rest(front, "distal", form="embrasure"),
        _rest(behind, "mesial", form="embrasure"),
        *_arms(front, "distal", reach_deg=reach_deg[0], embrasure=True),
        *_arms(behind, "mesial", reach_deg=reach_deg[1], embrasure=True),
    ]


def lower_class_i() -> Design:
    """Two free ends: mesial rests, guide plates, I-bars, cingulum rests as indirect retainers, lingual bar, lattice bases."""
    parts: Parts = [doc.LingualBar("lingual bar", start=34, end=44)]
    for quadrant in (3, 4):
        premolar, canine = quadrant * 10 + 4, quadrant * 10 + 3
        base = f"base {quadrant}"
        parts += [
            doc.LatticeBase(base, teeth=tuple(quadrant * 10 + p for p in (5, 6, 7)), stop=True),
            doc.OcclusalRest(f"rest {premolar}", premolar, "mesial", depth_mm=1.0),
            doc.MinorConnector(f"minor connector {premolar}", premolar, "mesial"),
            doc.GuidePlate(f"guide plate {premolar}", premolar, "distal", plane_height_mm=2.0),
            doc.IBar(f"I-bar {premolar}", premolar, base=base),
            doc.CingulumRest(f"rest {canine}", canine),
            doc.MinorConnector(f"minor connector {canine}", canine, "lingual"),
        ]
    return Design("Lower arch, Kennedy class I", parts, 9.5)


def upper_class_iii_mod_1() -> Design:
    """Two bounded gaps: four cast circumferential clasps, rests, guide plates, anteroposterior straps, lattice bases."""
    parts: Parts = [doc.PalatalStraps("palatal straps", anterior_width_mm=6.5, margin_mm=5.5)]
    for quadrant in (1, 2):
        parts.append(doc.LatticeBase(f"base {quadrant}", teeth=(quadrant * 10 + 5, quadrant * 10 + 6)))
        for tooth, side in ((quadrant * 10 + 4, "distal"), (quadrant * 10 + 7, "mesial")):
            premolar = tooth % 10 == 4
            parts += [
                doc.OcclusalRest(f"rest {tooth}", tooth, side, depth_mm=1.0 if premolar else 1.3),
                doc.GuidePlate(f"guide plate {tooth}", tooth, side),
                *_arms(tooth, side, reach_deg=132.0 if premolar else 145.0),
            ]
    return Design("Upper arch, Kennedy class III modification 1", parts)


def upper_class_iv() -> Design:
    """Four front teeth; a palatal torus leaves room for a U-shaped plate only; an embrasure clasp far back on either side."""
    parts: Parts = [doc.UShapedPlate("U-shaped plate", start=16, end=26, thickness_mm=1.3)]
    parts.append(doc.LatticeBase("base", teeth=(12, 11, 21, 22)))
    for quadrant in (1, 2):
        canine = quadrant * 10 + 3
        parts += [
            doc.CingulumRest(f"rest {canine}", canine),
            doc.GuidePlate(f"guide plate {canine}", canine, "mesial", plane_height_mm=2.0, width_deg=60.0),
            *_embrasure(quadrant * 10 + 6, quadrant * 10 + 7, (110.0, 120.0)),
        ]
    torus = doc.SoftTissueEntry("torus", (16, 26), "palatal torus in the middle third")
    return Design("Upper arch, Kennedy class IV", parts, soft_tissue=(torus,))


def upper_class_ii_mod_1() -> Design:
    """One free end and one molar: a wide strap, a wrought wire combination clasp and a mesh base on the free end, a metal base with posts
    in the short gap, a rest on the first premolar opposite as indirect retainer."""
    parts: Parts = [
        doc.PalatalPlate("palatal strap", margin_mm=6.0),
        doc.LatticeBase("base 2", teeth=(25, 26, 27), form="mesh", stop=True),
        _rest(24, "mesial"),
        _minor(24, "mesial"),
        doc.GuidePlate("guide plate 24", 24, "distal", plane_height_mm=2.0),
        doc.WireArm("wire 24", 24, base="base 2", origin="distal"),
        doc.ReciprocalArm("reciprocal arm 24", 24, "distal"),
        doc.BeadPlate("base 1", teeth=(16,), form="posts"),
        _rest(15, "distal"),
        doc.GuidePlate("guide plate 15", 15, "distal"),
        *_arms(15, "distal", reach_deg=132.0),
        _rest(17, "mesial"),
        doc.GuidePlate("guide plate 17", 17, "mesial"),
        *_arms(17, "mesial", reach_deg=145.0),
        _rest(14, "mesial"),
        _minor(14, "mesial"),
    ]
    return Design("Upper arch, Kennedy class II modification 1", parts)


def upper_class_i() -> Design:
    """Six front teeth remain: a complete palatal plate, ball rests on both canines and half T-bars from the bases."""
    parts: Parts = [doc.PalatalPlate("palatal plate", complete=True, thickness_mm=0.7)]
    for quadrant in (1, 2):
        canine, base = quadrant * 10 + 3, f"base {quadrant}"
        parts += [
            doc.LatticeBase(base, teeth=tuple(quadrant * 10 + p for p in (4, 5, 6, 7)), stop=True),
            doc.CingulumRest(f"rest {canine}", canine, form="ball"),
            doc.MinorConnector(f"minor connector {canine}", canine, "lingual"),
            doc.GuidePlate(f"guide plate {canine}", canine, "distal", plane_height_mm=2.0, width_deg=50.0),
            doc.TBar(f"T-bar {canine}", canine, base=base, towards="distal", modified=True, head_width_mm=1.2),
        ]
    return Design("Upper arch, Kennedy class I", parts)


def lower_class_iii() -> Design:
    """A second molar tipped into a gap, borne by two rests and held by a ring clasp; an embrasure clasp opposite; the sulcus is shallow,
    so a sublingual bar joins them."""
    parts: Parts = [
        doc.SublingualBar("sublingual bar", start=34, end=46, height_mm=2.8),
        doc.LatticeBase("base 3", teeth=(35, 36)),
        _rest(34, "distal"),
        doc.GuidePlate("guide plate 34", 34, "distal"),
        *_arms(34, "distal", reach_deg=132.0),
        _rest(37, "mesial", form="long"),
        _rest(37, "distal"),
        doc.GuidePlate("guide plate 37", 37, "mesial", width_deg=45.0),
        doc.RingArm("ring arm 37", 37, "mesial", "facial", base="base 3", reach_deg=295.0),
        *_embrasure(46, 47, (106.0, 120.0)),
        _minor(47, "mesial"),
    ]
    return Design("Lower arch, Kennedy class III", parts, 7.5)


def lower_class_ii_mod_1() -> Design:
    """One free end, one molar: a lingual bar with a continuous bar on weak incisors; a reverse circumferential clasp before the free end;
    an extended arm where the tooth beside the space gives no hold; a metal base with beads; an incisal rest."""
    parts: Parts = [
        doc.LingualBar("lingual bar", start=35, end=45),
        doc.ContinuousBar("continuous bar", start=33, end=43, height_mm=2.2),
        doc.LatticeBase("base 3", teeth=(36, 37), stop=True),
        _rest(35, "mesial"),
        _minor(35, "mesial"),
        doc.GuidePlate("guide plate 35", 35, "distal", plane_height_mm=2.0),
        _arms(35, "mesial", reach_deg=124.0)[0],  # rest, plate and arm: connector and plate stand against it
        doc.BeadPlate("base 4", teeth=(46,)),
        _rest(45, "distal"),
        doc.GuidePlate("guide plate 45", 45, "distal"),
        doc.ExtendedArm("extended arm 45", 45, onto=44, base_width_mm=1.5, base_thickness_mm=0.8, reach_deg=110.0),
        doc.ReciprocalArm("reciprocal arm 45", 45, "distal"),
        _rest(47, "mesial"),
        doc.GuidePlate("guide plate 47", 47, "mesial"),
        *_arms(47, "mesial", reach_deg=145.0),
        _rest(34, "mesial"),
        _minor(34, "mesial"),
        doc.IncisalRest("rest 43", 43, "mesial"),
        doc.MinorConnector("minor connector 43", 43, "lingual"),
    ]
    return Design("Lower arch, Kennedy class II modification 1", parts, 9.5)


def lower_class_i_plate() -> Design:
    """Two long free ends and a shallow sulcus: a lingual plate up to the cingula, T-bars on both canines."""
    parts: Parts = [doc.LingualPlate("lingual plate", start=33, end=43)]
    for quadrant in (3, 4):
        canine, base = quadrant * 10 + 3, f"base {quadrant}"
        parts += [
            doc.LatticeBase(base, teeth=tuple(quadrant * 10 + p for p in (4, 5, 6, 7)), stop=True),
            doc.CingulumRest(f"rest {canine}", canine),
            doc.GuidePlate(f"guide plate {canine}", canine, "distal", plane_height_mm=2.0, width_deg=45.0),
            doc.TBar(f"T-bar {canine}", canine, base=base, towards="distal", head_deg=30.0, head_width_mm=1.2),
        ]
    return Design("Lower arch, Kennedy class I, shallow sulcus", parts, 6.5)


def lower_class_iii_mod_1() -> Design:
    """Mandibular tori leave no room at the tongue: a labial bar; two gaps; on the first premolars a back-action clasp, which holds in the
    deep lingual undercut of a leaning crown, and a half-and-half clasp: two arms from two connectors."""
    parts: Parts = [
        doc.LabialBar("labial bar", start=34, end=44),
        doc.MinorConnector("minor connector 34", 34, "mesial"),
        doc.MinorConnector("minor connector 44", 44, "mesial"),
        doc.BackActionArm("back-action arm 34", 34, "mesial", "facial", base_width_mm=1.5, base_thickness_mm=0.8),
        _rest(34, "mesial"),
        _rest(44, "mesial"),
        doc.RetentiveArm("retentive arm 44", 44, "mesial", base_width_mm=1.5, base_thickness_mm=0.76, reach_deg=124.0),
        doc.ReciprocalArm("reciprocal arm 44", 44, "distal"),
    ]
    for quadrant in (3, 4):
        molar, premolar = quadrant * 10 + 7, quadrant * 10 + 4
        parts += [
            doc.LatticeBase(f"base {quadrant}", teeth=(quadrant * 10 + 5, quadrant * 10 + 6)),
            _rest(molar, "mesial"),
            doc.GuidePlate(f"guide plate {molar}", molar, "mesial"),
            *_arms(molar, "mesial", reach_deg=145.0),
            _rest(premolar, "distal"),
            doc.GuidePlate(f"guide plate {premolar}", premolar, "distal"),
        ]
    torus = doc.SoftTissueEntry("torus", (34, 44), "mandibular tori on both sides")
    return Design("Lower arch, Kennedy class III modification 1", parts, 9.5, soft_tissue=(torus,))


CASES: dict[str, Callable[[], Design]] = {
    f.__name__: f
    for f in (
        lower_class_i, upper_class_iii_mod_1, upper_class_iv, upper_class_ii_mod_1, upper_class_i,
        lower_class_iii, lower_class_ii_mod_1, lower_class_i_plate, lower_class_iii_mod_1,
    )
}  # fmt: skip


def _cast(missing: tuple[int, ...], seed: int, **more: object) -> PhantomSpec:
    upper = missing[0] < 30
    return PhantomSpec(
        "upper" if upper else "lower", missing, UPPER_THIRDS if upper else LOWER_THIRDS, seed=seed, triangles=TRIANGLES, **more  # type: ignore[arg-type]
    )


CASTS: dict[str, PhantomSpec] = {
    "lower_class_i": SAMPLES["lower_class_i"],
    "upper_class_iii_mod_1": SAMPLES["upper_class_iii_mod_1"],
    "upper_class_iv": _cast((11, 12, 21, 22), 21, tilts={16: (0.0, 9.0), 17: (0.0, 4.0), 26: (0.0, 9.0), 27: (0.0, 4.0)}),
    "upper_class_ii_mod_1": _cast((16, 25, 26, 27), 22, scales={24: 1.1, 15: 1.12}),
    "upper_class_i": _cast((14, 15, 16, 17, 24, 25, 26, 27), 23, tilts={13: (0.0, 7.0), 23: (0.0, 7.0)}),
    "lower_class_iii": _cast((35, 36), 24, tilts={37: (18.0, -8.0), 46: (0.0, 12.0), 47: (0.0, 8.0)}, scales={34: 1.18}),
    "lower_class_ii_mod_1": _cast((36, 37, 46), 25, scales={35: 1.18, 44: 1.1}),
    "lower_class_i_plate": _cast((34, 35, 36, 37, 44, 45, 46, 47), 28, tilts={33: (0.0, 6.0), 43: (0.0, 6.0)}),
    "lower_class_iii_mod_1": _cast((35, 36, 45, 46), 27, tilts={34: (0.0, -6.0)}, scales={34: 1.1, 44: 1.18}),
}
