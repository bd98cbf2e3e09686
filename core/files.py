"""Files that are whole or not there: one file at a time, a folder of results at once, one writer a folder.

A process can end at any moment (power, kill, a full disk). What is promised: under its own name a file is the old one or the new one; a
folder of results holds one build's files; what a dead process left aside is cleared away by the next one that writes there.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from .errors import WriteError

LOCK = ".claspwright-lock"
STAGE = ".claspwright-part-"
STALE_S = 3600.0
"""A temporary file of this age belongs to no writer that still lives: the longest write takes seconds."""


def write_atomic(path: str | os.PathLike[str], data: bytes) -> None:
    """Write next to the target, then rename over it: a reader sees the old file or the new one, never half of one.

    Raises WriteError in one line; the old file and the folder are then as they were.
    """
    path = Path(path)
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(prefix=_aside(path), suffix=".part", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o644)  # mkstemp makes files that only their owner can read
        os.replace(temporary, path)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise WriteError(f"{path}: cannot be written ({error.strerror or error}); {_remedy(error)}") from None
    _sweep(path)


def _aside(path: Path) -> str:
    return f".{path.name[:60]}."  # names have 255 bytes at most, and a letter up to four


def _remedy(error: OSError) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return "free some space and try again"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return "choose a folder that may be written to"
    return "check the folder, its permission and the disk"


def _sweep(path: Path) -> None:
    """Take away what a writer that was killed left of this file."""
    for old in path.parent.glob(_glob_escape(_aside(path)) + "*.part"):
        with contextlib.suppress(OSError):
            if time.time() - old.stat().st_mtime > STALE_S:
                old.unlink()


def _glob_escape(name: str) -> str:
    return "".join(f"[{c}]" if c in "*?[" else c for c in name)


def make_folder(folder: str | os.PathLike[str]) -> Path:
    """The folder, made when missing. Raises WriteError when it cannot be one."""
    path = Path(folder)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WriteError(f"{path}: cannot be the folder for the results ({error.strerror or error}); give another") from None
    return path


@contextlib.contextmanager
def sole_writer(folder: Path) -> Iterator[Path]:
    """Hold a folder of results for this process alone; the system lets go of it when the process ends, however it ends.

    Raises WriteError at once when another process holds it, and when the folder cannot be written to.
    """
    file = folder / LOCK
    handle = _locked(file)
    try:
        for old in folder.glob(STAGE + "*"):  # under the lock nobody else's can be at work
            shutil.rmtree(old, ignore_errors=True)
        yield folder
    finally:
        with contextlib.suppress(OSError):
            file.unlink()  # while it is held: who opened it meanwhile sees that it is no longer the folder's
        handle.close()


def _locked(file: Path) -> IO[bytes]:
    while True:
        try:
            handle = open(file, "ab")  # noqa: SIM115 - held until the folder is let go
        except OSError as error:
            raise WriteError(f"{file.parent}: cannot be written to ({error.strerror or error}); {_remedy(error)}") from None
        try:
            _lock(handle)
        except OSError:
            handle.close()
            raise WriteError(f"{file.parent}: another build is writing there; wait for it, or choose another folder") from None
        try:
            same = os.path.samestat(os.fstat(handle.fileno()), file.stat())
        except OSError:
            same = False
        if same:
            return handle
        handle.close()  # the holder before took the file away between our opening and locking it


def _lock(handle: IO[bytes]) -> None:
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        return
    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


@contextlib.contextmanager
def all_at_once(folder: Path, last: str) -> Iterator[Path]:
    """A folder aside to write into; at the end its files take their places in `folder`, the file named `last` after all others.

    Until then the old files stand as they were, and after an error too. Call it under `sole_writer`. Raises WriteError.
    """
    try:
        aside = Path(tempfile.mkdtemp(prefix=STAGE, dir=folder))
    except OSError as error:
        raise WriteError(f"{folder}: cannot be written to ({error.strerror or error}); {_remedy(error)}") from None
    try:
        yield aside
        names = sorted((p.name for p in aside.iterdir()), key=lambda name: (name == last, name))
        try:
            (folder / last).unlink(missing_ok=True)  # who finds it finds every file that it tells of
            for name in names:
                os.replace(aside / name, folder / name)
        except OSError as error:
            raise WriteError(f"{folder}: cannot be written to ({error.strerror or error}); {_remedy(error)}") from None
    finally:
        shutil.rmtree(aside, ignore_errors=True)
