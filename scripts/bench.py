"""Times of the main jobs, as ratios to things that any machine can repeat: `make bench`.

Absolute times depend on the machine and on what else it does; a ratio to the bare rays on the same mesh hardly does.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import trimesh
from claspwright.core.case import load_case
from claspwright.core.cast import read_mesh, write_mesh
from claspwright.core.checks import run_checks
from claspwright.core.components import build_components
from claspwright.core.mechanics import analyse, analyse_clasp
from claspwright.core.mesh import Mesh
from claspwright.core.phantom import SAMPLES, make_phantom
from claspwright.core.pipeline.build import Clock, build, footing_of, surveyed
from claspwright.core.pipeline.mechanics import case_input, framework_material
from claspwright.core.planning.path_search import search
from claspwright.core.planning.path_search_plan import plan_path
from claspwright.core.survey import Path, RayScene, gauge_lines, survey
from claspwright.core.teeth import find_teeth, teeth_from_labels
from claspwright.core.teeth.landmarks import landmarks_of
from claspwright.core.teeth.seeds import arch_graph
from scipy.spatial import cKDTree

RUNS = 5
SEARCH_TRIANGLES = 200_000
SAMPLE_CASES = FilePath(__file__).resolve().parents[1] / "sample_scenes"


def best(job: Callable[[int], object]) -> float:
    """Shortest of a few runs, seconds; each run gets its number, so that no run can reuse another's result."""
    times = []
    for k in range(RUNS):
        start = time.perf_counter()
        job(k)
        times.append(time.perf_counter() - start)
    return min(times)


def plain_survey(loaded: trimesh.Trimesh, path: Path) -> np.ndarray:
    """What a few lines with trimesh give: visibility by its rays, depth to the middles of silhouette edges above."""
    points, facing = loaded.vertices @ path.rotation.T, loaded.face_normals @ path.vector
    directions = np.tile(path.vector, (len(points), 1))
    hidden = loaded.ray.intersects_any(loaded.vertices + 1e-3 * loaded.vertex_normals, directions)
    pair = loaded.face_adjacency
    edges = loaded.face_adjacency_edges[(facing[pair[:, 0]] > 0.0) != (facing[pair[:, 1]] > 0.0)]
    middle = points[edges].mean(axis=1)
    free = ~loaded.ray.intersects_any(middle @ path.rotation + 1e-3 * path.vector, np.tile(path.vector, (len(middle), 1)))
    middle = middle[free]
    far, near = cKDTree(middle[:, :2]).query(points[hidden, :2], k=8)
    far[middle[near, 2] < points[hidden, 2][:, None]] = np.inf
    depth = np.zeros(len(points))
    depth[hidden] = far.min(axis=1)
    return depth


def bench_survey(name: str, mesh: Mesh) -> None:
    """Survey of one mesh at new paths, against the bare rays and against the plain one."""
    start = time.perf_counter()
    scene = RayScene(mesh)
    _ = scene.edges, scene.normals, mesh.vertex_normals, mesh.face_normals
    once = time.perf_counter() - start
    loaded = mesh.to_trimesh()
    plain_survey(loaded, Path())
    rays = best(lambda k: scene.occluded(mesh.vertices, Path(1.0 + k, 0.0).vector))
    survey(mesh, Path(), scene=scene)  # what is kept for all paths is made at the first
    depth = best(lambda k: survey(mesh, Path(1.0 + k, 0.0), scene=scene))
    ours = best(lambda k: survey(mesh, Path(1.0 + k, 0.0), scene=scene).contours)
    plain = best(lambda k: plain_survey(loaded, Path(1.0 + k, 0.0)))
    results = [survey(mesh, Path(0.5 * k, 0.0), scene=scene) for k in range(RUNS)]
    gauges = best(lambda k: [gauge_lines(mesh, results[k], mm) for mm in (0.25, 0.50, 0.75)])
    hidden = int((~results[0].visible).sum())
    print(f"survey of {name}, {len(mesh.faces):,} triangles, {hidden:,} hidden vertices")
    print(f"  once a cast (rays, edges, smooth normals)  {once:7.3f} s")
    print(f"  floor: one ray a vertex                    {rays:7.3f} s")
    print(f"  seen and depth at a new path (shading)     {depth:7.3f} s = {depth / rays:5.1f} x the floor")
    print(f"  whole survey at a new path, with contours  {ours:7.3f} s = {ours / rays:5.1f} x the floor")
    print(f"  plain survey with trimesh                  {plain:7.3f} s = {plain / ours:5.2f} x ours (depth to sample points, no lines)")
    print(f"  gauge lines, three                         {gauges:7.3f} s")
    bench_memory(mesh)


ALONE = """
import pathlib, resource, sys
from claspwright.core.cast import read_mesh
from claspwright.core.survey import Path, gauge_lines, survey
mesh = read_mesh(sys.argv[1])[0]
for k in range(3):
    found = survey(mesh, Path(1.0 + k, 0.0))
    lines = found.contours, [gauge_lines(mesh, found, mm) for mm in (0.25, 0.50, 0.75)]
# getrusage counts what the process was before it became this one; the system's own file counts from then on.
status = pathlib.Path("/proc/self/status")
peak = [line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM")] if status.exists() else []
print(peak[0] if peak else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def bench_memory(mesh: Mesh) -> None:
    """Peak memory of a process that reads a cast and surveys it at three paths, and does nothing else."""
    with tempfile.TemporaryDirectory() as folder:
        file = FilePath(folder) / "cast.ply"
        write_mesh(file, mesh)
        done = subprocess.run([sys.executable, "-c", ALONE, str(file)], check=True, capture_output=True, text=True)
    print(f"  peak memory of reading it and three surveys {int(done.stdout) * 1024 / 1e9:6.2f} GB")


def bench_teeth(triangles: int) -> None:
    """Crowns from one click a tooth: what is done once a cast, and what a tooth then takes (2 s and 0.3 s at most, own limits)."""
    prepare, mark, land = [], [], []
    for k in range(3):
        made = make_phantom(replace(SAMPLES["lower_full"], triangles=triangles, noise_mm=0.01, seed=51 + k))
        clicks = {n: p[None] for n, p in made.seeds.items()}
        start = time.perf_counter()
        arch_graph(made.mesh)
        between = time.perf_counter()
        teeth = find_teeth(made.mesh, made.arch, clicks)
        after = time.perf_counter()
        for n in clicks:
            landmarks_of(teeth, n, made.mesh)
        prepare.append(between - start)
        mark.append((after - between) / len(clicks))
        land.append((time.perf_counter() - after) / len(clicks))
    print(f"teeth of a made-up lower cast, {len(made.mesh.faces):,} triangles, {len(clicks)} crowns, one click each")
    print(f"  once a cast                                {min(prepare):7.3f} s {'' if min(prepare) <= 2.0 else 'MORE THAN 2 s'}")
    print(f"  crown and margin, a tooth                  {min(mark):7.3f} s {'' if min(mark) <= 0.3 else 'MORE THAN 0.3 s'}")
    print(f"  landmarks, a tooth                         {min(land):7.3f} s")


def bench_path(triangles: int) -> None:
    """Search of the whole cone, shadows and all, against seeing every vertex along every direction with bare rays and nothing else."""
    made = make_phantom(replace(SAMPLES["lower_class_i"], triangles=triangles))
    plan = plan_path(made.mesh, teeth_from_labels(made.mesh, made.arch, np.asarray(made.labels, dtype=np.int64), made.missing))
    found = [search(plan) for _ in range(2)]
    start = time.perf_counter()
    search(plan)
    whole = time.perf_counter() - start
    directions = len(found[0].terms)
    one = plan.scene
    floor = best(lambda k: [one.occluded(made.mesh.vertices, Path(0.5 * k + j, 0.0).vector) for j in range(5)]) / 5.0
    seconds = min(f.seconds for f in found)
    print(f"path search on a made-up lower cast, {len(made.mesh.faces):,} triangles, {directions:,} directions")
    print(f"  judged on {len(plan.surfaces)} guide surfaces, {len(plan.tips)} tips, {len(plan.parts)} rigid parts")
    print(f"  map of the whole cone                      {seconds:7.3f} s = {1e3 * seconds / directions:.2f} ms a direction")
    print(f"  map, refinement and choices                {whole:7.3f} s")
    print(f"  floor: one ray a vertex and direction      {floor * directions:7.3f} s = {floor * directions / seconds:5.1f} x the map")


def bench_mechanics(folder: FilePath) -> None:
    """Every arm of a sample case alone, and the whole case, in processor time."""
    case = load_case(folder / "case.json")
    clock = Clock(None, None)
    site = footing_of(case, surveyed(case, clock), clock, quick=True).site
    data = case_input(case, build_components(case, site), site, framework_material(case)[0])
    results = analyse(data)  # tables of the yielding section are made once

    def spent(job: Callable[[], object]) -> float:
        times = []
        for _ in range(RUNS):
            start = time.process_time()
            job()
            times.append(time.process_time() - start)
        return min(times)

    arms = [spent(lambda c=c: analyse_clasp(c)) for c in data.clasps]  # type: ignore[misc]
    whole = spent(lambda: analyse(data))
    print(f"mechanics of {folder.name}: {len(results.clasps)} arms, the slowest {max(arms):.3f} s; the whole case {whole:.3f} s")


def bench_checks(folder: FilePath) -> None:
    """All checks of a sample's framework, with nothing kept from the build."""
    made = build(load_case(folder / "case.json"))
    spent, start = time.process_time(), time.perf_counter()
    found = run_checks(replace(made.checked))
    wall, spent = time.perf_counter() - start, time.process_time() - spent
    size = f"{len(made.cast.mesh.faces):,} triangles, metal of {len(made.framework.faces):,}"
    print(f"checks of {folder.name}: {len(found)} on a cast of {size}: {wall:.2f} s, {spent:.2f} s of processor time")


def main() -> None:
    """Made-up casts of three sizes, and any scans named."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scans", nargs="*", help="mesh files to survey too, occlusal side up")
    parser.add_argument("--triangles", type=int, action="append", default=[])
    options = parser.parse_args()
    for triangles in options.triangles or (60_000, 250_000, 1_000_000):
        spec = replace(SAMPLES["lower_class_i"], triangles=triangles)
        bench_survey("a made-up lower cast", make_phantom(spec).mesh)
    bench_teeth(SEARCH_TRIANGLES)
    bench_path(SEARCH_TRIANGLES)
    for case in sorted(SAMPLE_CASES.glob("*/case.json")):
        bench_mechanics(case.parent)
        bench_checks(case.parent)
    for file in options.scans:
        bench_survey(file, read_mesh(file)[0])
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


if __name__ == "__main__":
    main()
