"""Thickness of proximal enamel: what a guide plane may spend."""

from __future__ import annotations

# mm at the contact, (mesial, distal). Am J Orthod Dentofacial Orthop 2015;147:435 (0.63 at incisors rising to 1.48 at first molars);
# Braz J Oral Sci 2012;11 (upper first premolar, lower second premolar, incisors, canines); Angle Orthod 1998;68:141 (second molars are
# thicker than premolars: the first molar's figure is kept for them, on the safe side).
_MEASURED = {
    ("upper", 1): (0.63, 1.00),
    ("upper", 2): (0.63, 1.00),
    ("upper", 4): (1.22, 1.28),
    ("lower", 1): (0.675, 0.872),
    ("lower", 3): (0.734, 1.00),
    ("lower", 5): (1.376, 1.45),
}
# For the others, evenly from the incisor's to the first molar's figure by position in the arch.
_BY_POSITION = {1: 0.63, 2: 0.63, 3: 0.84, 4: 1.06, 5: 1.27, 6: 1.48, 7: 1.48, 8: 1.48}
# Orthodontic stripping takes 0.25 to 0.5 mm a surface (the same review of 2015); more than half of the local enamel earns a warning.
SPENDABLE = 0.5
MOST_MM = 0.5


def proximal_enamel_mm(fdi: int, side: str) -> float:
    """Enamel at the contact of a permanent tooth (FDI), side "mesial" or "distal"; group means, thinner toward the neck."""
    jaw, position = ("upper" if fdi // 10 in (1, 2) else "lower"), fdi % 10
    pair = _MEASURED.get((jaw, position))
    return pair[0 if side == "mesial" else 1] if pair else _BY_POSITION[position]
