"""Average sizes of teeth and arches, from published tables; every number in mm or degrees."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CrownSize:
    """One row of the crown table."""

    height: float  # labial or buccal crown height, cusp to cemento-enamel junction
    mesiodistal: float
    mesiodistal_neck: float
    faciolingual: float
    faciolingual_neck: float
    junction_mesial: float  # rise of the cemento-enamel junction on the mesial side
    junction_distal: float


# Wheeler's average carving values (Nelson, Wheeler's Dental Anatomy; from memory).
_UPPER = (
    CrownSize(10.5, 8.5, 7.0, 7.0, 6.0, 3.5, 2.5),
    CrownSize(9.0, 6.5, 5.0, 6.0, 5.0, 3.0, 2.0),
    CrownSize(10.0, 7.5, 5.5, 8.0, 7.0, 2.5, 1.5),
    CrownSize(8.5, 7.0, 5.0, 9.0, 8.0, 1.0, 0.0),
    CrownSize(8.5, 7.0, 5.0, 9.0, 8.0, 1.0, 0.0),
    CrownSize(7.5, 10.0, 8.0, 11.0, 10.0, 1.0, 0.0),
    CrownSize(7.0, 9.0, 7.0, 11.0, 10.0, 1.0, 0.0),
    CrownSize(6.5, 8.5, 6.5, 10.0, 9.5, 1.0, 0.0),
)
_LOWER = (
    CrownSize(9.25, 5.0, 3.5, 6.0, 5.3, 3.0, 2.0),
    CrownSize(9.5, 5.5, 4.0, 6.5, 5.8, 3.0, 2.0),
    CrownSize(11.0, 7.0, 5.5, 7.5, 7.0, 2.5, 1.0),
    CrownSize(8.5, 7.0, 5.0, 7.5, 6.5, 1.0, 0.0),
    CrownSize(8.0, 7.0, 5.0, 8.0, 7.0, 1.0, 0.0),
    CrownSize(7.5, 11.0, 9.0, 10.5, 9.0, 1.0, 0.0),
    CrownSize(7.0, 10.5, 8.0, 10.0, 9.0, 1.0, 0.0),
    CrownSize(7.0, 10.0, 7.5, 9.5, 9.0, 1.0, 0.0),
)

# Lean of the crown's long axis toward the face, degrees, positions 1 to 8. Andrews (AJO 1972;62:296) measured the tangent of the facial
# surface, which is convex and already slopes lingually above its crest; that slope is in the crown's own shape, so less is left here.
FACIAL_LEAN = {
    "upper": (8.0, 5.0, 1.0, 2.0, 2.0, 3.0, 4.0, 5.0),
    "lower": (3.0, 2.0, -1.0, -1.0, -5.0, -9.0, -12.0, -12.0),
}
# Mesial lean of the long axis (Andrews' angulation, from memory, rounded).
MESIAL_LEAN = {
    "upper": (4.0, 6.0, 7.0, 3.0, 3.0, 3.0, 2.0, 0.0),
    "lower": (1.0, 1.0, 4.0, 2.0, 2.0, 3.0, 4.0, 4.0),
}
# Half of the distance across the arch between crown centres at the canines and first molars: intercanine 34-35 and 26-27, intermolar
# 50-54 and 44-47 (Bishara and others, from memory) between cusp tips; a canine's tip stands
# a little inside its centre, a mesiobuccal tip outside.
ARCH_HALF_WIDTHS = {"upper": (16.85, 23.3), "lower": (13.05, 20.9)}


def crown_size(fdi: int) -> CrownSize:
    """The table's row for an FDI number."""
    return (_UPPER if fdi // 10 in (1, 2) else _LOWER)[fdi % 10 - 1]
