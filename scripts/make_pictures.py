"""Build the sample cases and draw the pictures of the README into docs/pictures (small PNG).

python scripts/make_pictures.py
"""

import sys
from pathlib import Path

import numpy as np
from claspwright.core.case import load_case
from claspwright.core.output import framework_pictures, survey_picture, write_bytes
from claspwright.core.output.drawing import png_bytes
from claspwright.core.pipeline import build
from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
VIEWS = ("occlusal", "facial", "lingual")


def small(image: Image.Image, width: int, colours: int = 256) -> bytes:
    """PNG bytes of the picture at `width` pixels, in a few colours (0: all of them, which an even ramp needs)."""
    height = round(image.height * width / image.width)
    fitted = image.convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
    return png_bytes(fitted.quantize(colours) if colours else fitted)


def main() -> int:
    """Draw them all."""
    folder = ROOT / "docs" / "pictures"
    folder.mkdir(parents=True, exist_ok=True)
    for case_file in sorted((ROOT / "sample_scenes").glob("*/case.json")):
        name = case_file.parent.name
        made = build(load_case(case_file))
        arch = made.case.cast.arch
        for view, image in framework_pictures(made.prepared.mesh, made.framework, VIEWS, arch=arch).items():
            write_bytes(small(image, 760), folder / f"{name}_{view}.png")
        labels = np.asarray(made.teeth.labels, dtype=np.int64)
        write_bytes(small(survey_picture(made.cast.mesh, made.survey, labels, arch=arch), 1000, 0), folder / f"{name}_survey.png")
        failed = [c.id for c in made.checks if c.status == "fail"]
        sys.stdout.write(f"{name}: {sum(made.stages.values()):.1f} s, failed checks: {', '.join(failed) or 'none'}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
