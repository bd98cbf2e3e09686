"""Arguments in, exit code out."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn

from ... import __version__
from ..errors import ClaspwrightError
from ..memory import one_heap
from .console import Console

CAUTION = "Not a certified medical device: what it designs is for a qualified person to judge and to approve."


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        """One line instead of argparse's usage and error."""
        self.exit(2, f"{self.prog}: {message}; see {self.prog} --help\n")


def _degrees(text: str) -> float:
    value = float(text)
    if not math.isfinite(value) or abs(value) > 45.0:
        raise argparse.ArgumentTypeError(f"{text} is no tilt; give degrees from -45 to 45")
    return value


def _parser() -> argparse.ArgumentParser:
    what = "Metal frameworks for removable partial dentures, from a scanned cast."
    parser = _Parser(prog="claspwright", description=what, epilog=CAUTION)
    parser.add_argument("--version", action="version", version=f"claspwright {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Parser)

    build = commands.add_parser("build", help="design the framework of a case", epilog=CAUTION)
    build.add_argument("case", metavar="CASE.json", help="case file")
    build.add_argument("--quick", action="store_true", help="coarse preview, not for making")
    files = "stl,3mf,ply,obj,glb,parts,bar,stubs,marked_cast,raised_cast"
    build.add_argument("--export", metavar="LIST", default="stl,3mf", help=f"files: {files}")
    _common(build)

    _batch(commands, files)

    plan = commands.add_parser("plan", help="draft a design for a charted scan, with reasons", epilog=CAUTION)
    plan.add_argument("case", metavar="CASE.json", help="case file with the chart; its components are drafted anew")
    plan.add_argument("--critique", action="store_true", help="keep the components of the case and say what the rules find in them")
    plan.add_argument("--keep-path", action="store_true", help="draft for the path of the case instead of searching one")
    _common(plan)

    check = commands.add_parser("check", help="check a framework that was changed elsewhere", epilog=CAUTION)
    check.add_argument("framework", metavar="FRAMEWORK", help="STL, PLY, OBJ or 3MF in the frame of the case's cast, mm")
    check.add_argument("--case", metavar="CASE.json", required=True, help="the case it was made for")
    _common(check, output_needed=False)

    survey = commands.add_parser("survey", help="height of contour and undercut of a cast for one path", epilog=CAUTION)
    survey.add_argument("cast", metavar="CAST", help="scan: STL, PLY, OBJ or 3MF")
    survey.add_argument(
        "--tilt", nargs=2, type=_degrees, default=(0.0, 0.0), metavar=("AP", "LAT"),
        help="tilt of the cast in degrees: anterior down positive, X side (right in an occlusal view) down positive",
    )  # fmt: skip
    survey.add_argument("--keep-frame", action="store_true", help="keep the file's own axes (Z occlusal, mm); any solid will do")
    survey.add_argument("--arch", choices=("upper", "lower"), help="which arch; guessed when left out")
    survey.add_argument("--base", action="store_true", help="close an open scan with a trimmed base first")
    survey.add_argument("--labels", metavar="FILE.npy", help="FDI numbers, one a triangle or one a point of the scan (0 gum)")
    _common(survey)

    teeth = commands.add_parser("teeth", help="crowns, margins, numbers and landmarks of a scan, as a proposal", epilog=CAUTION)
    teeth.add_argument("cast", metavar="CAST", help="scan: STL, PLY, OBJ or 3MF")
    teeth.add_argument("--arch", choices=("upper", "lower"), help="which arch; guessed when left out")
    teeth.add_argument("--numbers", choices=("fdi", "universal"), default="fdi", help="tooth numbers shown (stored are always FDI)")
    teeth.add_argument("--missing", metavar="FDI", help="teeth known to be missing, for example 36,37: makes the numbers surer")
    teeth.add_argument("--keep-frame", action="store_true", help="keep the file's own axes (Z occlusal, mm)")
    _common(teeth)

    _path(commands)

    sample = commands.add_parser("sample", help="make a made-up cast with its ground truth")
    sample.add_argument("name", metavar="NAME", help="which cast; `list` shows the names")
    sample.add_argument("--seed", type=int, help="another seed makes another patient")
    sample.add_argument("--triangles", type=int, metavar="N", help="wished number of triangles")
    sample.add_argument("--noise", type=float, metavar="MM", help="scan noise, standard deviation in mm")
    sample.add_argument("--open", action="store_true", help="open surface as from an intra-oral scanner, without base")
    _common(sample, output_needed=False)
    return parser


def _batch(commands: argparse._SubParsersAction[_Parser], files: str) -> None:
    batch = commands.add_parser("batch", help="build all cases of a folder, several at a time; goes on after a stop", epilog=CAUTION)
    batch.add_argument("folder", metavar="FOLDER", help="folder with case files in it or below")
    batch.add_argument("--jobs", type=int, metavar="N", help="cases at a time; left out: one a core, as far as memory goes (2 GB each)")
    batch.add_argument("--cluster", metavar="ADDRESS", help="address of a Dask scheduler, for example tcp://10.0.0.1:8786; needs Dask")
    batch.add_argument("--quick", action="store_true", help="coarse preview, not for making")
    batch.add_argument("--export", metavar="LIST", default="stl,3mf", help=f"files of each: {files}")
    batch.add_argument("--no-report", action="store_true", help="meshes, checks and build.json only: no pictures, report or preview")
    _common(batch)


def _path(commands: argparse._SubParsersAction[_Parser]) -> None:
    path = commands.add_parser("path", help="search for a path of placement: map, best path, what a tilt buys and costs", epilog=CAUTION)
    path.add_argument("cast", metavar="CASE.json|CAST", help="case file, or a bare scan (STL, PLY, OBJ or 3MF)")
    path.add_argument(
        "--tilt", nargs=2, type=_degrees, metavar=("AP", "LAT"),
        help="a path picked by hand, scored alike: anterior down positive, X side (right in an occlusal view) down positive",
    )  # fmt: skip
    path.add_argument("--weights", metavar="LIST", help="what counts how much, for example guide_planes=2,tilt=0 (0 to 10)")
    path.add_argument("--labels", metavar="FILE.npy", help="bare scan: FDI numbers, one a triangle or a point; else teeth are proposed")
    path.add_argument("--missing", metavar="FDI", help="bare scan: teeth to be replaced, for example 36,37; guessed when left out")
    path.add_argument("--arch", choices=("upper", "lower"), help="bare scan: which arch; guessed when left out")
    path.add_argument("--keep-frame", action="store_true", help="bare scan: keep the file's own axes (Z occlusal, mm)")
    _common(path)


def _common(parser: argparse.ArgumentParser, *, output_needed: bool = True) -> None:
    parser.add_argument("-o", "--output", metavar="DIR", required=output_needed, help="folder for the results; made when missing")
    parser.add_argument("--json", action="store_true", help="result as one JSON document on stdout")
    parser.add_argument("--quiet", action="store_true", help="no progress on stderr")


def _command(name: str) -> Callable[[argparse.Namespace, Console], int]:
    # each command is loaded only when it runs: `--help` and bad arguments answer at once
    if name == "batch":
        from .batch import run as batch

        return batch
    if name == "build":
        from .build import run as build

        return build
    if name == "check":
        from .check import run as check

        return check
    if name == "path":
        from .path import run as path

        return path
    if name == "plan":
        from .plan import run as plan

        return plan
    if name == "survey":
        from .survey import run as survey

        return survey
    if name == "teeth":
        from .teeth import run as teeth

        return teeth
    from .sample import run as sample

    return sample


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns the exit code: 0 success, 1 failed check or stopped, 2 bad input."""
    try:
        options = _parser().parse_args(argv)
    except SystemExit as end:  # argparse ends this way after --help and after an error
        return end.code if isinstance(end.code, int) else 2
    one_heap()
    console = Console(as_json=options.json, quiet=options.quiet)
    try:
        return _command(options.command)(options, console)
    except ClaspwrightError as error:
        console.fail(str(error))
        return error.exit_code
    except MemoryError:
        console.fail("not enough memory for this cast; reduce the scan or close other programs")
        return 2
    except KeyboardInterrupt:
        console.fail("stopped; nothing half-written is left")
        return 1
    except BrokenPipeError:
        sys.stderr.close()
        return 1
