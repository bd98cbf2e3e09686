"""The path of placement: one direction, written as two tilts from the occlusal normal (design: frames)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats


@dataclass(frozen=True)
class Path:
    """The way the framework comes OFF the teeth, in the cast frame (Z occlusal, Y anterior).

    anteroposterior_deg : anterior edge of the cast lowered is positive
    lateral_deg : the X side (viewer's right in an occlusal view) lowered is positive
    """

    anteroposterior_deg: float = 0.0
    lateral_deg: float = 0.0

    @property
    def vector(self) -> Floats:
        """(3,) unit vector. Lowering the front of a cast under an upright rod makes the rod lean backward in the cast's own frame."""
        ty = -np.tan(np.radians(self.anteroposterior_deg))
        tx = -np.tan(np.radians(self.lateral_deg))
        v = np.array([tx, ty, 1.0])
        return v / np.linalg.norm(v)

    @property
    def rotation(self) -> Floats:
        """(3, 3) rotation that turns the path onto +Z: rows are the axes of the path frame (points @ rotation.T)."""
        z = self.vector
        x = np.array([1.0, 0.0, 0.0]) - z[0] * z
        x /= np.linalg.norm(x)
        return np.stack([x, np.cross(z, x), z])

    @property
    def tilt_deg(self) -> float:
        """Angle to the occlusal normal."""
        return float(np.degrees(np.arccos(np.clip(self.vector[2], -1.0, 1.0))))

    @staticmethod
    def from_vector(vector: Floats) -> Path:
        """From any vector with a positive Z."""
        x, y, z = np.asarray(vector, dtype=np.float64)
        return Path(float(-np.degrees(np.arctan2(y, z))), float(-np.degrees(np.arctan2(x, z))))


def into_path_frame(points: Floats, path: Path) -> Floats:
    """Turn (k, 3) points or directions so that the path is +Z.

    Written out: for matrices this narrow a threaded product spends more time waking its threads than multiplying.
    """
    r = path.rotation
    x, y, z = points[:, 0], points[:, 1], points[:, 2]
    return np.column_stack([r[k, 0] * x + r[k, 1] * y + r[k, 2] * z for k in range(3)])


def vectors(plane: Floats) -> Floats:
    """(k, 3) unit vectors of points of the tilt plane (k, 2). Lowering a side leans the rod away from it in the cast's own frame."""
    plane = np.asarray(plane, dtype=np.float64).reshape(-1, 2)
    angle = np.radians(np.hypot(plane[:, 0], plane[:, 1]))
    lean = -np.sinc(angle / np.pi) * np.radians(1.0)  # sin(angle)/angle, finite at no tilt
    return np.column_stack([lean * plane[:, 0], lean * plane[:, 1], np.cos(angle)])


def plane_of(vector: Floats) -> Floats:
    """(..., 2) place in the tilt plane of unit vectors (..., 3)."""
    vector = np.asarray(vector, dtype=np.float64)
    flat = vector[..., :2]
    sine = np.linalg.norm(flat, axis=-1, keepdims=True)
    angle = np.degrees(np.arctan2(sine, vector[..., 2:]))
    return np.asarray(-flat / np.maximum(sine, 1e-15) * angle)


def path_of(place: Floats) -> Path:
    """The Path at one place of the tilt plane (2,)."""
    return Path.from_vector(vectors(place)[0])
