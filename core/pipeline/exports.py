"""Mesh files of a build: what is made from, what is tried on, and what other programs want to look at."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np

from ..cast import write_mesh
from ..cast.scenes import Look, encode_glb, encode_obj
from ..cast.threemf import encode_3mf
from ..checks import as_stored
from ..errors import CaseError
from ..files import write_atomic
from ..mesh import Floats, Mesh
from ..output import carried, depth_colours
from ..output.fit_maps import fit_maps, gap_colours
from ..solids.fields import Blend
from .additions import marked_cast, with_bar, with_stubs
from .build import Build

USUAL = ("stl", "3mf")
PART_SPACING_MM = 0.35
PART_SWELL_MM = 0.02  # a part's own solid is taken so much larger, or rounding would leave skins of a thousandth along its faces


def made_size(build: Build) -> Mesh:
    """The framework as it goes to the machine: polished faces with the allowance for finishing, the whole times the case's scale.

    The fitting side gets no allowance. With the usual settings (no allowance, scale 1.000) it is the framework itself.
    """
    settings = build.case.manufacture
    mesh = build.framework
    if settings.finishing_mm > 0:
        fitting = build.checked.fitting
        fixed = np.zeros(len(mesh.vertices), dtype=bool)
        fixed[mesh.faces[fitting]] = True
        vertices = mesh.vertices + np.where(fixed, 0.0, settings.finishing_mm)[:, None] * mesh.vertex_normals
        mesh = as_stored(Mesh(vertices, mesh.faces))
    return mesh if settings.scale == 1.0 else as_stored(Mesh(mesh.vertices * settings.scale, mesh.faces))


def parts_of(build: Build) -> dict[str, Mesh]:
    """The framework taken apart by component, without gaps or overlaps: what belongs to none (fillets) is called joints."""
    rest = build.framework.to_manifold()
    parts: dict[str, Mesh] = {}
    for name, built in build.assembly.built.items():
        if not built.shapes:
            continue
        swollen = [replace(s, field=_swollen(s.field), bounds=s.bounds + [[-PART_SWELL_MM] * 3, [PART_SWELL_MM] * 3]) for s in built.shapes]
        solid = Blend(swollen, 0.0).mesh(PART_SPACING_MM).to_manifold()
        piece, rest = rest ^ solid, rest - solid
        if piece.volume() > 0:
            parts[name] = Mesh.from_manifold(piece)
    if rest.volume() > 0:
        parts["joints"] = Mesh.from_manifold(rest)
    return parts


def _swollen(field: Callable[[Floats], Floats]) -> Callable[[Floats], Floats]:
    return lambda points: field(points) - PART_SWELL_MM


def coloured(build: Build) -> tuple[Mesh, dict[str, np.ndarray]]:
    """The framework with a colour a vertex for the fitting side (contact, planned space, off, pressed in), gap and thickness in mm."""
    maps = fit_maps(build.checked)
    colours = np.round(255 * gap_colours(maps.kind)).astype(np.uint8)
    values: dict[str, np.ndarray] = {"red": colours[:, 0], "green": colours[:, 1], "blue": colours[:, 2]}
    return build.framework, {**values, "gap": maps.gap.astype(np.float32), "thickness": maps.thickness.astype(np.float32)}


def _metadata(build: Build) -> Mapping[str, str]:
    """3MF core specification, section 3.4.1: names of its own. A patient code, never a name."""
    from ... import __version__

    case = build.case
    words = f"{case.manufacture.process}, {case.manufacture.alloy}, scale {case.manufacture.scale:.3f}"
    words += f", finishing allowance {case.manufacture.finishing_mm:g} mm; scan {build.cast.sha256}"
    return {"Title": case.title or "Framework", "Application": f"claspwright {__version__}", "Description": f"{case.patient_code}: {words}"}


def _glb(build: Build, folder: FilePath) -> None:
    depth = carried(build.survey.undercut, build.cast.mesh, build.prepared.mesh)
    tint = np.round(np.clip(depth_colours(depth), 0, 1) * 255).astype(np.uint8)
    looks = {"cast": Look((1.0, 1.0, 1.0), 0.0, 0.8, tint), "framework": Look((0.55, 0.56, 0.58), 1.0, 0.3)}
    write_atomic(folder / "framework.glb", encode_glb({"cast": build.prepared.mesh, "framework": build.framework}, looks))


def _stl(build: Build, folder: FilePath) -> None:
    write_mesh(folder / "framework.stl", made_size(build))


def _3mf(build: Build, folder: FilePath) -> None:
    write_atomic(folder / "framework.3mf", encode_3mf({"framework": made_size(build)}, _metadata(build)))


def _ply(build: Build, folder: FilePath) -> None:
    mesh, values = coloured(build)
    write_mesh(folder / "framework.ply", mesh, vertex_data=values)


def _obj(build: Build, folder: FilePath) -> None:
    write_atomic(folder / "framework.obj", encode_obj({"framework": made_size(build)}))


def _parts(build: Build, folder: FilePath) -> None:
    write_atomic(folder / "framework_parts.3mf", encode_3mf(parts_of(build), _metadata(build)))


def _bar(build: Build, folder: FilePath) -> None:
    write_mesh(folder / "framework_with_bar.stl", with_bar(build, made_size(build)))


def _stubs(build: Build, folder: FilePath) -> None:
    write_mesh(folder / "framework_with_stubs.stl", with_stubs(build, made_size(build)))


def _marked(build: Build, folder: FilePath) -> None:
    write_mesh(folder / "marked_cast.stl", marked_cast(build))


def _raised(build: Build, folder: FilePath) -> None:
    write_mesh(folder / "cast_with_raised_marks.stl", marked_cast(build, raised=True))


# What can be asked for: name, file, writer, and a word for the help.
EXPORTS: dict[str, tuple[str, Callable[[Build, FilePath], None], str]] = {
    "stl": ("framework.stl", _stl, "the framework, mm"),
    "3mf": ("framework.3mf", _3mf, "the framework with unit, name and metadata"),
    "ply": ("framework.ply", _ply, "the framework coloured by its fit, with gap and thickness of each point"),
    "obj": ("framework.obj", _obj, "the framework as text, mm"),
    "glb": ("framework.glb", _glb, "framework and coloured cast for viewers, metres"),
    "parts": ("framework_parts.3mf", _parts, "one object a component"),
    "bar": ("framework_with_bar.stl", _bar, "the framework with a stabilising bar across the arch"),
    "stubs": ("framework_with_stubs.stl", _stubs, "the framework with sprues and vents (pattern) or holding pins (milled)"),
    "marked_cast": ("marked_cast.stl", _marked, "the scanned cast, survey marks cut into it"),
    "raised_cast": ("cast_with_raised_marks.stl", _raised, "the scanned cast, survey marks raised on it"),
}


def wanted_exports(text: str) -> tuple[str, ...]:
    """Names from a list with commas, in the table's order. Raises CaseError for one that is not known."""
    names = [name.strip().lower() for name in text.split(",") if name.strip()]
    unknown = [name for name in names if name not in EXPORTS]
    if unknown or not names:
        raise CaseError(f"export: {', '.join(unknown) or 'nothing'} is not known; choose from {', '.join(EXPORTS)}")
    return tuple(name for name in EXPORTS if name in names)


def write_meshes(build: Build, folder: FilePath, wanted: tuple[str, ...] = USUAL) -> Iterator[str]:
    """Write the wanted files of the framework, and the casts; yields each file's name after it is written."""
    for name in wanted:
        file, write, _ = EXPORTS[name]
        write(build, folder)
        yield file
    write_mesh(folder / "master_cast.stl", as_stored(build.master.mesh))
    yield "master_cast.stl"
    write_mesh(folder / "trial_cast.stl", build.prepared.mesh)
    yield "trial_cast.stl"
    found = build.survey
    values = {"undercut": found.undercut, "visible": found.visible, "tooth": np.asarray(build.teeth.labels, dtype=np.int16)}
    write_mesh(folder / "survey.ply", build.cast.mesh, vertex_data=values)
    yield "survey.ply"
