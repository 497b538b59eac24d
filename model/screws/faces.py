"""Hole patterns and frames as they stand in the case, and what lies on one plane with what.

Owns the plain geometry under the walk along an axis: the hole nearest to a point, how far a point lies from a hole's
edge, and whether a frame covers a point. Which pieces are mated is `axes`' business.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from elbowroom.model.layout.layout import Piece
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.base import Frame, Hole, HolePattern
from elbowroom.parts.vocabulary.pose import Pose, apply, inverse

Spot = tuple[str, str, int]  # piece, pattern, hole

PLANE_MM = 0.3  # two faces nearer than this are one plane: more than rounding, less than any sheet; no source (P)
OPPOSED = -0.9999  # cosine between faces that look at each other: within 0.8 degrees; no source (P)
COAXIAL_MM = 0.05  # holes of two faces of one part nearer than this are one hole through it: rounding of their sums


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """A hole pattern as it stands in the case."""

    piece: Piece
    pattern: HolePattern
    pose: Pose

    def spot(self, hole: int) -> Spot:
        return (self.piece.name, self.pattern.name, hole)

    def point(self, hole: int) -> Vector:
        h = self.pattern.holes[hole]
        return apply(self.pose, (h.x, h.y, 0.0))

    def nearest(self, point: Vector) -> tuple[int, float, tuple[float, float]]:
        """The hole nearest to a point, mm from the point to its edge (negative inside), and the point in the plane."""
        x, y, _ = apply(inverse(self.pose), point)
        found = min(range(len(self.pattern.holes)), key=lambda i: (edge(self.pattern.holes[i], x, y), i))
        return found, edge(self.pattern.holes[found], x, y), (float(x), float(y))


def edge(hole: Hole, x: float, y: float) -> float:
    """mm from a point of the plane to a hole's or slot's edge; negative inside it."""
    a = np.radians(hole.angle)
    along = (x - hole.x) * np.cos(a) + (y - hole.y) * np.sin(a)
    across = -(x - hole.x) * np.sin(a) + (y - hole.y) * np.cos(a)
    beyond = max(abs(along) - hole.slot / 2, 0.0)
    return float(np.hypot(beyond, across)) - hole.diameter / 2


def covers(pose: Pose, frame: Frame, point: Vector, out: Vector) -> bool | None:
    """Whether a frame lies over a point of the plane it looks at; None where it does not say how far it reaches."""
    if float(pose[:3, 2] @ out) > OPPOSED or abs(float((point - pose[:3, 3]) @ out)) > PLANE_MM:
        return False
    if frame.kind == "wall":  # whose frame starts at its corner
        return True
    if frame.size is None:
        return None
    x, y, _ = apply(inverse(pose), point)
    return bool(abs(x) <= frame.size[0] / 2 and abs(y) <= frame.size[1] / 2)
