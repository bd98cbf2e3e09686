"""The rules of critique, as data: id, how grave, the condition, words for who reads it, and where it comes from.

Every rule is advice: the clinician decides, and an overruling is kept with its reason. "Common practice" and "from memory" say
where no paper or page was read again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from . import conditions_clasps as c
from . import conditions_retention as r
from . import conditions_support as s
from .conditions_support import Found
from .design import Design

ERROR, WARNING, ADVICE = "error", "warning", "advice"

_MCCRACKEN = "McCracken's Removable Partial Prosthodontics, from memory"
_STEWART = "Stewart's Clinical Removable Partial Prosthodontics, from memory"
_COMMON = "common practice in teaching manuals"
_ENAMEL = "premolar enamel at rest seats: 1.5 mm opens dentine in over half, 1.0 usually safe (university study, PUCRS)"
_THIN = "thinnest maxillary frames tested (J Prosthet Dent, May 2007)"
_UK = "A Clinical Guide to Removable Partial Denture Design (Davenport et al., Br Dent J 2001), from memory"


@dataclass(frozen=True)
class Rule:
    """condition(design) yields (ids of the parts concerned, detail); words say what is wrong and what would mend it."""

    id: str
    severity: str
    condition: Callable[[Design], Found]
    words: str
    source: str


RULES: tuple[Rule, ...] = (
    Rule("chart.part", ERROR, s.part_on_absent_tooth, "A part sits on a tooth that is not there: choose another tooth", "logic"),
    Rule("base.space", ERROR, s.space_without_base, "A space has no base: add one, or chart its teeth as not replaced", "logic"),
    Rule("base.tooth", ERROR, s.base_under_standing_tooth, "A base lists a tooth it cannot carry: take it off the list", "logic"),
    Rule("rest.bounded", ERROR, s.bounded_abutment_without_rest, "A tooth-borne base needs a rest at both ends", _MCCRACKEN),
    Rule("rest.bounded.side", WARNING, s.bounded_rest_away_from_space, "A tooth-borne base is supported next to the space", _MCCRACKEN),
    Rule("rest.extension", ERROR, s.extension_abutment_without_rest, "The abutment of a free end needs a rest", _MCCRACKEN),
    Rule(
        "rest.extension.side",
        WARNING,
        s.extension_rest_next_to_base,
        "Beside a free end the rest belongs on the mesial side, so that the tip is released when the base sinks",
        "Krol 1973, the mesial rest, plate and I-bar; clinical texts after Stratton and Wiebelt 1988",
    ),
    Rule("rest.borne", ERROR, s.rest_carried_by_nothing, "A rest hangs in the air: join it by a minor connector or a guide plate", "logic"),
    Rule("rest.width", WARNING, s.rest_narrow, "Occlusal rests are 2.5 mm wide or more at the ridge", _COMMON),
    Rule("rest.thickness", WARNING, s.rest_thin, "Occlusal rests are 1.0 to 1.5 mm thick over the ridge", _COMMON),
    Rule("rest.enamel", WARNING, s.rest_deep_in_premolar, "A deep seat in a premolar is likely to open dentine", _ENAMEL),
    Rule(
        "rest.cingulum",
        WARNING,
        s.cingulum_ledge_shallow,
        "A cingulum ledge under 0.7 mm does not hold",
        "seat depths judged adequate, mean 0.74 mm (Int J Prosthodont 1992;5:227)",
    ),
    Rule("rest.kind", ERROR, s.rest_kind_does_not_fit, "Anterior teeth take cingulum rests, posterior teeth occlusal ones", _MCCRACKEN),
    Rule("rest.pair", ERROR, s.embrasure_rest_alone, "Embrasure rests come in pairs: one alone wedges the teeth apart", _MCCRACKEN),
    Rule("rest.incisal", ADVICE, s.incisal_rest_shows, "An incisal rest shows and levers the root: prefer the cingulum", _MCCRACKEN),
    Rule("rest.weak", WARNING, s.weak_tooth_bears_rest, "A weak tooth carries the denture: splint it, or plan for its loss", _COMMON),
    Rule("guide.unused", ADVICE, s.guide_surface_unused, "A surface beside a space could guide the denture", _MCCRACKEN),
    Rule("guide.place", WARNING, s.guide_plate_away_from_space, "A guide plate stands where there is no space", "logic"),
    Rule("guide.low", WARNING, s.guide_plane_low, "Tooth-borne guide planes are 3 to 4 mm high, 2 at the least", _COMMON),
    Rule("guide.extension", WARNING, s.guide_plane_high_on_extension, "Beside a free end guide planes are 1.5 to 2 mm high", _COMMON),
    Rule("guide.few", WARNING, s.guide_planes_few, "Two or more guide planes, well apart, set the path", _MCCRACKEN),
    Rule("indirect", WARNING, s.indirect_retainer_missing, "A rest beyond the fulcrum line keeps the base from lifting", _MCCRACKEN),
    Rule("base.stop", WARNING, s.extension_without_stop, "A free-end lattice needs a tissue stop", _MCCRACKEN),
    Rule("base.metal", WARNING, s.metal_base_over_free_end, "A metal base over a free end cannot be relined: use a lattice", _MCCRACKEN),
    Rule("base.relief", WARNING, s.base_relief_thin, "About 1 mm is left under the lattice for resin, 0.5 at the least", _COMMON),
    Rule("base.holes", WARNING, s.base_holes_small, "Holes of a mesh are 1.5 to 2 mm or more, or the resin has no hold", _STEWART),
    Rule("clasp.rest", ERROR, s.clasp_without_rest, "A clasp needs a rest on the same tooth", _COMMON),
    Rule("clasp.reciprocal", ERROR, r.arm_without_reciprocation, "A retentive arm needs something rigid against it", _COMMON),
    Rule("clasp.faces", ERROR, r.arms_on_one_face, "Retentive and reciprocal arm lie on opposite faces", "logic"),
    Rule("clasp.encirclement", WARNING, r.encirclement_short, "A clasp holds more than half of the tooth", _COMMON),
    Rule("clasp.count", WARNING, r.clasps_few, "Few clasps for this class", f"{_MCCRACKEN}; {_STEWART}"),
    Rule("clasp.spread", WARNING, r.clasps_on_one_side, "Retention belongs on both sides of the arch", _UK),
    Rule("clasp.balance", ADVICE, r.retention_of_unlike_faces, "Retention balances best on like faces of both sides", _COMMON),
    Rule("clasp.gauge.deep", WARNING, r.gauge_deep_for_cast_alloy, "Too deep for a cobalt-chromium arm: 0.25 mm is usual", _COMMON),
    Rule("clasp.gauge.shallow", WARNING, r.gauge_too_shallow, "So little undercut is lost in scanning and finishing", "own limit"),
    Rule(
        "clasp.release",
        WARNING,
        r.stiff_arm_beside_free_end,
        "A cast arm from the free end levers the abutment: use a bar clasp, wire, or an arm from the mesial side",
        "Krol 1973; root stress, circumferential above bar clasp (Int J Dent 2022, 2416888)",
    ),
    Rule("clasp.weak", WARNING, r.clasp_on_weak_tooth, "A stiff clasp loads a weak tooth: use wire, or another tooth", _COMMON),
    Rule("clasp.shows", ADVICE, r.clasp_shows, "Metal shows at the front: ask the patient", _COMMON),
    Rule("clasp.length", ADVICE, r.short_tooth_cast_arm, "Cast arms want 15 mm, seldom found here: weigh a bar clasp or wire", _UK),
    Rule("ring.tooth", ERROR, c.ring_on_small_tooth, "A ring clasp is for a tipped molar: choose another clasp", _MCCRACKEN),
    Rule("ring.rests", ERROR, c.long_arm_without_second_rest, "An arm that goes round a tooth is borne by a second rest", _MCCRACKEN),
    Rule("ring.strut", WARNING, c.ring_strut_near_margin, "The strut of a ring clasp keeps 3 mm from the margin", _COMMON),
    Rule("clasp.base", ERROR, c.nothing_holds_strut_or_wire, "Strut, bar or wire has no lattice to come from: add one", "logic"),
    Rule("clasp.back_action", ADVICE, c.back_action_chosen, "A back-action clasp bears its rest on a springy arm", _MCCRACKEN),
    Rule("clasp.extended", ERROR, c.extended_arm_over_gap, "An extended arm goes over two neighbours", "logic"),
    Rule("clasp.plated", ERROR, c.tip_under_plate, "The plate covers this tip's undercut: let the clasp hold facially", "logic"),
    Rule("wire.gauge", WARNING, c.wire_too_deep, "Wrought wire holds at 0.50 mm; rather add a clasp than go deeper", _COMMON),
    Rule("embrasure.rest", ERROR, c.embrasure_without_rest, "An arm through an embrasure comes from a rest on that side", _MCCRACKEN),
    Rule("embrasure.both", WARNING, c.embrasure_one_rest, "An embrasure clasp rests on both teeth, lest it part them", _MCCRACKEN),
    Rule("bar_clasp.sulcus", ERROR, r.bar_clasp_sulcus, "A bar clasp needs 5 mm of sulcus", f"{_STEWART}; {_UK}"),
    Rule("bar_clasp.margin", WARNING, r.bar_clasp_near_margin, "A bar clasp keeps 3 mm from the margin, 2.5 at the least", _COMMON),
    Rule("bar.sulcus", WARNING, r.lingual_bar_sulcus, "A lingual bar needs 8 mm of sulcus, 7 at the least: else a lingual plate", _COMMON),
    Rule("bar.margin", WARNING, r.lingual_bar_near_margin, "A lingual bar keeps 4 mm from the margins, 3 at the least", _COMMON),
    Rule("bar.section", WARNING, r.lingual_bar_slender, "A lingual bar is 4 to 5 mm high and 1.6 to 2 mm thick", _COMMON),
    Rule("bar.relief", WARNING, r.lingual_bar_unrelieved, "A lingual bar is relieved over the tissue", _COMMON),
    Rule("straps.width", WARNING, r.straps_narrow, "Palatal straps are 8 mm wide, the anterior one 6 at the least", _COMMON),
    Rule("palate.margin", WARNING, r.palate_near_margin, "Palatal borders keep 6 mm from the margins, 5 at the least", _COMMON),
    Rule("palate.thickness", WARNING, r.palate_thin, "Palatal metal is 0.65 mm thick or more", _THIN),
    Rule(
        "palate.u_shape",
        WARNING,
        r.u_shape,
        "A U-shaped connector is the least rigid: keep it for tori, or where the palate was not scanned",
        "stiffness of maxillary connectors (Ben-Ur et al., from memory; J Prosthet Dent 2003, PubMed 12690354)",
    ),
    Rule(
        "palate.bearing",
        ADVICE,
        r.single_strap_with_long_free_ends,
        "With few teeth left a complete palatal plate bears better",
        _MCCRACKEN,
    ),
    Rule("connector.missing", ERROR, r.connector_missing, "A framework needs a major connector", "logic"),
    Rule("connector.arch", ERROR, r.connector_of_other_arch, "This connector belongs to the other arch", "logic"),
    Rule("connector.many", WARNING, r.connectors_many, "More than one major connector", "logic"),
    Rule("path.tilt", WARNING, r.tilt_large, "Tilts beyond 10 degrees are seldom wise", _STEWART),
)
