"""Teeth: numbers, crowns with their margins and sides, landmarks."""

from . import numbering
from .find import find_teeth
from .labels import teeth_from_labels
from .model import Teeth, Tooth

__all__ = ["Teeth", "Tooth", "find_teeth", "numbering", "teeth_from_labels"]
