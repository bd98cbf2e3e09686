"""Measure what full builds of one lower case take by the size of its cast: the figures of core/pipeline/limits.py and of README.

    python scripts/measure_limits.py [TRIANGLES ...]

Each build is a process of its own. A cast of more than two million triangles is made from a smaller one, each triangle in four, with a
micrometre of noise. For a computer that does nothing else meanwhile.
"""

import json
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from claspwright.core.cast import write_mesh
from claspwright.core.mesh import Mesh
from claspwright.core.phantom import SAMPLES, make_phantom

CASE = Path(__file__).resolve().parents[1] / "sample_scenes" / "lower_class_i" / "case.json"
SIZES = (12_000, 190_000, 500_000, 1_000_000, 5_000_000)


def cast(triangles: int) -> Mesh:
    many = triangles > 2_000_000
    mesh = make_phantom(replace(SAMPLES["lower_class_i"], triangles=triangles // 4 if many else triangles)).mesh
    if many:
        fine = mesh.to_trimesh().subdivide()
        noise = np.random.default_rng(1).normal(0.0, 0.001, fine.vertices.shape)
        mesh = Mesh(np.array(fine.vertices) + noise, np.array(fine.faces))
    return mesh


def main() -> None:
    for triangles in [int(word) for word in sys.argv[1:]] or SIZES:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            mesh = cast(triangles)
            write_mesh(folder / "cast.ply", mesh)
            document = json.loads(CASE.read_text(encoding="utf-8"))
            document["cast"] |= {"file": "cast.ply", "sha256": ""}
            (folder / "case.json").write_text(json.dumps(document), encoding="utf-8")
            start = time.perf_counter()
            command = [sys.executable, "-m", "claspwright", "build", str(folder / "case.json"), "-o", str(folder / "out"), "--quiet"]
            done = subprocess.run(command, capture_output=True, text=True)
            took = time.perf_counter() - start
            if done.returncode not in (0, 1):
                print(f"{len(mesh.faces):>10,} triangles: {done.stderr.strip()}", flush=True)
                continue
            found = json.loads((folder / "out" / "build.json").read_text(encoding="utf-8"))
            print(f"{len(mesh.faces):>10,} triangles  {took:6.1f} s  {found['peak_memory_gb']:5.2f} GB  exit {done.returncode}", flush=True)


if __name__ == "__main__":
    main()
