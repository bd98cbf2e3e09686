"""Spatial frames of straight beam elements: the project's own small finite-element solver.

Every element has two nodes of six freedoms (three shifts, three turns), axial, bending in two planes with shear (Timoshenko), and
Saint-Venant torsion. Curved and tapered beams are runs of short elements. Small displacements, linear material; thickness and curvature
of a clasp arm leave both within their range (a tip moves by 0.25 mm on 10 mm). Formulas: Przemieniecki, Theory of Matrix Structural
Analysis, ch. 5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import splu

from ..mesh import Floats, Ints
from .sections import Sections

SHEAR_SHARE = 0.86  # of the area that carries shear: Cowper 1966, between the rectangle (0.85) and the circle (0.89) at nu = 0.3


@dataclass(frozen=True, eq=False)
class Frame:
    """Beam elements between nodes.

    nodes : (n, 3) mm, on the centroids; ends : (e, 2) node numbers; away : (e, 3) unit, the direction "away from the flat side"
    sections : e of them; modulus_mpa, poisson : one material
    bend : (e, 3) 1/mm towards the centre of curvature of the line the elements stand for; None where they are straight
    """

    nodes: Floats
    ends: Ints
    away: Floats
    sections: Sections
    modulus_mpa: float
    poisson: float = 0.3
    bend: Floats | None = None
    shear_share: float = SHEAR_SHARE  # infinite for a beam that does not give in shear, as the closed forms have it

    @property
    def lengths(self) -> Floats:
        """(e,) mm."""
        return np.linalg.norm(self.nodes[self.ends[:, 1]] - self.nodes[self.ends[:, 0]], axis=1)

    def axes(self) -> Floats:
        """(e, 3, 3) rows: along the element, and the section's two principal axes (across, away)."""
        along = (self.nodes[self.ends[:, 1]] - self.nodes[self.ends[:, 0]]) / self.lengths[:, None]
        away = self.away - along * np.einsum("ij,ij->i", self.away, along)[:, None]
        away /= np.linalg.norm(away, axis=1, keepdims=True)
        across = np.cross(away, along)
        turn = self.tilt()[:, None]
        return np.stack(
            [along, np.cos(turn) * across + np.sin(turn) * away, np.cos(turn) * away - np.sin(turn) * across], axis=1
        )

    def tilt(self) -> Floats:
        """(e,) radians from "across" to the section's first principal axis; 0 but for sections with a product of inertia."""
        s = self.sections
        gap = s.inertia_edge - s.inertia
        return np.where(s.product == 0.0, 0.0, 0.5 * np.arctan(2.0 * s.product / np.where(gap == 0.0, 1e-30, gap)))

    def principal(self) -> tuple[Floats, Floats]:
        """(e,) second moments for bending along the first and the second principal axis, mm4."""
        s = self.sections
        mean, half = 0.5 * (s.inertia_edge + s.inertia), 0.5 * (s.inertia_edge - s.inertia)
        radius = np.where(half < 0, -1.0, 1.0) * np.hypot(half, s.product)
        return mean + radius, mean - radius


@dataclass(frozen=True, eq=False)
class Response:
    """Answer of a frame to c load cases.

    shifts, turns : (c, n, 3) mm and radians
    forces : (c, e, 6) at the middle of each element in its own axes: axial N, two shears N, torque and two bending moments N mm
        (about the first and the second principal axis)
    """

    shifts: Floats
    turns: Floats
    forces: Floats


def local_stiffness(frame: Frame) -> Floats:
    """(e, 12, 12) stiffness of each element in its own axes."""
    s, length, e = frame.sections, frame.lengths, frame.modulus_mpa
    g = e / (2.0 * (1.0 + frame.poisson))
    k = np.zeros((len(length), 12, 12))
    for i, value in ((0, e * s.area / length), (3, g * s.torsion / length)):
        k[:, i, i] = k[:, i + 6, i + 6] = value
        k[:, i, i + 6] = k[:, i + 6, i] = -value
    along_first, along_second = frame.principal()
    # Shifts along axis 1 go with turns about axis 2 and the other way round; the sign differs.
    for shift, turn, inertia, sign in ((1, 5, along_first, 1.0), (2, 4, along_second, -1.0)):
        phi = 12.0 * e * inertia / (g * frame.shear_share * s.area * length**2)
        base = e * inertia / (length**3 * (1.0 + phi))
        a, b = shift + 6, turn + 6
        k[:, shift, shift] = k[:, a, a] = 12.0 * base
        k[:, shift, a] = k[:, a, shift] = -12.0 * base
        for row, column, way in ((shift, turn, 1), (shift, b, 1), (a, turn, -1), (a, b, -1)):
            k[:, row, column] = k[:, column, row] = way * sign * 6.0 * base * length
        k[:, turn, turn] = k[:, b, b] = (4.0 + phi) * base * length**2
        k[:, turn, b] = k[:, b, turn] = (2.0 - phi) * base * length**2
    return k


def solve(frame: Frame, fixed: Ints, loads: Floats, springs: Floats | None = None) -> Response:
    """Displacements and inner forces. fixed : node numbers built in; loads : (c, n, 6) N and N mm.

    springs : (n, 6) N/mm and N mm/rad between nodes and the ground. Raises ValueError on nonsense.
    """
    n, cases = len(frame.nodes), len(loads)
    if loads.shape[1:] != (n, 6) or (len(fixed) == 0 and springs is None):
        raise ValueError("frame: loads must be (cases, nodes, 6), and a node must be built in or stand on springs")
    axes, k = frame.axes(), local_stiffness(frame)
    turn = np.zeros((len(axes), 12, 12))
    for block in range(4):
        turn[:, 3 * block : 3 * block + 3, 3 * block : 3 * block + 3] = axes
    whole = np.einsum("eji,ejk,ekl->eil", turn, k, turn, optimize=True)
    place = (frame.ends[:, :, None] * 6 + np.arange(6)).reshape(-1, 12)
    rows, columns = np.broadcast_arrays(place[:, :, None], place[:, None, :])
    matrix = coo_array((whole.ravel(), (rows.ravel(), columns.ravel())), shape=(6 * n, 6 * n)).tocsc()
    if springs is not None:
        matrix = (matrix + diags_array(springs.ravel())).tocsc()
    free = np.setdiff1d(np.arange(6 * n), (np.asarray(fixed, dtype=int)[:, None] * 6 + np.arange(6)).ravel())
    moved = np.zeros((6 * n, cases))
    # Sparse, not dense: a threaded dense solver waits on busy cores for longer than it works on a few hundred unknowns.
    moved[free] = splu(matrix[free][:, free]).solve(loads.reshape(cases, -1).T[free])
    local = np.einsum("eij,ejc->eic", turn, moved[place])
    ends = np.einsum("eij,ejc->eic", k, local)  # forces on the element at its two ends
    middle = 0.5 * (ends[:, 6:] - ends[:, :6])
    by_node = moved.T.reshape(cases, n, 6)
    return Response(by_node[:, :, :3], by_node[:, :, 3:], np.moveaxis(middle, 2, 0))


def stresses(frame: Frame, forces: Floats) -> Floats:
    """(c, e) greatest equivalent stress (von Mises) over the section at each element's middle, MPa. forces as in `Response`.

    Fibre stress of axial force and both bending moments, higher on the inside of a bend (Winkler's curved beam, to first order), with
    the greatest shear of torsion at the same place (on the safe side);
    the shear of the transverse force is left out (under 2 % for arms longer than six thicknesses).
    """
    s = frame.sections
    first, second = frame.principal()
    turn = frame.tilt()[:, None]
    u = s.fibres[:, :, 0] * np.cos(turn) + s.fibres[:, :, 1] * np.sin(turn)
    v = s.fibres[:, :, 1] * np.cos(turn) - s.fibres[:, :, 0] * np.sin(turn)
    axial, torque, about_first, about_second = (forces[:, :, i, None] for i in (0, 3, 4, 5))
    inward = np.zeros((len(s.area), 3)) if frame.bend is None else np.einsum("eij,ej->ei", frame.axes(), frame.bend)
    inward_u, inward_v = inward[:, 1, None], inward[:, 2, None]
    # A fibre nearer to the centre of the bend is shorter, so it strains more; the neutral axis moves towards it by curvature x I / A.
    shorter = np.maximum(1.0 - u * inward_u - v * inward_v, 0.3)
    area = s.area[:, None]
    bent_u, bent_v = (u - inward_u * first[:, None] / area) / shorter, (v - inward_v * second[:, None] / area) / shorter
    fibre = axial / area + about_first * bent_v / second[:, None] - about_second * bent_u / first[:, None]
    shear = torque[:, :, 0] * s.twist_radius / s.torsion
    return np.sqrt((fibre**2).max(axis=2) + 3.0 * shear**2)
