"""The folder for results."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import CaseError
from ..files import make_folder, write_atomic


def result_folder(name: str | None) -> Path:
    """The folder, made when missing. Raises CaseError without a name, WriteError when it cannot be one."""
    if not name:
        raise CaseError("no folder for the results; give one with -o DIR")
    return make_folder(name)


def write_json(path: Path, document: Mapping[str, Any]) -> None:
    """Atomic, strict JSON."""
    write_atomic(path, (json.dumps(document, indent=2, allow_nan=False) + "\n").encode("utf-8"))
