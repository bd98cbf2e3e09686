"""Build the sample cases and draw the pictures of the README into docs/pictures (small PNG).

python scripts/make_pictures.py [NAME...]
"""

import argparse
import sys
from pathlib import Path

import numpy as np
from claspwright.core.case import load_case
from claspwright.core.output import framework_pictures, survey_picture, write_bytes
from claspwright.core.output.camera import view_camera
from claspwright.core.output.drawing import png_bytes, side_by_side
from claspwright.core.output.pictures import finished
from claspwright.core.output.render import draw
from claspwright.core.output.scene import Part, Scene
from claspwright.core.pipeline import Build, build
from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
VIEWS = ("occlusal", "facial", "lingual")
IN_FULL = ("lower_class_i", "upper_class_iii_mod_1")  # shown large in the README, with facial view and survey
SIZE = (900, 675)


def small(image: Image.Image, width: int, colours: int = 256) -> bytes:
    """PNG bytes of the picture at `width` pixels, in a few colours (0: all of them, which an even ramp needs)."""
    height = round(image.height * width / image.width)
    fitted = image.convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
    return png_bytes(fitted.quantize(colours) if colours else fitted)


def sheet(made: Build) -> Image.Image:
    """The framework on its cast, seen from above and from the tongue's side, and alone, from above and from below."""
    arch = made.case.cast.arch
    on_cast = framework_pictures(made.prepared.mesh, made.framework, ("occlusal", "lingual"), arch=arch, size=SIZE)
    alone = []
    scene = Scene([Part("framework", made.framework, "metal")])
    for view in ("oblique", "tissue"):
        camera = view_camera(made.framework.vertices, view, arch=arch, aspect=SIZE[0] / SIZE[1])
        alone.append(finished(draw(scene, camera, size=SIZE), camera, "Alone" if view == "oblique" else "Alone, tissue side"))
    return side_by_side([*on_cast.values(), *alone], columns=2, gap=10)


def main() -> int:
    """Draw them all, or those named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    wanted = parser.parse_args().names
    folder = ROOT / "docs" / "pictures"
    folder.mkdir(parents=True, exist_ok=True)
    for case_file in sorted((ROOT / "sample_scenes").glob("*/case.json")):
        name = case_file.parent.name
        if wanted and name not in wanted:
            continue
        made = build(load_case(case_file))
        arch = made.case.cast.arch
        write_bytes(small(sheet(made), 1000, 64), folder / f"{name}.png")
        if name in IN_FULL:
            for view, image in framework_pictures(made.prepared.mesh, made.framework, VIEWS, arch=arch).items():
                write_bytes(small(image, 760), folder / f"{name}_{view}.png")
            labels = np.asarray(made.teeth.labels, dtype=np.int64)
            write_bytes(small(survey_picture(made.cast.mesh, made.survey, labels, arch=arch), 1000, 0), folder / f"{name}_survey.png")
        failed = [c.id for c in made.checks if c.status == "fail"]
        sys.stdout.write(f"{name}: {sum(made.stages.values()):.1f} s, failed checks: {', '.join(failed) or 'none'}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
