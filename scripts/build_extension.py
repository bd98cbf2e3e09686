"""Build one Blender extension zip a platform into dist/, with the builder that Blender itself brings.

    python scripts/build_extension.py [--blender EXE | --python PYTHON]

`--blender` runs `blender --command extension build`; `--python` names a Python that has the bpy module, whose copy of the same builder
is run instead, so a machine without a desktop can build too. The wheels must be in wheels/ (scripts/fetch_wheels.py).
"""

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LIMIT = 300 * 1024 * 1024  # bytes; the largest upload that Blender's extension site was planned for (a note of May 2024, unverified since)


def builder_of(python: str) -> list[str]:
    """The command that runs the builder inside the bpy module of another Python."""
    code = "import importlib.util as u; print(u.find_spec('bpy').submodule_search_locations[0])"
    package = subprocess.run([python, "-c", code], check=True, capture_output=True, text=True).stdout.strip()
    found = sorted(Path(package).glob("*/scripts/addons_core/bl_pkg/cli/blender_ext.py"))
    if not found:
        sys.exit(f"No extension builder in {package}: use a bpy of 4.2 or later, or --blender")
    return [python, str(found[-1]), "build"]


def main() -> int:
    parser = argparse.ArgumentParser(description="Build the Blender extension, one zip a platform.")
    parser.add_argument("--blender", help="a Blender executable to build with")
    parser.add_argument("--python", default=sys.executable, help="a Python that has the bpy module (used without --blender)")
    parser.add_argument("--output", type=Path, default=ROOT / "dist", help="folder for the zips (default: dist/)")
    args = parser.parse_args()
    command = [args.blender, "--command", "extension", "build"] if args.blender else builder_of(args.python)

    args.output.mkdir(parents=True, exist_ok=True)
    # Built next to the goal and moved in one step each, so that nobody ever installs half a zip.
    with tempfile.TemporaryDirectory(dir=args.output, prefix=".build-") as folder:
        command += ["--source-dir", str(ROOT), "--output-dir", folder, "--split-platforms"]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
        zips = sorted(Path(folder).glob("*.zip"))
        if done.returncode or not zips:
            print(done.stdout + done.stderr, file=sys.stderr)
            print("Blender's builder did not make the extension (its words are above)", file=sys.stderr)
            return 1
        for old in args.output.glob("claspwright-*.zip"):
            old.unlink()
        for path in zips:
            size = path.stat().st_size
            path.replace(args.output / path.name)
            print(f"{args.output.name}/{path.name}  {size / 1e6:.1f} MB" + ("  (too large to upload)" if size > LIMIT else ""))
    return 0


if __name__ == "__main__":
    sys.exit(main())
