"""Draw the pictures of Blender's window for the README: the extension from its zip, used with mouse and keys on a sample.

BLENDER=path python scripts/make_window_pictures.py    (needs `make extension` once, a screen or xvfb-run, and the tool `import`)
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
WIDTH = 1150  # pixels of the 3D view with its side bar, on a screen of 1600
# part of the walk (tests/desktop/drive.py) and its picture: file of the README
PICTURES = {"1_open": "blender.jpg", "2_map_pointed": "blender_map.jpg"}
PARTS = ("install", "open_it", "choose")


def screen() -> list[str]:
    """What puts a window on a screen that nobody sees; nothing where there is a display."""
    if os.environ.get("DISPLAY"):
        return []
    starter = shutil.which("xvfb-run")
    return [starter, "-a", "-s", "-screen 0 1600x1000x24 +extension GLX"] if starter else []


def walk(blender: str, case: Path, folder: Path, parts: Sequence[str] = (), seconds: float = 560.0) -> subprocess.CompletedProcess[str]:
    """Build the extension and walk through a case in a real window; what was seen lies in `folder` (seen.json and pictures).

    All it reads lies in that folder and it starts there: a Blender in a root of its own need not see where the project lies.
    """
    python = ROOT / ".venv-bpy45" / "bin" / "python"
    make = [sys.executable, str(ROOT / "scripts" / "build_extension.py"), "--python", str(python), "--output", str(folder)]
    subprocess.run(make, check=True, capture_output=True, timeout=120)
    (archive,) = folder.glob("*linux_x64.zip")
    for file in (case, case.with_name("cast.ply")):
        if file.parent != folder:
            shutil.copy(file, folder)
    script, _ = (shutil.copy(ROOT / "tests" / "desktop" / name, folder) for name in ("drive.py", "hands.py"))
    home = {"BLENDER_USER_RESOURCES": str(folder / "user"), "DESKTOP_BLENDER_HOME": str(folder / "home")}
    # The exit code makes a script that cannot start end at once, not after the time allowed.
    command = [*screen(), blender, "--factory-startup", "--enable-event-simulate", "--python-exit-code", "3", "--python", str(script)]
    return subprocess.run(
        [*command, "--", str(archive), str(folder / "case.json"), str(folder), *parts],
        cwd=folder, env={**os.environ, **home}, capture_output=True, text=True, timeout=seconds,
    )  # fmt: skip


def main() -> int:
    """Draw them."""
    blender = os.environ.get("BLENDER")
    if not blender:
        sys.stderr.write("the environment variable BLENDER names no desktop Blender\n")
        return 2
    with tempfile.TemporaryDirectory() as name:
        done = walk(blender, ROOT / "sample_scenes" / "lower_class_i" / "case.json", Path(name), PARTS)
        for picture, target in PICTURES.items():
            file = Path(name) / f"{picture}.png"
            if not file.is_file():
                sys.stderr.write(f"{picture}: was not drawn\n{done.stdout[-1500:]}{done.stderr[-1500:]}\n")
                return 1
            with Image.open(file) as image:
                view = image.convert("RGB").crop((0, 28, 1320, 905))
                view.resize((WIDTH, round(view.height * WIDTH / view.width)), Image.Resampling.LANCZOS).save(
                    ROOT / "docs" / "pictures" / target, quality=88
                )
    return 0


if __name__ == "__main__":
    sys.exit(main())
