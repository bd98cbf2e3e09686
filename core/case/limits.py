"""Why a number of a component has its least and its most, in a line for who is stopped there. Sources: handbook sections 2 to 5 where
they name a figure, else common practice; the figures themselves stand beside the fields."""

from __future__ import annotations

# end of the field's name: why not less, why not more. The longest name that fits counts.
_WHY = {
    "gauge_mm": ("a shallower undercut holds nothing", "deeper than the 0.030 in gauge no clasp can be taken out without harm"),
    "strut_margin_mm": ("nearer to the margin it would press on the gingiva", "farther away it comes into the way of the cheek"),
    "margin_mm": ("nearer to the margin it would press on the gingiva", "farther away it leaves the firm tissue"),
    "height_mm": ("lower, it would bend", "taller, it takes room that the tongue or the cheek needs"),
    "width_mm": ("narrower, it would be the weak place", "wider, it covers more than it needs to"),
    "length_mm": ("shorter, it does not carry load along the tooth", "longer, it leaves the part of the crown that can take a rest"),
    "depth_mm": ("shallower, the rest would be thin and break", "deeper, the seat would leave the enamel"),
    "thickness_mm": ("thinner, it would break or bend", "thicker, it is felt and gains nothing"),
    "reach_deg": ("shorter, it does not hold the tooth and is too stiff", "longer, it runs into the neighbouring tooth"),
    "width_deg": ("narrower, it does not guide", "wider, it leaves the proximal face"),
    "at_deg": ("farther round, it is on the neighbouring face", "farther round, it is on the neighbouring face"),
    "strut_mm": ("thinner, the base would break", "thicker, it leaves no room for the teeth"),
    "cross_mm": ("thinner, the base would break", "thicker, it leaves no room for the teeth"),
    "": ("what is less cannot be made or does not serve", "what is more cannot be made or does not serve"),
}


def why(field: str, end: str) -> str:
    """Why the number of this field stops at its "least" or its "most"."""
    name = max((n for n in _WHY if field.endswith(n)), key=len)
    return _WHY[name][0 if end == "least" else 1]
