"""The folder for results."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..cast import write_atomic
from ..errors import CaseError


def result_folder(name: str | None) -> Path:
    """The folder, made when missing. Raises CaseError when it cannot be one."""
    if not name:
        raise CaseError("no folder for the results; give one with -o DIR")
    folder = Path(name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CaseError(f"{folder}: cannot be the folder for the results ({error.strerror or error}); give another with -o DIR") from None
    return folder


def write_json(path: Path, document: Mapping[str, Any]) -> None:
    """Atomic, strict JSON."""
    write_atomic(path, (json.dumps(document, indent=2, allow_nan=False) + "\n").encode("utf-8"))
