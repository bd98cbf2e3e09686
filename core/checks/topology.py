"""Is the framework one clean closed body in millimetres? Edge pairs, bodies, winding, size, triangle shapes."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..errors import GeometryError
from ..mesh import Floats, Ints, Mesh
from .result import NO_LANDMARKS, Check, Landmarks, Status, as_place

SOLID_SOURCE = "closed solids: 3MF core specification 4.1.3 (manifold, consistent orientation)"
# Dental arches are 40 to 80 mm across (handbook: Bishara and others, from memory); a framework may span one side only.
SPAN_MM = (15.0, 100.0)
SPAN_SOURCE = "arch size 40 to 80 mm (from memory of Bishara); a unilateral framework may be smaller"
# Not a rule of the trade: below this a triangle is a sliver that slicers and booleans handle badly.
SLIVER_DEG = 1.0
SLIVER_SHARE = 0.10
# Corners closer than this are one corner: ten times the rounding of 32-bit STL numbers at 100 mm.
WELD_MM = 1e-4


def edge_faults(mesh: Mesh) -> tuple[Ints, Ints, Ints]:
    """Undirected edges (k, 2) that are open (one face), shared by three or more faces, or run along twice in the same direction."""
    half = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    n = max(len(mesh.vertices), 1)
    key = np.minimum(half[:, 0], half[:, 1]) * n + np.maximum(half[:, 0], half[:, 1])
    sign = np.where(half[:, 0] < half[:, 1], 1, -1)
    unique, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    balance = np.bincount(inverse.reshape(-1), sign, minlength=len(unique))
    edges = np.stack([unique // n, unique % n], axis=1)
    return edges[count == 1], edges[count > 2], edges[(count == 2) & (balance != 0)]


def check_watertight(mesh: Mesh, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """Every edge shared by exactly two faces that run along it in opposite directions, and accepted as a solid by manifold3d."""
    open_edges, shared, turned = edge_faults(mesh)
    faults = len(open_edges) + len(shared) + len(turned)
    words, place = "closed: every edge joins two faces", None
    if len(mesh.faces) == 0:
        return Check("solid.watertight", "fail", None, 0, "edges", "", SOLID_SOURCE, "the mesh has no faces")
    if faults:
        first = np.concatenate([open_edges, shared, turned])[0]
        place = mesh.vertices[first].mean(axis=0)
        words = f"{len(open_edges)} open edges, {len(shared)} edges with three or more faces, "
        words += f"{len(turned)} edges between faces wound against each other"
    else:
        try:
            mesh.to_manifold()
        except GeometryError as error:
            faults, words = 1, str(error)
    status: Status = "fail" if faults else "pass"
    return Check("solid.watertight", status, float(faults), 0.0, "edges", landmarks.describe(place), SOLID_SOURCE, words, as_place(place))


def bodies(mesh: Mesh) -> tuple[int, Ints]:
    """Number of connected bodies and, for each face, its body (0 has the most faces). Joined by shared vertices."""
    if len(mesh.faces) == 0:
        return 0, np.zeros(0, dtype=np.int64)
    i, j = mesh.faces[:, [0, 1]].ravel(), mesh.faces[:, [1, 2]].ravel()
    n = len(mesh.vertices)
    _, label = connected_components(coo_matrix((np.ones(len(i), dtype=np.int8), (i, j)), shape=(n, n)), directed=False)
    names, face_body, count = np.unique(label[mesh.faces[:, 0]], return_inverse=True, return_counts=True)
    order = np.argsort(-count, kind="stable")
    rank = np.zeros(len(names), dtype=np.int64)
    rank[order] = np.arange(len(names))
    return len(names), rank[face_body.reshape(-1)]


def check_one_body(mesh: Mesh, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """One connected body: no loose piece, no stray shell, no closed void inside the metal."""
    number, label = bodies(mesh)
    if number <= 1:
        words = "one body" if number else "the mesh has no faces"
        return Check("solid.one_body", "pass" if number else "fail", float(number), 1.0, "bodies", "", "one casting", words)
    stray = mesh.faces[label > 0]
    second = mesh.vertices[np.unique(mesh.faces[label == 1])]
    place = second.mean(axis=0)
    size = np.ptp(second, axis=0).max()
    words = f"{number - 1} stray shells with {len(stray)} faces together; the largest is {size:.2f} mm long"
    return Check("solid.one_body", "fail", float(number), 1.0, "bodies", landmarks.describe(place), "one casting", words, as_place(place))


def check_outward(mesh: Mesh, landmarks: Landmarks = NO_LANDMARKS) -> Check:
    """Faces look outward: each body encloses a positive volume. A negative body is inside out, or a void in the metal."""
    number, label = bodies(mesh)
    a, b, c = mesh.triangles[:, 0], mesh.triangles[:, 1], mesh.triangles[:, 2]
    part = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    volume = np.bincount(label, part, minlength=number) if number else np.zeros(1)
    bad = np.flatnonzero(volume <= 0)
    place = mesh.vertices[mesh.faces[label == bad[0]][0, 0]] if len(bad) and number else None
    words = f"{len(bad)} bodies are inside out" if len(bad) else "all faces look outward"
    return Check(
        "solid.outward",
        "fail" if len(bad) else "pass",
        float(volume.min()),
        0.0,
        "mm3",
        landmarks.describe(place),
        SOLID_SOURCE,
        words,
        as_place(place),
    )


def check_scale(mesh: Mesh) -> Check:
    """The longest side of the box around the mesh is that of a dental framework in millimetres."""
    if len(mesh.vertices) == 0:
        return Check("solid.scale", "fail", None, SPAN_MM[1], "mm", "", SPAN_SOURCE, "the mesh has no vertices")
    if not np.isfinite(mesh.vertices).all():
        return Check("solid.scale", "fail", None, SPAN_MM[1], "mm", "", SPAN_SOURCE, "some coordinates are not numbers")
    span = float(np.ptp(mesh.vertices, axis=0).max())
    low, high = SPAN_MM
    guess = ""
    for name, factor in (("metres", 1000.0), ("inches", 25.4), ("centimetres", 10.0), ("micrometres", 0.001)):
        if not low <= span <= high and 35.0 <= span * factor <= 90.0:
            guess = f"; it would fit if the file were in {name}"
            break
    status: Status = "pass" if low <= span <= high else "fail"
    return Check("solid.scale", status, span, high if span > high else low, "mm", "", SPAN_SOURCE, f"longest side {span:.2f} mm{guess}")


def smallest_angles(mesh: Mesh) -> Floats:
    """(m,) smallest angle of each triangle in degrees; 0 for one without area."""
    side = np.linalg.norm(mesh.triangles - np.roll(mesh.triangles, -1, axis=1), axis=2)
    side.sort(axis=1)
    # The smallest angle lies opposite the shortest side: sin = 2 * area / (product of the two long sides).
    product = side[:, 1] * side[:, 2]
    sine = np.divide(2.0 * mesh.face_areas, product, out=np.zeros(len(side)), where=product > 0)
    return np.degrees(np.arcsin(np.clip(sine, 0.0, 1.0)))


def check_triangles(mesh: Mesh) -> Check:
    """Share of sliver triangles (smallest angle under 1 degree); corners that coincide without being joined are counted in words."""
    if len(mesh.faces) == 0:
        return Check("solid.triangles", "fail", None, SLIVER_SHARE, "share", "", "", "the mesh has no faces")
    angle = smallest_angles(mesh)
    share = float((angle < SLIVER_DEG).mean())
    flat = int((mesh.face_areas == 0).sum())
    low, middle = np.percentile(angle, [1, 50])
    twins = len(mesh.vertices) - len(np.unique(np.round(mesh.vertices / WELD_MM).astype(np.int64), axis=0))
    words = (
        f"{len(angle)} triangles; smallest angle: median {middle:.1f}, lowest hundredth {low:.2f} degrees; "
        f"{flat} without area; {twins} corners lie on another corner"
    )
    return Check(
        "solid.triangles",
        "warn" if share > SLIVER_SHARE or flat else "pass",
        share,
        SLIVER_SHARE,
        "share",
        "",
        "own limit: one sliver in ten; slicers and booleans take many more",
        words,
    )
