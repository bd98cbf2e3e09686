"""`claspwright sample`: a made-up cast and what is true of it."""

from __future__ import annotations

import argparse
import hashlib
import io
from dataclasses import replace
from typing import Any

import numpy as np

from ... import __version__
from ..cast import write_mesh
from ..cast.files import encode_ply
from ..errors import CaseError
from ..files import write_atomic
from ..phantom import SAMPLES, Phantom, PhantomSpec, make_phantom
from .console import Console
from .folder import result_folder, write_json


def run(options: argparse.Namespace, console: Console) -> int:
    """Write cast.stl, cast.ply (with the tooth of each point), labels.npy and truth.json."""
    if options.name == "list":
        console.finish({"samples": {n: _spec(s) for n, s in SAMPLES.items()}}, [f"{n}: {_words(s)}" for n, s in SAMPLES.items()])
        return 0
    if options.name not in SAMPLES:
        raise CaseError(f"there is no sample {options.name!r}; choose from {', '.join(SAMPLES)}")
    folder = result_folder(options.output)
    changed = {"seed": options.seed, "triangles": options.triangles, "noise_mm": options.noise, "open_surface": options.open or None}
    spec = replace(SAMPLES[options.name], **{k: v for k, v in changed.items() if v is not None})
    with console.step("make the cast"):
        made = make_phantom(spec)
    with console.step("write"):
        write_mesh(folder / "cast.stl", made.mesh)
        coloured = encode_ply(made.mesh, {"tooth": made.labels.astype(np.int16)})
        write_atomic(folder / "cast.ply", coloured)
        stored = io.BytesIO()
        np.save(stored, made.labels.astype(np.int16))
        write_atomic(folder / "labels.npy", stored.getvalue())
        head = {"version": __version__, "sample": options.name, "cast_ply_sha256": hashlib.sha256(coloured).hexdigest()}
        write_json(folder / "truth.json", head | _truth(spec, made))
    result = {"folder": str(folder), "sample": options.name, "vertices": len(made.mesh.vertices), "triangles": len(made.mesh.faces)}
    closed = "closed" if made.mesh.is_closed else "open"
    lines = [f"{options.name}: {_words(spec)}; {len(made.mesh.faces):,} triangles, {closed}"]
    console.finish(
        {**result, "closed": made.mesh.is_closed, "missing": list(made.missing)},
        [*lines, f"written to {folder}: cast.stl, cast.ply, labels.npy, truth.json"],
    )
    return 0


def _words(spec: PhantomSpec) -> str:
    return f"{spec.arch}, missing {' '.join(map(str, spec.missing)) or 'none'}"


def _spec(spec: PhantomSpec) -> dict[str, Any]:
    return {
        "arch": spec.arch, "missing": list(spec.missing), "absent": list(spec.absent), "noise_mm": spec.noise_mm,
        "triangles": spec.triangles, "open_surface": spec.open_surface, "variation": spec.variation, "seed": spec.seed,
    }  # fmt: skip


def _truth(spec: PhantomSpec, made: Phantom) -> dict[str, Any]:
    """Ground truth in the cast frame, mm: margins, axes, cusp tips, one point on each crown."""

    def points(table: dict[int, np.ndarray]) -> dict[str, Any]:
        return {str(fdi): np.round(value, 5).tolist() for fdi, value in table.items()}

    return {
        "spec": _spec(spec), "arch": made.arch, "missing": list(made.missing),
        "frame": "Z occlusal, Y anterior, X right in an occlusal view, mm",
        "labels": "labels.npy: FDI number of each point of cast.ply, 0 gum and base",
        "margins": points(made.margins), "axes": points(made.axes), "cusps": points(made.cusps), "seeds": points(made.seeds),
    }  # fmt: skip
