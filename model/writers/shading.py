"""Normals for drawing: a welded mesh split where its surface has an edge, smooth where it is a faceted curve.

Owns the choice between the two, by the angle between neighbouring triangles. Only the look depends on it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from elbowroom.parts.vocabulary.arrays import Floats, Ints

# Wider than the 29 degrees that the widest facets of a tessellated curve turn by (0.5 rad), narrower than a 45 degree
# chamfer, which must stay an edge.
CREASE = math.radians(40.0)
_SAME = 1e-4  # of a unit normal: triangles of one flat face, computed apart, agree to far better than this
_PAIRS = 4_000_000  # pairs of directions compared at once: about 200 MB of arrays


def shaded(vertices: Floats, triangles: NDArray[np.integer]) -> tuple[Ints, Floats, Ints]:
    """The mesh with one normal a vertex: (index of the welded vertex, unit normal, triangles), for each drawn vertex.

    At each welded vertex a triangle's normal is the area-weighted mean over the triangles there that turn from it by
    less than `CREASE`. Triangles without an area are left out.
    """
    corners = vertices[triangles]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(cross, axis=1)
    alive = area > 0
    tris = np.asarray(triangles, dtype=np.int64)[alive]
    unit = cross[alive] / area[alive, None]

    # One direction a vertex for each flat face that meets there, weighted by the face's area at the vertex.
    at = tris.reshape(-1)
    direction = np.repeat(unit, 3, axis=0)
    grid = np.round(direction / _SAME).astype(np.int64)
    keys, member = np.unique(np.column_stack([at, grid]), axis=0, return_inverse=True)
    member = member.reshape(-1)
    weighted = np.zeros((len(keys), 3))
    np.add.at(weighted, member, direction * np.repeat(area[alive], 3)[:, None])
    facing = weighted / np.linalg.norm(weighted, axis=1, keepdims=True)

    smooth = _smoothed(keys[:, 0], facing, weighted)
    rounded = np.round(smooth / _SAME).astype(np.int64)
    _, first, drawn = np.unique(np.column_stack([keys[:, 0], rounded]), axis=0, return_index=True, return_inverse=True)
    return keys[first, 0], smooth[first], drawn.reshape(-1)[member].reshape(-1, 3)


def _smoothed(owner: Ints, facing: Floats, weighted: Floats) -> Floats:
    """For each direction the weighted mean of the directions at the same vertex that lie within the crease angle."""
    starts = np.flatnonzero(np.r_[True, owner[1:] != owner[:-1]])
    counts = np.diff(np.r_[starts, len(owner)])
    total = np.zeros_like(facing)
    limit = math.cos(CREASE)
    for count in np.unique(counts):
        groups = starts[counts == count]
        step = max(1, _PAIRS // int(count) ** 2)
        for i in range(0, len(groups), step):
            rows = groups[i : i + step, None] + np.arange(count)
            near = facing[rows] @ facing[rows].transpose(0, 2, 1) > limit
            total[rows] = near.astype(np.float64) @ weighted[rows]
    length = np.linalg.norm(total, axis=1, keepdims=True)
    smooth: Floats = np.divide(total, length, out=facing.copy(), where=length > 0)
    return smooth
