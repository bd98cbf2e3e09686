"""From a scan file to a cast in the cast frame, with an account of everything that was changed or is doubtful."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ..crossings import uncrossed
from ..errors import CastError
from ..mesh import Floats, Mesh
from . import topology
from .arch import guess_arch
from .base import build_base
from .files import read_mesh
from .orient import Orientation, occlusal_vector, orient, relief
from .reduce import WITHIN_MM, WORK_MOST, reduced
from .repair import clean, finite
from .units import POSSIBLE_MM, Unit, find_unit, name_of, widest

CERTAIN = 0.2
"""Agreement of the rough surface on one direction: 0.27 to 0.63 on the scans tried, 0 for a ball."""
ARMS = 0.3
"""How clearly the arms part towards the back: 0.36 to 0.76 on all casts tried, also with one side or all front teeth missing."""
ARCH_SHARE = 0.25
POST_MM = 5.0
"""Cusps stand 0.9 to 3.6 mm over the plane on all casts tried; the lowest scan bodies in use stand 7 mm or more (common practice)."""
OUTER_MM = 60.0
"""Shorter than the border round any quadrant (two sides of about 30 mm)"""


@dataclass(frozen=True, eq=False)
class Cast:
    """A scan made ready for work.

    mesh : the mended surface in the cast frame, mm (Z occlusal, Y anterior); open where the scan is open
    arch : "upper" or "lower"
    source_name, sha256 : name and digest of the file, which stays as it was
    unit : unit of the file, such as "millimetre"
    to_cast : (4, 4) from file coordinates to the cast frame, scale included
    closed : the mesh encloses a volume
    changes : what was done to the surface, in plain words
    questions : what intake is not sure of, for a person to answer
    full : the scan in all its triangles, mended, in the same frame, where `mesh` was reduced for work; None where it was not
    """

    mesh: Mesh
    arch: str
    source_name: str
    sha256: str
    unit: str
    to_cast: Floats
    closed: bool
    changes: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    full: Mesh | None = None


def load_cast(
    path: str | os.PathLike[str],
    *,
    arch: str | None = None,
    keep_frame: bool = False,
    to_cast: Floats | None = None,
    add_base: bool = False,
    expected_sha256: str | None = None,
) -> Cast:
    """Read, mend and orient a scan. The file itself is only read.

    arch : "upper", "lower" or None to guess. keep_frame : the file's own axes are the cast frame and any solid is welcome.
    to_cast : (4, 4) use this placement instead of finding one. add_base : close an open surface with a trimmed base, and
    draw apart what cuts through itself. expected_sha256 : refuse another file. A scan of more than WORK_MOST triangles is reduced within
    a bound that is told, and kept whole beside it. Raises CastError, in one line that begins with the
    file's name.
    """
    path = Path(path)
    if arch not in (None, "upper", "lower"):
        raise CastError(f"{path.name}: the arch is {arch!r}; give upper or lower")
    raw, header = read_mesh(path)
    if expected_sha256 is not None and header["sha256"] != expected_sha256.lower():
        raise CastError(f"{path.name}: this is another file than the case was made for (SHA-256 differs); choose the right scan")
    try:
        cast = _prepare(raw, header["unit"], arch, keep_frame, to_cast)
    except CastError as error:
        raise CastError(f"{path.name}: {error}") from None
    cast = replace(cast, source_name=path.name, sha256=header["sha256"], changes=(*header["remarks"], *cast.changes))
    cast = _for_work(cast)
    return _sound(with_base(cast) if not cast.closed else cast) if add_base else cast


def _for_work(cast: Cast) -> Cast:
    """The cast reduced for work when it has more triangles than can be worked on; its full surface is kept beside it."""
    if len(cast.mesh.faces) <= WORK_MOST:
        return cast
    found = reduced(cast.mesh)
    if found is None:
        words = f"too rough to be reduced within {WITHIN_MM:g} mm: all {len(cast.mesh.faces):,} triangles are worked on, slowly"
        return replace(cast, changes=(*cast.changes, words))
    mesh, off = found
    words = (
        f"reduced from {len(cast.mesh.faces):,} to {len(mesh.faces):,} triangles for work, nowhere more than {off:.3f} mm off "
        "(measured); the fitting surface is still cut from the full scan"
    )
    return replace(cast, mesh=mesh, full=cast.mesh, changes=(*cast.changes, words))


def full_solid(cast: Cast) -> Mesh | None:
    """The full scan as a closed solid, where the cast was reduced for work; None where it was not."""
    if cast.full is None:
        return None
    return cast.full if cast.full.is_closed else build_base(cast.full)[0]


def with_base(cast: Cast) -> Cast:
    """The same cast as a closed solid with a trimmed base."""
    solid, words = build_base(cast.mesh)
    return replace(cast, mesh=solid, closed=solid.is_closed, changes=(*cast.changes, *words))


def _sound(cast: Cast) -> Cast:
    """The same solid without faces that cut through others: scans have some at contacts and folds, and a boolean would carry them on."""
    mesh = uncrossed(cast.mesh)
    move = np.linalg.norm(mesh.vertices - cast.mesh.vertices, axis=1)
    if not move.any():
        return cast
    words = f"{int((move > 0).sum())} points moved, by {move.max():.2f} mm at most, where the surface cut through itself"
    return replace(cast, mesh=mesh, changes=(*cast.changes, words))


def _prepare(raw: Mesh, declared: str | None, arch: str | None, keep_frame: bool, to_cast: Floats | None) -> Cast:
    changes: list[str] = []
    questions: list[str] = []
    if to_cast is not None:
        placement = _checked(to_cast)
        mesh, mended = clean(raw.transformed(placement))
        unit = Unit(name_of(float(np.cbrt(np.linalg.det(placement[:3, :3])))), 1.0, "", "")
    else:
        raw = Mesh(*finite(raw.vertices, raw.faces, changes))
        unit = find_unit(widest(raw.vertices[np.unique(raw.faces)]), declared, any_size=keep_frame)
        mesh, mended = clean(raw.transformed(np.diag([unit.factor] * 3 + [1.0])))
        placement = np.diag([unit.factor] * 3 + [1.0])
    changes += [unit.remark] if unit.remark else []
    questions += [unit.question] if unit.question else []
    changes += mended
    if to_cast is None and not keep_frame:
        _one_arch(mesh)
        mesh, move = _turn(mesh, changes, questions)
        placement = move @ placement
    elif keep_frame and _faces_down(mesh):
        mesh = Mesh(mesh.vertices, mesh.faces[:, ::-1])
        changes.append("inside-out surface turned to face upward")
    guess = _settle_arch(mesh, arch, keep_frame, changes, questions)
    if to_cast is None and not keep_frame:
        _note_posts(mesh, questions)
    _note_borders(mesh, questions)
    return Cast(mesh, guess, "", "", unit.name, placement, mesh.is_closed, tuple(changes), tuple(questions))


def _checked(to_cast: Floats) -> Floats:
    matrix = np.asarray(to_cast, dtype=np.float64)
    if matrix.shape != (4, 4) or not np.isfinite(matrix).all() or not np.allclose(matrix[3], [0, 0, 0, 1]):
        raise CastError("the placement of the cast is no 4 x 4 matrix; remove it from the case to have it found anew")
    block = matrix[:3, :3]
    scale = np.cbrt(np.linalg.det(block))
    if not scale > 0 or not np.allclose(block @ block.T, np.eye(3) * scale**2, rtol=1e-4, atol=1e-6 * scale**2):
        raise CastError("the placement of the cast mirrors or distorts it; remove it from the case to have it found anew")
    return matrix


def _one_arch(mesh: Mesh) -> None:
    """Refuse two large pieces whose teeth point at each other: an upper and a lower exported together."""
    count, label = topology.face_pieces(mesh.faces)
    if count == 1:
        return
    area, _ = topology.piece_sizes(mesh.vertices, mesh.faces, label, count)
    large = np.nonzero(area > ARCH_SHARE * area.sum())[0]
    ways = [occlusal_vector(relief(mesh.submesh(label == piece)[0]))[0] for piece in large]
    if any(float(a @ b) < -0.3 for i, a in enumerate(ways) for b in ways[:i]):
        raise CastError("it holds two arches that face each other; export the upper and the lower each to a file of its own")


def _turn(mesh: Mesh, changes: list[str], questions: list[str]) -> tuple[Mesh, Floats]:
    found = orient(mesh)
    if found.inside_out:
        mesh = Mesh(mesh.vertices, mesh.faces[:, ::-1])
        changes.append("inside-out surface turned to face outward")
    move = np.eye(4)
    move[:3, :3] = found.rotation
    move[:3, 3] = -found.rotation @ found.origin
    turned = float(np.degrees(np.arccos(np.clip((np.trace(found.rotation) - 1) / 2, -1, 1))))
    if turned > 0.05 or np.linalg.norm(move[:3, 3]) > 0.05:
        changes.append(f"turned by {turned:.1f} degrees and moved by {np.linalg.norm(move[:3, 3]):.1f} mm into the cast frame")
    questions += _doubts(found)
    return mesh.transformed(move), move


def _doubts(found: Orientation) -> list[str]:
    doubts = []
    if found.certainty < CERTAIN:
        doubts.append("which side are the teeth on? The surface is about equally rough all round; check that they point up")
    if found.arms < ARMS:
        doubts.append("which way is the front? The arms of the arch do not part clearly; check that the incisors point forward")
    return doubts


def _faces_down(mesh: Mesh) -> bool:
    """An open surface whose area vector points away from occlusal is inside-out in a frame that is to be kept."""
    if mesh.is_closed:
        return False
    vector = (mesh.face_normals * mesh.face_areas[:, None]).sum(axis=0)
    return bool(vector[2] < -0.1 * mesh.face_areas.sum())


def _settle_arch(mesh: Mesh, arch: str | None, keep_frame: bool, changes: list[str], questions: list[str]) -> str:
    if keep_frame and arch:
        return arch
    if keep_frame and not POSSIBLE_MM[0] <= float(np.ptp(mesh.vertices, axis=0).max()) <= POSSIBLE_MM[1]:
        return "lower"  # some solid that is no arch: nothing hangs on the word
    guess, sure, reason = guess_arch(mesh)
    if arch is None:
        if sure:
            changes.append(f"taken as {guess}: {reason}")
        else:
            questions.append(f"is it an upper or a lower? Taken as {guess}; {reason}")
        return guess
    if sure and guess != arch:
        questions.append(f"is it really the {arch}? It looks like the {guess}: {reason}")
    return arch


def _note_posts(mesh: Mesh, questions: list[str]) -> None:
    """What stands high over the teeth is no tooth: a scan body, an impression post, a sprue or a tray's handle."""
    top = mesh.vertices[np.argmax(mesh.vertices[:, 2])]
    if top[2] > POST_MM:
        questions.append(
            f"is that all teeth? Something stands {top[2]:.0f} mm over the occlusal plane at ({top[0]:.0f}, {top[1]:.0f}); "
            "if it is a scan body or a post, scan again without it"
        )


def _note_borders(mesh: Mesh, questions: list[str]) -> None:
    """Holes that are no pin-holes and no outer border: left open, but told."""
    loops = topology.border_loops(mesh.faces)
    pieces = topology.face_pieces(mesh.faces)[0] if loops else 0
    lengths = sorted(topology.perimeter(mesh.vertices, ring) for ring in loops)
    # a lone small ring is a hole in a closed cast; otherwise the longest ring of each piece is its outer border
    holes = lengths if lengths and lengths[-1] < OUTER_MM else lengths[: max(0, len(lengths) - pieces)]
    if holes:
        size = f"{holes[0]:.0f}" if len(holes) == 1 else f"{holes[0]:.0f} to {holes[-1]:.0f}"
        questions.append(f"is the surface whole? {len(holes)} holes too large to be pin-holes were left open ({size} mm round)")
