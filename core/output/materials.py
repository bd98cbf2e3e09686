"""What things are made of in a picture: dental stone, polished cobalt-chromium, block-out wax; and the light they stand in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Singles = NDArray[np.float32]


@dataclass(frozen=True)
class Material:
    """A surface for pictures.

    colour : sRGB 0..1; for metal the reflectance at normal incidence
    metal : mirrors the studio instead of scattering its light
    opacity : below 1 what lies behind is seen through
    gloss : strength of the highlight on a scattering surface
    """

    colour: tuple[float, float, float]
    metal: bool = False
    opacity: float = 1.0
    gloss: float = 0.03


MATERIALS: dict[str, Material] = {
    "stone": Material((0.855, 0.795, 0.69)),
    "plaster": Material((0.90, 0.89, 0.865)),
    "metal": Material((0.815, 0.83, 0.85), metal=True),
    "wax": Material((0.36, 0.60, 0.72), opacity=0.58, gloss=0.12),
    "relief": Material((0.86, 0.52, 0.50), opacity=0.62, gloss=0.12),
    "resin": Material((0.80, 0.42, 0.40), gloss=0.10),
    "mark": Material((0.10, 0.30, 0.62)),
}


def to_linear(srgb: NDArray) -> Singles:
    """sRGB 0..1 to linear light (IEC 61966-2-1)."""
    c = np.asarray(srgb, dtype=np.float32)
    return np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0) + 0.055) / 1.055) ** 2.4).astype(np.float32)


def to_srgb(linear: NDArray) -> Singles:
    """Linear light to sRGB 0..1, clipped (IEC 61966-2-1)."""
    c = np.clip(linear, 0.0, 1.0).astype(np.float32)
    return np.where(c <= 0.0031308, 12.92 * c, 1.055 * c ** np.float32(1 / 2.4) - 0.055).astype(np.float32)


def _step(low: float, high: float, x: Singles) -> Singles:
    t = np.clip((x - np.float32(low)) / np.float32(high - low), 0, 1)
    return t * t * (3 - 2 * t)


# Lights in the camera's own axes (right, up, toward the viewer): every view is lit alike.
KEY = np.array([-0.52, 0.62, 0.59], dtype=np.float32) / np.float32(np.linalg.norm([-0.52, 0.62, 0.59]))
FILL = np.array([0.70, 0.05, 0.71], dtype=np.float32) / np.float32(np.linalg.norm([0.70, 0.05, 0.71]))


def studio(direction: Singles) -> Singles:
    """(k,) brightness that a mirror sees in a unit direction (k, 3) in camera axes: sky, dark floor, two soft boxes."""
    x, y, z = direction[:, 0], direction[:, 1], direction[:, 2]
    light = 0.17 + 0.62 * _step(-0.55, 0.95, y) + 0.16 * _step(-0.2, 1.0, z)
    light -= 0.20 * np.exp(-((y + 0.12) / 0.16) ** 2)  # the dark horizon that makes polished metal read as metal
    key = direction @ KEY
    light += 1.05 * _step(0.76, 0.93, key)
    strip = _step(0.40, 0.62, x) * (1 - _step(0.80, 0.95, x)) * _step(-0.35, 0.05, y) * _step(-0.3, 0.2, z)
    light += 0.55 * strip
    light += 0.30 * _step(0.90, 0.99, z) * _step(-0.2, 0.3, y)
    return np.maximum(light, 0.03).astype(np.float32)


def shade_diffuse(colour: Singles, normal: Singles, view: Singles, open_sky: Singles, lit: Singles, gloss: Singles) -> Singles:
    """Linear light (k, 3) from a scattering surface.

    colour (k, 3) linear; normal, view (k, 3) unit in camera axes;
    open_sky, lit (k,) 0..1: the part of the sky and of the key light that arrives.
    """
    bounce = open_sky[:, None] / (1 - colour * (1 - open_sky[:, None]) * 0.75)  # light regained from neighbours of the same colour
    sky = 0.40 + 0.14 * normal[:, 1:2]
    key = 0.70 * np.clip((normal @ KEY + 0.06) / 1.06, 0, None)[:, None] * lit[:, None]
    fill = 0.16 * np.clip(normal @ FILL, 0, None)[:, None] * (0.35 + 0.65 * open_sky[:, None])
    half = KEY + view
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    shine = gloss * np.clip(np.einsum("ij,ij->i", normal, half), 0, 1) ** 24 * lit
    return (colour * (sky * bounce + key + fill) + shine[:, None]).astype(np.float32)


def shade_metal(colour: Singles, reflected: Singles, facing: Singles, seen: Singles, open_sky: Singles) -> Singles:
    """Linear light (k, 3) from polished metal.

    reflected (k, 3): what the mirrored ray meets; facing (k,): cosine to the viewer; seen (k, 3): satin share of light from all around.
    """
    fresnel = colour + (1 - colour) * ((1 - np.clip(facing, 0, 1)) ** 5)[:, None]
    return (fresnel * (0.86 * reflected + 0.14 * seen) * (0.45 + 0.55 * open_sky[:, None])).astype(np.float32)
