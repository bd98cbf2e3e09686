"""Charts: the coordinates in which every component is written (design: parametric by reference)."""

from .arch import ArchChart, Frame, Gap
from .crown import CrownChart
from .pads import Pad, crest_of, pads
from .sectors import SECTORS, sector_centre, sector_of, sector_span

__all__ = ["SECTORS", "ArchChart", "CrownChart", "Frame", "Gap", "Pad", "crest_of", "pads", "sector_centre", "sector_of", "sector_span"]
