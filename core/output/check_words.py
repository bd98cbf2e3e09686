"""What a check is called where a person reads it: its stable name (`Check.id`) is for files."""

from __future__ import annotations

import re

# first parts of the name: heading in plain words; what follows in the name is the part or the tooth
HEADINGS = {
    "solid.watertight": "Closed surface",
    "solid.one_body": "One piece",
    "solid.outward": "Surface turned outward",
    "solid.scale": "Size",
    "solid.triangles": "Shape of triangles",
    "solid.self_intersection": "Surface crossing itself",
    "solid.stored": "Mesh as it is stored",
    "fit.surface": "Fit on the master cast",
    "fit.overlap": "Metal inside the cast",
    "fit.gaps": "Gaps under the metal",
    "fit.rest": "Rest on its seat",
    "form.thickness": "Thickness",
    "form.margin": "Distance from the gingiva",
    "form.feather": "Thin edges",
    "form.finish": "Finish line",
    "form.mass": "Mass",
    "form.radius": "Rounding of edges",
    "bite": "Room to the opposing arch",
    "insertion.rigid": "Rigid metal on the way in",
    "insertion.tip": "Undercut at the clasp tip",
    "insertion.first_stage": "Way in, first stage",
    "insertion.rotation": "Way in, rotation",
    "make.build_angle": "Supports on the fitting side",
    "make.reach": "Reach of the cutter",
    "material.type": "Type of the alloy",
    "arm.length": "Length of the arm",
    "arm.stress": "Stress in the arm",
    "reciprocation": "Reciprocation",
    "retention": "Retention",
    "retention.balance": "Retention of both sides alike",
    "lever.lift": "Lifting of the base",
    "lever.sinking": "Sinking of the base",
    "connector.stress": "Stress in the connector",
    "connector.stiffness": "Stiffness of the connector",
    "rest.width": "Width of the rest",
    "rest.floor": "Floor of the rest seat",
}


def heading(name: str) -> str:
    """The heading of a check by its name, with the part or tooth that the name ends in: "Thickness: lingual bar"."""
    parts = name.split(".")
    for k in range(len(parts), 0, -1):
        words = HEADINGS.get(".".join(parts[:k]))
        if words is not None:
            rest = " ".join(parts[k:])
            return f"{words}: {_spaced(rest)}" if rest else words
    return _spaced(" ".join(parts)).capitalize()


def _spaced(text: str) -> str:
    """The spaces that a name cannot hold; the stroke after a single letter is the word's own ("I-bar 34")."""
    return re.sub(r"(?<!\b[A-Z])-", " ", text).replace("_", " ")
