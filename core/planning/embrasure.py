"""A clasp on a side without a space: two arms back to back through an embrasure, from a rest on each of two standing teeth."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from ..case import MinorConnector, OcclusalRest, ReciprocalArm, ToothEntry
from ..teeth.numbering import position, side
from .abutment import Abutment, ArmPlace, length_limit
from .design import Design
from .option import EMBRASURE, Key, Option
from .placing import AGAINST, Placed, cast_arm, other_face, seat_depth

_REACH_DEG, _MOST_REACH_DEG = 106.0, 124.0  # an arm through an embrasure begins 20 degrees later than one from a space
FACES = ("facial", "lingual")
_PAIRS = ((4, 5), (5, 6), (6, 7))  # second premolar and first molar is the usual place (standard texts, from memory)
_USUAL = (5, 6)


@dataclass(frozen=True)
class Embrasure:
    """front, behind : the two teeth (FDI); options : the arm of each, by tooth; points, the higher the better"""

    front: int
    behind: int
    options: Mapping[int, Option]
    points: float


def embrasures(
    design: Design, abutments: Mapping[int, Abutment], half: int, entries: Mapping[int, ToothEntry], like: str,
    barred: Collection[Key] = (), faces: Collection[str] = FACES,
) -> tuple[Embrasure, ...]:  # fmt: skip
    """Embrasures of one side of the arch (-1 or +1, as `side`) that could take a double clasp, the best first.

    like : face on which the other side holds; retention on like faces balances; faces : on which an arm may hold at all
    """
    found = []
    for mesial, distal in _PAIRS:
        pair = [t for t in design.standing if side(t) == half and position(t) in (mesial, distal) and t in abutments]
        if len(pair) != 2:
            continue
        front, behind = sorted(pair, key=position)
        for face in faces:
            options = {t: _arm(abutments[t], origin, face, entries) for t, origin in ((front, "distal"), (behind, "mesial"))}
            good = {t: o for t, o in options.items() if o.possible and o.key(t) not in barred}
            if good:
                more = (20.0 if (mesial, distal) == _USUAL else 0.0) + (25.0 if face == like else 0.0)
                points = sum(o.points for o in good.values()) + more
                found.append(Embrasure(front, behind, options, points))
    return tuple(sorted(found, key=lambda e: -e.points))


def _arm(place: Abutment, origin: str, face: str, entries: Mapping[int, ToothEntry]) -> Option:
    """The arm of one of the two teeth over one face."""
    at: ArmPlace = place.arms[origin, face]
    entry = entries.get(place.tooth, ToothEntry(place.tooth))
    good, bad, veto = [], ["both ridges are cut: 1.5 mm of room to the opposing teeth is needed over them"], []
    if at.gauge_share < 0.3:
        veto.append(f"no {place.gauge_mm:.2f} mm undercut where the tip would lie, {face} away from the {origin} side")
    else:
        good.append(f"{place.gauge_mm:.2f} mm is found {at.tip_to_margin_mm:.1f} mm above the margin at the tip")
    reach = at.reach_for(_REACH_DEG, _MOST_REACH_DEG)
    length = at.length_at(reach)
    cannot, at_limit = length_limit(length)
    if cannot:
        veto.append(cannot)
    if at_limit:
        bad.append(at_limit)
    points = 40.0 + min(length, 16.0)
    if at.tip_to_margin_mm < 1.0:
        bad.append("the tip would lie close to the margin")
        points -= 15.0
    if entry.weak:
        veto.append("a weak tooth")
    return Option(EMBRASURE, origin, face, points, tuple(good), tuple(bad), tuple(veto), reach)


def embrasure_parts(found: Embrasure, abutments: Mapping[int, Abutment], barred: Collection[Key] = ()) -> Iterator[Placed]:
    """Rests, arms and the minor connector of a double clasp, each with its reason; an arm that cannot be leaves its rest and brace."""
    both = f"{found.front} and {found.behind}"
    for tooth, origin in ((found.front, "distal"), (found.behind, "mesial")):
        seat = OcclusalRest(f"rest {tooth} {origin}", tooth, origin, depth_mm=seat_depth(tooth))
        yield seat, f"support of the clasp through the embrasure of {both}"
    strut = MinorConnector(f"minor connector {found.behind} mesial", found.behind, "mesial")
    yield strut, f"carries both rests of {both} through the embrasure"
    for tooth, option in found.options.items():
        if not option.possible or option.key(tooth) in barred:
            continue
        why = f"embrasure clasp on {both}, where no space lies beside a tooth: " + "; ".join(option.speaks_for)
        other = [v for t, o in found.options.items() if t != tooth for v in o.vetoes]
        why += f". On the other tooth no arm: {'; '.join(other)}" if other else ""
        why += ". Against it: " + "; ".join(option.speaks_against)
        yield cast_arm(tooth, option.origin, option.face, abutments[tooth].gauge_mm, option.reach_deg), why
        yield ReciprocalArm(f"reciprocal arm {tooth}", tooth, option.origin, other_face(option.face), reach_deg=_REACH_DEG), AGAINST
