"""Fetch the wheels that the Blender extension bundles into wheels/, and check each against scripts/wheels.lock.

    python scripts/fetch_wheels.py [--platform linux-x64 ...]

The lock is in the format of sha256sum: one line a wheel, made from the released files. What is there already and right is left
alone; what is missing is fetched with pip, which refuses a file whose hash differs. NumPy is not among them: Blender brings its own,
and a second one in the same process would break both.
"""

import argparse
import hashlib
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "scripts" / "wheels.lock"
WHEELS = ROOT / "wheels"

# Blender's name of a platform -> what a wheel's name ends in, and the tags pip may choose from. The first tag is the oldest system
# that all the pinned wheels run on: glibc 2.28, any Windows 10, macOS 13.
PLATFORMS = {
    "linux-x64": ("x86_64.whl", ["manylinux_2_28_x86_64", "manylinux_2_27_x86_64", "manylinux_2_17_x86_64"]),
    "windows-x64": ("win_amd64.whl", ["win_amd64"]),
    "macos-arm64": ("arm64.whl", ["macosx_13_0_arm64"]),
}
PYTHONS = {"cp311": "3.11", "cp313": "3.13"}


def locked() -> dict[str, str]:
    """File name -> SHA-256 of every wheel in the lock."""
    rows = (line.split() for line in LOCK.read_text().splitlines() if line.strip())
    return {name: digest for digest, name in rows}


def wheels_for(platform: str, names: dict[str, str] | list[str]) -> list[str]:
    """The locked wheels that belong into one platform's zip: its own for both Pythons, and the pure ones."""
    ending, _ = PLATFORMS[platform]
    return sorted(n for n in names if n.endswith((ending, "-none-any.whl")))


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def fetch(names: list[str], digests: dict[str, str], python: str, tags: list[str]) -> None:
    """Download the named wheels for one Python and one platform; pip checks the hashes before it keeps a file."""
    lines = [f"{n.split('-')[0]}=={n.split('-')[1]} --hash=sha256:{digests[n]}" for n in names]
    with tempfile.TemporaryDirectory() as folder:
        requirements = Path(folder, "requirements.txt")
        requirements.write_text("\n".join(lines) + "\n")
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--require-hashes", "--no-deps"]
        command += ["--only-binary=:all:", "--implementation", "cp", "--python-version", python]
        command += [word for tag in tags for word in ("--platform", tag)]
        subprocess.run([*command, "--dest", str(WHEELS), "-r", str(requirements)], check=True)


def main() -> int:
    parser = argparse.ArgumentParser(description="Fetch and check the wheels that the Blender extension bundles.")
    parser.add_argument("--platform", action="append", choices=PLATFORMS, help="only this platform (may be repeated)")
    platforms = parser.parse_args().platform or list(PLATFORMS)
    digests = locked()
    WHEELS.mkdir(exist_ok=True)
    for platform in platforms:
        for abi, python in PYTHONS.items():
            wanted = [n for n in wheels_for(platform, digests) if f"-{abi}-" in n or n.endswith("-none-any.whl")]
            missing = [n for n in wanted if not (WHEELS / n).is_file() or digest(WHEELS / n) != digests[n]]
            for name in missing:
                (WHEELS / name).unlink(missing_ok=True)
            if missing:
                print(f"Fetching {len(missing)} wheels for {platform}, Python {python}")
                fetch(missing, digests, python, PLATFORMS[platform][1])
    wanted_all = {n for p in platforms for n in wheels_for(p, digests)}
    wrong = sorted(n for n in wanted_all if not (WHEELS / n).is_file() or digest(WHEELS / n) != digests[n])
    if wrong:
        print(f"These wheels are missing or not the ones in {LOCK.name}: {', '.join(wrong)}", file=sys.stderr)
        return 1
    print(f"{len(wanted_all)} wheels in {WHEELS.name}/, all as locked")
    return 0


if __name__ == "__main__":
    sys.exit(main())
