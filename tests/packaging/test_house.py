"""The house keeps its own rules: one version, a complete package list, sizes, no prints, no paths of one machine."""

import ast
import re
import subprocess
import tomllib
from pathlib import Path

import claspwright
import pytest

ROOT = Path(__file__).resolve().parents[2]
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
MANIFEST = tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))
SHIPPED = sorted([ROOT / "__init__.py", *(ROOT / "core").rglob("*.py"), *(ROOT / "addon").rglob("*.py")])
MODULE_LINES, FUNCTION_LINES = 400, 60  # design.md section 8: a module under about 400 lines, a function that fits a screen

# No file of the repository may name a machine's own folders or the host of a package registry. Written in pieces, so that this file
# passes its own test.
FORBIDDEN = [re.compile(r"(?<![\w.$}~-])/(?:" + "|".join(["wo" + "rk", "ro" + "ot", "t" + "mp", "ho" + "me"]) + r")/\w")]
REGISTRIES = (("py" + "pi", "org"), ("python" + "hosted", "org"), ("npm" + "js", "com"))
FORBIDDEN += [re.compile(re.escape(".".join(parts))) for parts in REGISTRIES]


def id_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def tracked() -> list[Path]:
    """Files under version control, or nothing where there is no git (an unpacked archive)."""
    done = subprocess.run(["git", "-C", str(ROOT), "ls-files", "-z"], capture_output=True, text=True, check=False)
    return [ROOT / name for name in done.stdout.split("\0") if name and (ROOT / name).is_file()]


def test_one_version():
    assert claspwright.__version__ == PYPROJECT["project"]["version"] == MANIFEST["version"]


def test_an_old_numpy_is_refused_in_one_line(monkeypatch: pytest.MonkeyPatch):
    """1.24.3 is what the official Blender 4.3 brings (fake-bpy-module, pull request 346); SciPy 1.17.1 does not import on it."""
    monkeypatch.setattr("numpy.__version__", "1.24.3")
    with pytest.raises(RuntimeError, match="use Blender 4.4 or later") as caught:
        claspwright.register()
    assert "\n" not in str(caught.value) and "1.24.3" in str(caught.value)


def test_package_list_is_complete():
    """Folders of Python on disk against pyproject.toml; a folder that is not listed would be missing from every install."""
    folders = {p.parent for part in ("core", "addon") for p in (ROOT / part).rglob("*.py")}
    on_disk = {"claspwright"} | {".".join(("claspwright", *folder.relative_to(ROOT).parts)) for folder in folders}
    assert set(PYPROJECT["tool"]["setuptools"]["packages"]) == on_disk


def test_every_folder_of_code_is_a_package():
    folders = {p.parent for part in ("core", "addon") for p in (ROOT / part).rglob("*.py")}
    assert [id_of(f) for f in folders if not (f / "__init__.py").is_file()] == []


def test_data_beside_code_is_shipped():
    """Files that are not Python, anywhere below core/ and addon/, need a pattern in package-data or an installed copy lacks them."""
    patterns = PYPROJECT["tool"]["setuptools"]["package-data"]["*"]
    data = [p for p in tracked() if p.suffix != ".py" and p.relative_to(ROOT).parts[0] in ("core", "addon")]
    assert [id_of(p) for p in data if not any(p.match(pattern) for pattern in patterns)] == []


def test_pins_agree_with_the_bundled_wheels():
    """pyproject.toml, scripts/wheels.lock and the manifest name the same releases: every pin for both Pythons and three platforms."""
    pins = dict(d.split("==") for d in PYPROJECT["project"]["dependencies"] if "==" in d)
    lock = [line.split()[1] for line in (ROOT / "scripts" / "wheels.lock").read_text().splitlines()]
    assert sorted(f"./wheels/{name}" for name in lock) == sorted(MANIFEST["wheels"])
    assert {tuple(name.split("-")[:2]) for name in lock} == set(pins.items())
    for package in pins:
        names = [name for name in lock if name.startswith(f"{package}-")]
        if any(name.endswith("-none-any.whl") for name in names):
            continue
        for abi in ("cp311", "cp313"):
            for platform in ("x86_64.whl", "win_amd64.whl", "arm64.whl"):
                assert sum(f"-{abi}-" in name and name.endswith(platform) for name in names) == 1, (package, abi, platform)


def test_manifest_asks_for_files_only():
    assert set(MANIFEST["permissions"]) == {"files"}
    assert not MANIFEST["permissions"]["files"].endswith(".")
    assert MANIFEST["id"] == "claspwright"
    assert MANIFEST["license"] == ["SPDX:GPL-3.0-or-later"] and PYPROJECT["project"]["license"] == "GPL-3.0-or-later"
    assert "Version 3, 29 June 2007" in (ROOT / "LICENSE").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", SHIPPED, ids=id_of)
def test_modules_and_functions_stay_small(path: Path):
    source = path.read_text(encoding="utf-8")
    assert len(source.splitlines()) <= MODULE_LINES, "split this module"
    functions = [n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]
    sizes = {f.name: (f.end_lineno or f.lineno) - f.lineno + 1 for f in functions}
    assert {name: size for name, size in sizes.items() if size > FUNCTION_LINES} == {}, "split these functions"


def forbidden_in(text: str) -> list[str]:
    return [match.group(0) for pattern in FORBIDDEN for match in pattern.finditer(text)]


def test_no_file_names_a_machine_or_a_registry():
    texts = [p for p in tracked() if p.suffix in {".py", ".md", ".toml", ".json", ".sh", ".html", ".lock", ""} and p.name != "LICENSE"]
    found = {id_of(p): forbidden_in(p.read_text(encoding="utf-8", errors="replace")) for p in texts}
    assert {name: words for name, words in found.items() if words} == {}


def test_the_search_for_machine_paths_finds_one():
    assert forbidden_in('open("/' + 'work/main/cast.stl")') and forbidden_in("see /" + "tmp/x")
    assert forbidden_in("https://py" + "pi.org/simple")
    inner = "/".join(["core", "work", "x"])  # a folder of that name inside the project is no machine's path
    assert not forbidden_in(inner) and not forbidden_in("{folder}" + "/tm" + "p/x")
