"""Which kind of part each point of a framework belongs to, for pictures that show or hide parts."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..mesh import Ints
from .build import Build

# Kind of region: words for its group. The order is that of the list on the page.
WORDS = {
    "bar": "major connector",
    "strap": "major connector",
    "strut": "minor connectors",
    "rest": "rests",
    "clasp": "clasp arms",
    "plate": "plates",
    "lattice": "bases",
}
NAMES = tuple(dict.fromkeys(WORDS.values()))


def pieces(build: Build) -> tuple[tuple[str, ...], Ints]:
    """Names of the groups, and for each vertex of the framework the number of its group; fillets go to the nearest part."""
    mesh = build.framework
    group = np.full(len(mesh.vertices), -1, dtype=np.int64)
    regions = build.checked.regions
    # Small parts are marked last, so that a rest is not hidden under the connector that holds it.
    for region in sorted(regions, key=lambda r: -int(r.mask.sum())):
        group[region.mask] = NAMES.index(WORDS.get(region.kind, NAMES[0]))
    known = np.flatnonzero(group >= 0)
    if len(known) == 0:
        return NAMES, np.zeros(len(group), dtype=np.int64)
    rest = np.flatnonzero(group < 0)
    group[rest] = group[known[cKDTree(mesh.vertices[known]).query(mesh.vertices[rest])[1]]]
    return NAMES, group
