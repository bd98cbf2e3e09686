"""Teeth: numbers, crowns with their margins and sides, landmarks."""

from . import numbering
from .clicked import front_of, number_of_click
from .find import find_teeth
from .labels import teeth_from_labels
from .model import Teeth, Tooth
from .seeds import propose_seeds

__all__ = ["Teeth", "Tooth", "find_teeth", "front_of", "number_of_click", "numbering", "propose_seeds", "teeth_from_labels"]
