"""How thick a piece is at a hole: straight through its mesh, beside the hole.

Owns the measuring of sheets whose other face declares no holes: rays along the screw's axis around the hole's rim, of
which the least depth counts. Leaves which holes belong together to `axes`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.scene import Solid
from elbowroom.parts.pose import apply, inverse, turn

Vector = NDArray[np.float64]

RIM_MM = 0.6  # beside the hole: inside any head, outside the hole's facets; no source (P)
RAYS = 8  # round the hole, so that a neighbouring hole or edge does not hide the sheet
ENTRY_MM = 0.35  # the sheet begins no farther than this from the face: the plane's slack and a mesh's bound (P)
_GRAZE = 1e-12


def thickness_at(solids: Sequence[Solid], point: Vector, along: Vector, radius: float, slot: float) -> float | None:
    """mm of material from a face at `point` along a unit vector, beside a hole of that radius; None where none is.

    The least that any ray finds that starts in material counts. Lies within the mesh's own bound of the true one.
    slot: length between end centres, mm; rays then start beside the slot's whole extent.
    """
    found = []
    reach = radius + RIM_MM + slot / 2
    for solid in solids:
        if (point < solid.lo - reach - ENTRY_MM).any() or (point > solid.hi + reach + ENTRY_MM).any():
            continue
        back = inverse(solid.pose)
        start, way = apply(back, point), turn(back, along)
        side = np.cross(way, [1.0, 0.0, 0.0] if abs(way[0]) < 0.9 else [0.0, 1.0, 0.0])
        side /= np.linalg.norm(side)
        up = np.cross(way, side)
        # Only triangles near the axis, as seen along it, can be met.
        seen = (solid.mesh.vertices - start) @ np.stack([side, up], axis=1)
        corners = solid.mesh.vertices[solid.mesh.triangles[_spans(seen, solid.mesh.triangles, reach)]]
        if not len(corners):
            continue
        for k in range(RAYS):
            a = 2 * np.pi * (k + 0.37) / RAYS
            origin = start + reach * (np.cos(a) * side + np.sin(a) * up)
            hits = np.sort(_hits(corners, origin - ENTRY_MM * way, way)) - ENTRY_MM
            if len(hits) >= 2 and hits[0] <= ENTRY_MM:
                found.append(float(hits[1]))
        if radius == 0.0:
            hits = np.sort(_hits(corners, start - ENTRY_MM * way, way)) - ENTRY_MM
            if len(hits) >= 2 and hits[0] <= ENTRY_MM:
                found.append(float(hits[1]))
    return min(found) if found else None


def _spans(seen: NDArray[np.float64], triangles: NDArray[np.int32], reach: float) -> NDArray[np.bool_]:
    """Triangles whose box, seen along the axis (vertices in two coordinates about it), comes within reach of it."""
    near = np.ones(len(triangles), dtype=bool)
    for beyond in (seen > reach, seen < -reach):  # all three corners on the far side of one edge of the square
        for axis in range(2):
            far = beyond[:, axis][triangles]
            near &= ~(far[:, 0] & far[:, 1] & far[:, 2])
    return near


def _hits(corners: NDArray[np.float64], origin: Vector, way: Vector) -> Vector:
    """Distances along a ray at which it meets triangles (Moeller and Trumbore's test); doubled ones are merged."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    e1, e2 = b - a, c - a
    p = np.cross(way, e2)
    det = np.einsum("ij,ij->i", e1, p)
    ok = np.abs(det) > _GRAZE
    inv = np.where(ok, 1.0 / np.where(ok, det, 1.0), 0.0)
    t = origin - a
    u = np.einsum("ij,ij->i", t, p) * inv
    q = np.cross(t, e1)
    v = (q @ way) * inv
    distance = np.einsum("ij,ij->i", e2, q) * inv
    hit = ok & (u >= -_GRAZE) & (v >= -_GRAZE) & (u + v <= 1 + _GRAZE) & (distance > 0)
    return np.unique(np.round(distance[hit], 6))
