"""How far one body reaches along a direction: at least and at most.

Owns the interval in which the true body's extent lies, mm, whatever its triangles cut off: at least as far as its
vertices and the arcs between them, which lie on it; at most as far as the enclosures of its triangles. Of flat bodies,
and of cylinders, cones, spheres and tori that end in circles or poles, both are the same.
"""

from __future__ import annotations

import numpy as np

from elbowroom.model.geometry.enclosure import ROUND, Enclosure, about_axis
from elbowroom.model.geometry.parting import arc_reach, extents
from elbowroom.parts.vocabulary.arrays import Floats, Ints

_LEVEL_MM = 1e-9  # rounding of heights about an axis: corners that near are on one circle


def reach(e: Enclosure, along: Floats) -> tuple[float, float]:
    """Least and most that the body's farthest point along a unit direction may have as its coordinate, mm."""
    corners = (e.corners @ along).max(axis=1)
    sure = most = float(corners.max())
    near = np.flatnonzero(corners + 2 * e.mesh.bound >= sure) if e.mesh.bound > 0 else np.zeros(0, dtype=np.int64)
    if len(near):
        d = np.broadcast_to(along, (len(near), 1, 3))
        most = max(sure, float(extents(e, near, d)[1].max()))
        sure = max(sure, _arcs(e, near[e.kind[near] == ROUND], along))
    return sure, max(most, sure)


def _arcs(e: Enclosure, which: Ints, along: Floats) -> float:
    """The farthest reach of the arcs over level sides of ROUND triangles, which lie on the face; -infinity if none."""
    if not len(which):
        return float("-inf")
    best = float("-inf")
    rows, corners = e.rows[which], e.corners[which]
    for k in range(3):
        side = corners[:, [k, (k + 1) % 3, k]]  # a triangle of the side alone: its arc is the side's
        heights, _, middle, half = about_axis(side, rows)
        level = np.abs(heights[:, 1] - heights[:, 0]) <= _LEVEL_MM
        if not level.any():
            continue
        own, height, m, h = rows[level], heights[level, 0], middle[level], half[level]
        at = (own[:, 1:4] + height[:, None] * own[:, 4:7]) @ along
        x, y = m @ along, np.abs(np.cross(own[:, 4:7], m) @ along)
        best = max(best, float((at + np.abs(own[:, 7] + own[:, 8] * height) * arc_reach(x, y, h)).max()))
    return best
