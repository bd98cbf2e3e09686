"""The extension as a user gets it: what is in each zip, and that the Linux one works in three real Blenders.

Each Blender starts as a fresh user (own folders), so nothing of this machine helps or hinders. The two Blender modules run in a bare
environment that holds only bpy and NumPy: what else is imported can only come out of the zip.
"""

import json
import os
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SCRIPT = Path(__file__).with_name("inside_blender.py")
PLATFORMS = {"linux_x64": "x86_64.whl", "windows_x64": "win_amd64.whl", "macos_arm64": "arm64.whl"}
MODULES = {"4.5.15": ROOT / ".venv-bpy45", "5.0.1": ROOT / ".venv-bpy50"}
IN_A_MODULE = ("bpy", "numpy", "numpy.libs")


@pytest.fixture(scope="session")
def zips(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The three zips, built now from this checkout by Blender's own builder."""
    python = MODULES["4.5.15"] / "bin" / "python"
    if not python.is_file() or not (ROOT / "wheels").is_dir():
        pytest.skip("needs .venv-bpy45 and wheels/: run `make extension` once")
    out = tmp_path_factory.mktemp("dist")
    command = [sys.executable, str(ROOT / "scripts" / "build_extension.py"), "--python", str(python), "--output", str(out)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    return {path.stem.split("-", 2)[2]: path for path in out.glob("*.zip")}


def files_to_ship(platform: str) -> set[str]:
    """The whole list of names that may be in one zip: the manifest, the licence, the code, the samples, and that platform's wheels."""
    patterns = ["*.py", *PYPROJECT["tool"]["setuptools"]["package-data"]["*"]]
    code = [p for part in ("core", "addon") for pattern in patterns for p in (ROOT / part).rglob(pattern)]
    lock = [line.split()[1] for line in (ROOT / "scripts" / "wheels.lock").read_text().splitlines()]
    wheels = {f"wheels/{n}" for n in lock if n.endswith((PLATFORMS[platform], "-none-any.whl"))}
    samples = [p for name in ("case.json", "cast.ply") for p in (ROOT / "sample_scenes").glob(f"*/{name}")]
    return {"blender_manifest.toml", "LICENSE", "__init__.py"} | {p.relative_to(ROOT).as_posix() for p in [*code, *samples]} | wheels


def test_one_zip_a_platform(zips: dict[str, Path]):
    assert set(zips) == set(PLATFORMS)


@pytest.mark.parametrize("platform", PLATFORMS)
def test_zip_holds_exactly_what_it_should(zips: dict[str, Path], platform: str):
    with zipfile.ZipFile(zips[platform]) as archive:
        names = [name for name in archive.namelist() if not name.endswith("/")]
        generated = archive.read("blender_manifest.toml").decode()
    assert len(names) == len(set(names))
    assert set(names) == files_to_ship(platform)
    assert f'platforms = ["{platform.replace("_", "-")}"]' in generated
    wheels = [name for name in names if name.endswith(".whl")]
    assert {abi for abi in ("cp311", "cp313") for name in wheels if f"-{abi}-" in name} == {"cp311", "cp313"}
    assert not [name for name in names if "numpy" in name.lower()], "NumPy is Blender's own and must never be bundled"


def bare_module(venv: Path, folder: Path) -> Path:
    """A Python with bpy and NumPy and nothing else: links into the environment where they are installed."""
    subprocess.run([str(venv / "bin" / "python"), "-m", "venv", "--without-pip", str(folder)], check=True, timeout=60)
    (source,) = (venv / "lib").glob("python3.*/site-packages")
    (target,) = (folder / "lib").glob("python3.*/site-packages")
    for name in IN_A_MODULE:
        (target / name).symlink_to(source / name)
    return folder / "bin" / "python"


def run_inside(command: list[str], archive: Path, folder: Path) -> dict:
    """Install and use the zip in one Blender; also proves that the process ends by itself (a callback left behind would hang it).

    All it reads lies in one folder and it starts there: a Blender in a root of its own need not see where the project lies.
    """
    result = folder / "result.json"
    script, archive = (shutil.copy(path, folder) for path in (SCRIPT, archive))
    # The first name is Blender's own, the second that of the desktop Blender's starter, which passes no other variable on.
    home = {"BLENDER_USER_RESOURCES": str(folder / "user"), "DESKTOP_BLENDER_HOME": str(folder / "home")}
    done = subprocess.run(
        [*command, str(script), "--", str(archive), str(result)],
        cwd=folder, env={**os.environ, **home}, capture_output=True, text=True, timeout=240,
    )  # fmt: skip
    words = done.stdout[-4000:] + done.stderr[-4000:]
    assert result.is_file(), words
    seen = json.loads(result.read_text())
    assert "error" not in seen, seen["error"] + words
    assert done.returncode == 0, words
    return seen


def judge(seen: dict) -> None:
    """What must hold in every Blender."""
    assert seen["enabled"] and not seen["enabled_after"]
    assert seen["before"]["classes"] == []
    assert seen["installed"]["classes"] != [], "nothing was registered"
    assert seen["cycles"] == [True, True], "enabling again does not give what the first enabling gave"
    assert seen["disabled"] == seen["before"] and seen["after"] == seen["before"], "something was left behind"
    assert seen["modules_left"] == [], "old submodules would survive a reload"
    for name, path in seen["paths"].items():
        inside = Path(path).is_relative_to(seen["user"])
        assert inside == (name != "numpy"), f"{name} was imported from {path}"
    # A sphere of radius 5 mm seen from above: the lower half is hidden, and its deepest undercut, under the equator, is at the pole: R.
    # Volume 4/3 pi r3; the polyhedron of 128 segments falls short by less than 0.3 %.
    work = seen["work"]
    assert work["closed"]
    assert work["volume"] == pytest.approx(4 / 3 * 3.141592653589793 * 125, rel=3e-3)
    assert work["deepest"] == pytest.approx(5.0, abs=0.02)
    assert work["visible"] == pytest.approx(0.5, abs=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("version", MODULES)
def test_installs_and_works_in_the_blender_module(zips: dict[str, Path], tmp_path: Path, version: str):
    venv = MODULES[version]
    if not (venv / "bin" / "python").is_file():
        pytest.skip(f"needs {venv.name}: `make test` makes it")
    python = bare_module(venv, tmp_path / "bare")
    seen = run_inside([str(python)], zips["linux_x64"], tmp_path)
    assert seen["blender"].startswith(version)
    assert seen["python"] == [3, 11] and seen["numpy"].startswith("1.26")
    judge(seen)


@pytest.mark.slow
def test_installs_and_works_in_the_desktop_blender(zips: dict[str, Path], tmp_path: Path):
    blender = os.environ.get("BLENDER")
    if not blender:
        pytest.skip("the environment variable BLENDER names no desktop Blender")
    command = [blender, "--background", "--factory-startup", "--python-exit-code", "3", "--python"]
    judge(run_inside(command, zips["linux_x64"], tmp_path))
