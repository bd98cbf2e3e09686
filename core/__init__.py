"""Everything Claspwright knows of casts and frameworks, in plain Python: never imports Blender (a test enforces it).

Rooms, lowest first; a room imports only from the rooms before it (tests/core/test_rooms.py enforces that too).
"""

ROOMS = (
    "errors",
    "files",
    "cautions",
    "background",
    "parallel",
    "memory",
    "gauges",
    "mesh",
    "crossings",
    "isosurface",
    "case",
    "cast",
    "phantom",
    "survey",
    "teeth",
    "charts",
    "solids",
    "preparation",
    "blockout",
    "components",
    "mechanics",
    "planning",
    "checks",
    "output",
    "pipeline",
    "batch",
    "cli",
)
