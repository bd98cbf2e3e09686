"""Intake: from a scan file to a mended cast in the cast frame, and mesh files out."""

from .base import as_solid
from .files import FORMATS, read_mesh, write_mesh
from .intake import Cast, full_solid, load_cast, with_base
from .labels import vertex_labels
from .reduce import WITHIN_MM

__all__ = ["FORMATS", "WITHIN_MM", "Cast", "as_solid", "full_solid", "load_cast", "read_mesh", "vertex_labels", "with_base", "write_mesh"]
