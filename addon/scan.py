"""Whether the scan of the case is still where it was and still the same file. Read in a thread, once for each state of the file."""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path

from ..core.case import Case

Seen = tuple[str, int, int]  # path, size, time

known: dict[Seen, str] = {}  # SHA-256 of files as they were
under_way: dict[Seen, threading.Thread] = {}


def _seen(path: Path) -> Seen | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return str(path), found.st_size, found.st_mtime_ns


def _read(key: Seen) -> None:
    try:
        with open(key[0], "rb") as stream:
            known[key] = hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        known[key] = "unreadable"


def busy() -> bool:
    """Whether a file is being read."""
    return any(t.is_alive() for t in under_way.values())


def state(case: Case, *, wait: bool = False) -> str:
    """ "there", "missing", "changed", or "unknown" while it is being read. wait: until it is known, for scripts."""
    key = _seen(case.scan)
    if key is None:
        return "missing"
    if key not in known and key not in under_way:
        under_way[key] = threading.Thread(target=_read, args=(key,), name="claspwright scan", daemon=True)
        under_way[key].start()
    if wait and key in under_way:
        under_way[key].join()
    if key not in known:
        return "unknown"
    under_way.pop(key, None)
    return "there" if known[key] == case.cast.sha256 or not case.cast.sha256 else "changed"


def digest(case: Case) -> str:
    """SHA-256 of the scan's file as it is now, "" where it is not known."""
    key = _seen(case.scan)
    return known.get(key, "") if key is not None else ""


def register() -> None:
    known.clear()


def unregister() -> None:
    for thread in under_way.values():
        thread.join(timeout=10)
    known.clear()
    under_way.clear()
