"""What the scan shows between the rows of teeth: a connector can lie only where there is something to lie on."""

from __future__ import annotations

import numpy as np

from ..mesh import Mesh
from ..survey import RayScene
from ..teeth import Teeth
from ..teeth.numbering import position, side

_SHARES = (0.35, 0.5, 0.65)  # of the way from side to side
_LEAST = 0.75  # own limit: of the places looked at; a strap bridges no hole of a quarter of the palate


def palate_shown(mesh: Mesh, teeth: Teeth, scene: RayScene | None = None) -> bool:
    """Whether the cast goes on from side to side between the back teeth, seen from above along Z.

    mesh : the closed cast, mm; an intra-oral scan without a palate is closed to a horseshoe, through which the rays pass
    True where a side has no back tooth to measure from: nothing speaks against it.
    """
    rows = {half: np.array([t.centre for f, t in teeth.teeth.items() if side(f) == half and position(f) >= 4]) for half in (-1, 1)}
    if not all(len(r) for r in rows.values()):
        return True
    places = []
    for a in rows[-1]:
        b = rows[1][np.abs(rows[1][:, 1] - a[1]).argmin()]
        places += [a + share * (b - a) for share in _SHARES]
    start = np.array(places)
    start[:, 2] = mesh.vertices[:, 2].max() + 1.0
    _, face = (scene or RayScene(mesh)).first_hit(start, np.tile([0.0, 0.0, -1.0], (len(start), 1)))
    return bool((face >= 0).mean() >= _LEAST)
