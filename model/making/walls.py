"""How thick a part's walls and skins are: rays inward from points on its surface to the other side.

Owns the probing. From each point a ray runs against the surface's normal to the first triangle it meets; it counts
where that triangle faces the other way within 45 degrees. A wall thinner between two probes is missed: probes stand
`PROBE_STEP` apart on flat triangles and at the middle of small ones, and fewer where a mesh has many triangles. On
curved walls the mesh's error comes in twice, so that a thickness is known to twice the skin's `bound`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from elbowroom.model.geometry.rays import Facets
from elbowroom.model.making.mesh import Skin, spread
from elbowroom.model.making.rules import OPPOSITE, PROBE_PAIRS, PROBE_STEP, PROBES, RAY_MM
from elbowroom.parts.vocabulary.arrays import Floats, Ints

_BLOCK = 80_000  # pairs computed at once: arrays that stay in the cache, and products too small to be spread on threads
_UPRIGHT = math.sqrt(0.5)  # a ray that runs more upward than sideways goes through a skin, not through a wall


@dataclass(frozen=True, slots=True)
class Thin:
    """The least thickness found, mm, and from where; infinite where no ray counts. `probes`: rays sent."""

    wall: float
    wall_at: tuple[float, float, float] | None
    skin: float
    skin_at: tuple[float, float, float] | None
    probes: int


def thinnest(skin: Skin) -> Thin:
    """The thinnest wall (across the bed) and the thinnest skin (along the height)."""
    points, owner = _probes(skin)
    away = -skin.normals[owner]
    length = _through(skin, points, away)
    upright = np.abs(away[:, 2]) > _UPRIGHT
    wall, wall_at = _least(points, np.where(upright, np.inf, length))
    flat, flat_at = _least(points, np.where(upright, length, np.inf))
    return Thin(wall, wall_at, flat, flat_at, len(points))


def _least(points: Floats, length: Floats) -> tuple[float, tuple[float, float, float] | None]:
    if not len(length) or not np.isfinite(length.min()):
        return math.inf, None
    i = int(length.argmin())
    x, y, z = points[i]
    return float(length[i]), (float(x), float(y), float(z))


def _probes(skin: Skin) -> tuple[Floats, Ints]:
    """Points on the surface and the triangle each stands on."""
    corners = skin.vertices[skin.triangles]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    points, owner = [], []
    for i in np.flatnonzero(skin.areas > 0).tolist():
        n = max(1, min(12, math.ceil(longest[i] / PROBE_STEP)))
        u, v = spread(n)
        points.append(corners[i, 0] * (1 - u - v) + corners[i, 1] * u + corners[i, 2] * v)
        owner += [i] * len(u)
    most = max(1, min(PROBES, PROBE_PAIRS // max(1, len(skin.triangles))))
    every = math.ceil(len(owner) / most) if owner else 1
    return np.concatenate(points)[::every], np.array(owner, dtype=np.int64)[::every]


def _through(skin: Skin, points: Floats, directions: Floats) -> Floats:
    """How far each ray runs to the far side of what it starts in; infinite where it meets no face turned away."""
    facets = Facets(skin.vertices[skin.triangles])
    out = np.full(len(points), np.inf)
    step = max(1, _BLOCK // max(1, len(skin.triangles)))
    for i in range(0, len(points), step):
        far, _, along = facets.first(points[i : i + step], directions[i : i + step], RAY_MM)
        out[i : i + step] = np.where(along > OPPOSITE, far, np.inf)
    return out
