"""Where a picture is taken from: set views of a cast, framed the same way for every case."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..mesh import Floats

# Direction from the cast to the viewer in the cast frame (Z occlusal, Y anterior), and what points up in the picture.
# "plus_x" and "minus_x" are turned into the patient's right and left by `view_camera`.
_VIEWS: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "occlusal": ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0)),
    "facial": ((0.0, 1.0, 0.22), (0.0, 0.0, 1.0)),
    "lingual": ((0.0, -0.80, 0.60), (0.0, 0.0, 1.0)),
    "plus_x": ((1.0, 0.18, 0.22), (0.0, 0.0, 1.0)),
    "minus_x": ((-1.0, 0.18, 0.22), (0.0, 0.0, 1.0)),
    "oblique": ((0.55, 0.62, 0.75), (0.0, 0.0, 1.0)),
    "tissue": ((0.0, 0.0, -1.0), (0.0, 1.0, 0.0)),
}
VIEWS = ("occlusal", "facial", "lingual", "right", "left", "oblique", "tissue")
FRAME_STEP_MM = 10.0  # frames grow in whole steps, so casts of ordinary size share one scale
MARGIN = 1.06


@dataclass(frozen=True)
class Camera:
    """An orthographic camera, or a perspective one when a distance is given.

    target : (3,) mm, shown in the middle of the picture
    toward : (3,) unit, from the target to the viewer
    up : (3,) unit, perpendicular to `toward`
    width_mm : width of the picture, measured in the plane through the target
    distance_mm : from the target to the eye; None for an orthographic picture
    """

    target: tuple[float, float, float]
    toward: tuple[float, float, float]
    up: tuple[float, float, float]
    width_mm: float
    distance_mm: float | None = None

    @property
    def axes(self) -> Floats:
        """(3, 3) rows: right, up, toward the viewer."""
        up, toward = np.array(self.up), np.array(self.toward)
        return np.stack([np.cross(up, toward), up, toward])

    def rays(self, pixels: Floats, size: tuple[int, int]) -> tuple[Floats, Floats]:
        """Origins and unit directions, (k, 3) each, of the sight lines through (k, 2) pixel positions (x right, y down)."""
        width, height = size
        right, up, toward = self.axes
        scale = self.width_mm / width
        x = (pixels[:, 0] - width / 2) * scale
        y = (height / 2 - pixels[:, 1]) * scale
        on_plane = np.array(self.target) + x[:, None] * right + y[:, None] * up
        if self.distance_mm is None:
            return on_plane + 200.0 * toward, np.broadcast_to(-toward, on_plane.shape)
        eye = np.array(self.target) + self.distance_mm * toward
        direction = on_plane - eye
        direction /= np.linalg.norm(direction, axis=1, keepdims=True)
        return np.broadcast_to(eye, on_plane.shape), direction

    def project(self, points: Floats, size: tuple[int, int]) -> Floats:
        """(k, 3): pixel x, pixel y, and mm toward the viewer from the target plane."""
        width, height = size
        local = (np.asarray(points, dtype=np.float64) - np.array(self.target)) @ self.axes.T
        scale = width / self.width_mm
        if self.distance_mm is not None:
            local[:, :2] /= (1.0 - local[:, 2:] / self.distance_mm)
        return np.column_stack([width / 2 + local[:, 0] * scale, height / 2 - local[:, 1] * scale, local[:, 2]])

    def toward_viewer(self, points: Floats) -> Floats:
        """(k, 3) unit, from each point to the eye."""
        if self.distance_mm is None:
            return np.broadcast_to(np.array(self.toward), np.shape(points))
        d = np.array(self.target) + self.distance_mm * np.array(self.toward) - points
        return d / np.linalg.norm(d, axis=1, keepdims=True)


def _unit(v: Iterable[float]) -> Floats:
    a = np.array(tuple(v), dtype=np.float64)
    return a / np.linalg.norm(a)


def look(
    points: Floats, toward: Iterable[float], up: Iterable[float] = (0, 0, 1), *, aspect: float = 1.4, perspective: bool = False,
    step_mm: float = FRAME_STEP_MM,
) -> Camera:
    """A camera that sees all of the (k, 3) points from a free direction; (2, 3) means the box between two corners.

    `aspect` is width over height. The frame is as small as it can be in whole steps of `step_mm`.
    """
    t = _unit(toward)
    u = np.array(tuple(up), dtype=np.float64)
    if abs(_unit(u) @ t) > 0.999:
        u = np.array([0.0, 1.0, 0.0])
    u = _unit(u - (u @ t) * t)
    points = np.asarray(points, dtype=np.float64)
    if len(points) == 2:
        (x0, y0, z0), (x1, y1, z1) = points
        points = np.array([[x, y, z] for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)])
    axes = np.stack([np.cross(u, t), u, t])
    local = points @ axes.T
    lo, hi = local.min(axis=0), local.max(axis=0)
    middle = (lo + hi) / 2 @ axes
    width = MARGIN * max(hi[0] - lo[0], (hi[1] - lo[1]) * aspect)
    width = step_mm * np.ceil(width / step_mm)
    return Camera(_three(middle), _three(t), _three(u), float(width), 420.0 if perspective else None)


def _three(v: Floats) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])


def view_camera(
    points: Floats, view: str = "occlusal", *, arch: str | None = "lower", aspect: float = 1.4, perspective: bool = False
) -> Camera:
    """One of the set VIEWS of a cast whose (k, 3) points, or (2, 3) bounds, are given.

    "right" and "left" are the patient's sides, so they need the arch: +X is the patient's right on a lower cast and the patient's left on
    an upper one. Raises KeyError with the list of views for an unknown name.
    """
    name = view
    if view in ("right", "left"):
        name = "plus_x" if (view == "right") == (arch != "upper") else "minus_x"
    if name not in _VIEWS:
        raise KeyError(f"no view called {view!r}: choose one of {', '.join(VIEWS)}")
    toward, up = _VIEWS[name]
    return look(points, toward, up, aspect=aspect, perspective=perspective)
