"""Of a cylinder with a ball on it, trimmed upright: the ball's equator is shown, the edge of the upright wall is not (closed form)."""

import numpy as np
import trimesh
from claspwright.core.mesh import Mesh
from claspwright.core.survey import Path, contours_to_show, survey


def test_an_upright_wall_has_no_line_worth_showing() -> None:
    ball = trimesh.creation.icosphere(4, 4.0)
    ball.apply_translation([0.0, 0.0, 3.0])
    block = trimesh.creation.cylinder(12.0, 10.0, sections=96)
    block.apply_translation([0.0, 0.0, -5.0])
    joined = trimesh.boolean.union([ball, block], engine="manifold")
    fine = joined.subdivide_to_size(0.8)
    mesh = Mesh(np.asarray(fine.vertices), np.asarray(fine.faces))
    found = survey(mesh, Path())
    assert any(np.hypot(*c.points[:, :2].T).mean() > 11.0 for c in found.contours)  # the wall's own line is there
    shown = contours_to_show(mesh, found)
    assert shown and all(np.hypot(*c.points[:, :2].T).mean() < 4.5 for c in shown)
