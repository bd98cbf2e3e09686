"""Components: from their specification in survey terms to solids on this cast."""

from .assemble import Assembly, build_components, open_solids, relief_solid, score_solids
from .plates import planes
from .rests import planned_seat
from .site import Built, Relief, Site, Tip

__all__ = [
    "Assembly",
    "Built",
    "Relief",
    "Site",
    "Tip",
    "build_components",
    "open_solids",
    "planes",
    "planned_seat",
    "relief_solid",
    "score_solids",
]
