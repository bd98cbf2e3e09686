"""Where the landmarks of made-up crowns truly are, from the anatomy's own field: no mesh, no noise, no step of a grid."""

from __future__ import annotations

from ..mesh import Floats
from .anatomy import Anatomy
from .sides import true_sides
from .true_tops import true_cusps, true_fossae, true_ridge
from .true_walls import contact, wall_crest


def cusps_of(anatomy: Anatomy) -> dict[int, Floats]:
    """For each crown (c, 3) its cusp tips, mm, cast frame."""
    sides = true_sides(anatomy.row)
    return {fdi: true_cusps(tooth, sides[fdi][0]) for fdi, tooth in anatomy.teeth.items()}


def true_landmarks(anatomy: Anatomy, cusps: dict[int, Floats]) -> dict[int, dict[str, Floats]]:
    """For each crown the points (3,) by name, mm, cast frame.

    "facial prominence"; "cingulum" of front teeth; of back teeth "mesial ridge", "distal ridge" and "central fossa" (molars) or
    "mesial fossa", "distal fossa" (premolars), each where the shape has it; "mesial contact", "distal contact" where a neighbour touches.
    """
    teeth, sides = anatomy.teeth, true_sides(anatomy.row)
    result: dict[int, dict[str, Floats]] = {}
    for fdi, tooth in teeth.items():
        mesial, facial = sides[fdi]
        marks = {"facial prominence": wall_crest(anatomy, tooth, mesial, facial)}
        if tooth.crown.occlusal is None:
            marks["cingulum"] = wall_crest(anatomy, tooth, mesial, -facial)
        else:
            marks |= true_fossae(tooth, cusps[fdi], mesial, facial)
            for name, sign in (("mesial ridge", 1.0), ("distal ridge", -1.0)):
                crest = true_ridge(anatomy, tooth, cusps[fdi], mesial, facial, sign)
                if crest is not None:
                    marks[name] = crest
        result[fdi] = marks
    for fdi, tooth in teeth.items():
        distal = teeth.get(fdi + 1)
        mesial_one = teeth.get(fdi - 1) if fdi % 10 > 1 else teeth.get({11: 21, 31: 41}.get(fdi, 0))
        for other, name in ((distal, "distal contact"), (mesial_one, "mesial contact")):
            back = "mesial contact" if fdi % 10 == 1 or name == "distal contact" else "distal contact"
            if other is None or name in result[fdi]:
                continue
            point = contact(anatomy, tooth, other)
            if point is not None:
                result[fdi][name] = result[other.fdi][back] = point
    return result
