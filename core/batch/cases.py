"""Which cases a folder holds, and where the results of each go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..case.document import FORMAT
from ..errors import CaseError

_HEAD = 4096
USUAL_NAME = "case.json"


@dataclass(frozen=True)
class BatchCase:
    """name : of the case in the table, its place below the folder; file : the case file; into : folder of its results"""

    name: str
    file: Path
    into: Path


def find_cases(folder: Path, output: Path) -> list[BatchCase]:
    """All case files below a folder, in the order of their names, but none below the folder of results.

    A case file is called case.json, or is any JSON file that says in its head that it is one. Raises CaseError when there is none.
    """
    if not folder.is_dir():
        raise CaseError(f"{folder}: no such folder; give the folder that holds the cases")
    found = []
    aside = output.resolve()
    for file in sorted(folder.rglob("*.json")):
        if aside in file.resolve().parents or not file.is_file() or not (file.name == USUAL_NAME or _says_so(file)):
            continue
        place = file.parent if file.name == USUAL_NAME else file.with_suffix("")
        name = place.relative_to(folder).as_posix()
        found.append(BatchCase(folder.resolve().name if name == "." else name, file, output / name))
    if not found:
        raise CaseError(f"{folder}: no case files (case.json) in it or below; give the folder that holds the cases")
    _apart(found)
    return found


def _says_so(file: Path) -> bool:
    try:
        with open(file, "rb") as stream:
            return f'"{FORMAT}"'.encode() in stream.read(_HEAD)
    except OSError:
        return False


def _apart(found: Sequence[BatchCase]) -> None:
    into: dict[Path, Path] = {}
    for case in found:
        if case.into in into:
            raise CaseError(f"{case.file} and {into[case.into]} would be written to one folder; rename one of them")
        into[case.into] = case.file
