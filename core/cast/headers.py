"""Words in a scan's header. They can be a patient's name; none is ever taken over, and that some were there is told, without the words."""

from __future__ import annotations

import re

_OWN = re.compile(rb"unit: millimetre", re.IGNORECASE)
_NAMES = re.compile(rb"patient|name|surname|birth|dob\b|address|phone|insurance", re.IGNORECASE)
_WORD = re.compile(rb"[^\W\d_]{2,}|[\x80-\xff]{2,}")
_HEAD = 65536


def left_out(kind: str, data: bytes) -> tuple[str, ...]:
    """A remark where the file's header holds words. kind: .stl, .ply or .obj; what a 3MF holds besides meshes is never looked at."""
    words = _OWN.sub(b"", b" ".join(_texts(kind, data[:_HEAD])))
    found = len(_WORD.findall(words))
    if not found:
        return ()
    likely = ", some of them such as go with a person's name" if _NAMES.search(words) else ""
    return (f"the file's header holds text ({found} words{likely}): it was not taken over into any result",)


def _texts(kind: str, head: bytes) -> list[bytes]:
    if kind == ".stl":
        if head[:5].lower() == b"solid" and b"facet" in head[:4096].lower():
            return [head.splitlines()[0][5:]]
        return [head[:80].split(b"\0", 1)[0]]
    if kind == ".ply":
        lines = head.split(b"end_header", 1)[0].splitlines()
        return [line.split(None, 1)[-1] for line in lines if line.startswith((b"comment ", b"obj_info "))]
    if kind == ".obj":
        return [line[1:] if line[:1] == b"#" else line[2:] for line in head.splitlines() if line.startswith((b"#", b"o ", b"g "))]
    return []
