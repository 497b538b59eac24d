"""Solids cut by a plane: the faces of the cut as flat outlines.

Owns the plane, and what of a scene lies in it. Bodies whose meshes are not closed have no face there; who cuts is told
which. Outlines are in the plane's own coordinates: across and up from its origin, mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from elbowroom.model.geometry.narrow import manifold_of
from elbowroom.model.geometry.scene import Mesh, Solid
from elbowroom.model.pictures.camera import Camera
from elbowroom.parts.vocabulary.arrays import Floats, Vector

NOTHING = shapely.Polygon()


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """A plane through `origin`, looked at by `camera`, whose line of sight is its normal."""

    origin: Vector
    camera: Camera

    def flat(self, points: Any) -> Floats:
        """Points (n, 3) or one, as across, up and before the plane."""
        out: Floats = (np.asarray(points, dtype=float) - self.origin) @ self.camera.axes
        return out

    def moved(self, by: float) -> Plane:
        return Plane(self.origin + by * self.camera.toward, self.camera)


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """What a plane cuts of one body."""

    solid: Solid
    outline: BaseGeometry


def corners(lo: Floats, hi: Floats) -> Floats:
    """The eight corners of a box."""
    out: Floats = np.array([[x, y, z] for x in (lo[0], hi[0]) for y in (lo[1], hi[1]) for z in (lo[2], hi[2])])
    return out


def meets(plane: Plane, solid: Solid, reach: float) -> bool:
    """Whether a body's box meets the plane within `reach` mm of its origin, across and up."""
    box = plane.flat(corners(solid.lo, solid.hi))
    lo, hi = box.min(axis=0), box.max(axis=0)
    return bool(lo[2] <= 0 <= hi[2] and (lo[:2] <= reach).all() and (hi[:2] >= -reach).all())


def face(plane: Plane, solid: Solid) -> BaseGeometry:
    """What the plane cuts of a body; nothing where its mesh is not closed."""
    if solid.mesh.fault is not None:
        return NOTHING
    turn = plane.camera.axes.T @ solid.pose[:3, :3]
    move = plane.camera.axes.T @ (solid.pose[:3, 3] - plane.origin)
    heights = solid.mesh.vertices @ turn[2] + move[2]
    if not (heights.min() <= 0 <= heights.max()):
        return NOTHING
    found = _manifold(solid.mesh).transform(np.column_stack([turn, move])).slice(0.0)
    pieces = []
    for part in found.decompose():
        rings = [r for r in part.to_polygons() if len(r) > 2]
        if not rings:
            continue
        outer = max(rings, key=lambda r: abs(shapely.Polygon(r).area))
        pieces.append(shapely.Polygon(outer, [r for r in rings if r is not outer]))
    whole = shapely.union_all([shapely.make_valid(p) for p in pieces])
    return whole if not whole.is_empty else NOTHING


_MADE: dict[int, tuple[Mesh, Any]] = {}
_MOST_MADE = 600  # solids kept ready to be cut: as many shapes as a large build has, some 100 kB each


def _manifold(mesh: Mesh) -> Any:
    """The solid of a mesh, made once: one shape is cut for many pictures."""
    known = _MADE.get(id(mesh))
    if known is None:
        if len(_MADE) >= _MOST_MADE:
            _MADE.clear()
        known = _MADE[id(mesh)] = (mesh, manifold_of(mesh.vertices, mesh.triangles))  # kept, so that the id is its own
    return known[1]


def faces(plane: Plane, solids: Iterable[Solid], reach: float) -> list[Face]:
    """What the plane cuts of every body near its origin, those with a face alone."""
    near = (s for s in solids if meets(plane, s, reach))
    return [Face(s, outline) for s in near if not (outline := face(plane, s)).is_empty]


def window(across: float, up: float) -> shapely.Polygon:
    return shapely.box(-across, -up, across, up)


def rings(outline: BaseGeometry) -> list[Floats]:
    """The rings of all areas in an outline."""
    out: list[Floats] = []
    for part in polygons(outline):
        out += [np.array(r.coords)[:-1] for r in (part.exterior, *part.interiors)]
    return out


def polygons(outline: BaseGeometry) -> Sequence[shapely.Polygon]:
    """The areas in an outline; lines and points in it are no areas."""
    if isinstance(outline, shapely.Polygon):
        return () if outline.is_empty else (outline,)
    return [p for g in getattr(outline, "geoms", ()) for p in polygons(g)]
