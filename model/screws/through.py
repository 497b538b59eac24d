"""How thick a piece is at a hole: straight through its mesh, beside the hole.

Owns the measuring of sheets whose other face declares no holes: rays along the screw's axis around the hole's rim, of
which the least depth counts. Leaves which holes belong together to `axes`.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.scene import Mesh, Solid
from elbowroom.parts.pose import apply, inverse, turn

Vector = NDArray[np.float64]

RIM_MM = 0.6  # beside the hole: inside any head, outside the hole's facets; no source (P)
RAYS = 8  # round the hole, so that a neighbouring hole or edge does not hide the sheet
ENTRY_MM = 0.35  # the sheet begins no farther than this from the face: the plane's slack and a mesh's bound (P)
MOST_KEPT = 16  # meshes with a direction each that are kept in mind: more than one walk goes to and fro between
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
        seen = _seen(solid.mesh, way)
        # Only triangles near the axis, as seen along it, can be met.
        middle = np.array([start @ seen.side, start @ seen.up])
        near = ((seen.lo <= middle + reach) & (seen.hi >= middle - reach)).all(axis=1)
        corners = solid.mesh.vertices[solid.mesh.triangles[near]]
        if not len(corners):
            continue
        side, up = seen.side, seen.up
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


class _Seen(NamedTuple):
    """A mesh as seen along a direction: two axes across it, and the box of each triangle in them."""

    mesh: Mesh  # kept with it, so that its id cannot pass to another
    side: Vector
    up: Vector
    lo: NDArray[np.float64]
    hi: NDArray[np.float64]


_KEPT: OrderedDict[tuple[int, bytes], _Seen] = OrderedDict()


def _seen(mesh: Mesh, way: Vector) -> _Seen:
    """Worked out once for all the holes of a face: a panel of hundreds has as many thousand triangles."""
    key = (id(mesh), np.round(way, 12).tobytes())
    found = _KEPT.get(key)
    if found is None:
        side = np.cross(way, [1.0, 0.0, 0.0] if abs(way[0]) < 0.9 else [0.0, 1.0, 0.0])
        side /= np.linalg.norm(side)
        up = np.cross(way, side)
        flat = (mesh.vertices @ np.column_stack([side, up]))[mesh.triangles]
        found = _KEPT[key] = _Seen(mesh, side, up, flat.min(axis=1), flat.max(axis=1))
        if len(_KEPT) > MOST_KEPT:
            _KEPT.popitem(last=False)
    return found


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
