"""Where a picture is looked at from: directions of view by name, and how points of the case become points of a page.

Owns the named views of a layout and the fit of a drawing into a box of the page. Parallel projection: lengths across
the line of sight are true.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from elbowroom.model.pictures.sheet import Box
from elbowroom.parts.vocabulary.arrays import Floats, Vector

# Toward the viewer, and which way is up for him; the corner is above the front, on the open side.
_VIEWS: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "open": ((0, -1, 0), (0, 0, 1)), "tray": ((0, 1, 0), (0, 0, 1)), "front": ((1, 0, 0), (0, 0, 1)),
    "rear": ((-1, 0, 0), (0, 0, 1)), "roof": ((0, 0, 1), (0, 1, 0)), "floor": ((0, 0, -1), (0, 1, 0)),
    "corner": ((0.62, -0.72, 0.42), (0, 0, 1)),
}  # fmt: skip
VIEWS = tuple(_VIEWS)
FIXED = ("open", "front", "roof", "corner")  # those that an export writes
LEAST_MM = 1.0  # across which a drawing is fitted, however little there is to draw. By choice


@dataclass(frozen=True, slots=True, eq=False)
class Camera:
    """Unit vectors of the case frame: to the right, up, and toward the viewer."""

    right: Vector
    up: Vector
    toward: Vector

    @property
    def axes(self) -> Floats:
        """Columns right, up, toward: points @ axes are across, up and near."""
        out: Floats = np.stack([self.right, self.up, self.toward], axis=1)
        return out


def looking(toward: Vector | tuple[float, float, float], up: Vector | tuple[float, float, float]) -> Camera:
    """The camera that a viewer in direction `toward` looks through, with `up` upward as near as may be."""
    w = np.asarray(toward, dtype=float)
    w = w / np.linalg.norm(w)
    v = np.asarray(up, dtype=float)
    v = v - (v @ w) * w
    v = v / np.linalg.norm(v)
    return Camera(np.cross(v, w), v, w)


def camera(view: str) -> Camera:
    return looking(*_VIEWS[view])


@dataclass(frozen=True, slots=True)
class Fit:
    """From millimetres across and up to the page: px in a mm, and where the origin stands."""

    scale: float
    x: float
    y: float

    def __call__(self, points: Floats) -> Floats:
        """Points (n, 2) or more columns, across and up, on the page."""
        p = np.asarray(points, dtype=float)
        out: Floats = np.stack([self.x + self.scale * p[..., 0], self.y - self.scale * p[..., 1]], axis=-1)
        return out

    def at(self, across: float, up: float) -> tuple[float, float]:
        return (self.x + self.scale * across, self.y - self.scale * up)


def fit(lo: Floats, hi: Floats, room: Box) -> Fit:
    """The largest drawing of what lies between two corners, in the middle of a box of the page."""
    x0, y0, x1, y1 = room
    wide, high = max(float(hi[0] - lo[0]), LEAST_MM), max(float(hi[1] - lo[1]), LEAST_MM)
    scale = min((x1 - x0) / wide, (y1 - y0) / high)
    return Fit(
        scale,
        (x0 + x1) / 2 - scale * float(lo[0] + hi[0]) / 2,
        (y0 + y1) / 2 + scale * float(lo[1] + hi[1]) / 2,
    )
