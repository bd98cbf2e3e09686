"""The opposing arch of a case, brought into the cast frame."""

from __future__ import annotations

from ..case import Case
from ..cast import read_mesh
from ..errors import CastError
from ..mesh import Floats, Mesh


def read_opposing(case: Case, to_cast: Floats) -> Mesh | None:
    """The opposing scan in the cast frame, mm; None when the case names none.

    It is taken to lie in the frame of the cast's own file, as a scanner exports both arches in their bite. to_cast : (4, 4) of the cast.
    Raises CastError for another file than the case was made for.
    """
    if case.opposing is None or case.opposing_scan is None:
        return None
    raw, header = read_mesh(case.opposing_scan)
    if case.opposing.sha256 and header["sha256"] != case.opposing.sha256.lower():
        raise CastError(f"{case.opposing.file}: this is another file than the case was made for (SHA-256 differs); choose the right scan")
    return raw.transformed(to_cast)
