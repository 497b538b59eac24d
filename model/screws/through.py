"""How thick a piece is at a hole: straight through its mesh, beside the hole.

Owns the measuring of sheets whose other face declares no holes: rays along the screw's axis around the hole's rim, of
which the least depth counts. Leaves which holes belong together to `axes`.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from elbowroom.model.geometry.rays import met
from elbowroom.model.geometry.scene import Mesh, Solid
from elbowroom.model.tolerances import POSE_TURN_DIGITS
from elbowroom.parts.vocabulary.arrays import Floats, Vector
from elbowroom.parts.vocabulary.pose import apply, inverse, turn

RIM_MM = 0.6  # beside the hole: inside any head, outside the hole's facets; no source (P)
RAYS = 8  # round the hole, so that a neighbouring hole or edge does not hide the sheet
ENTRY_MM = 0.35  # the sheet begins no farther than this from the face: the plane's slack and a mesh's bound (P)
KEY_DIGITS = 9  # of a point, mm: under any rounding of poses
MOST_ANSWERS = 20_000  # depths kept in mind: a build of 600 screws walked at some heights
MOST_KEPT = 16  # meshes with a direction each that are kept in mind: more than one walk goes to and fro between
_GRAZE = 1e-12  # of a triangle's sides, and the determinant of a ray along its plane: rounding, and no more


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
        # Rounded alike in what is asked and what it is kept under: an answer is the same kept or new.
        start, way = np.round(apply(back, point), KEY_DIGITS), np.round(turn(back, along), POSE_TURN_DIGITS)
        key = (id(solid.mesh), start.tobytes(), way.tobytes(), reach, radius == 0.0)
        kept = _ANSWERS.get(key)
        if kept is None:
            kept = _ANSWERS[key] = (solid.mesh, _least(solid.mesh, start, way, reach, middle=radius == 0.0))
            if len(_ANSWERS) > MOST_ANSWERS:
                _ANSWERS.popitem(last=False)
        if kept[1] is not None:
            found.append(kept[1])
    return min(found) if found else None


def _least(mesh: Mesh, start: Vector, way: Vector, reach: float, *, middle: bool) -> float | None:
    """The least depth of material that a ray finds, of those at `reach` mm about the axis and, where asked, on it."""
    seen = _seen(mesh, way)
    # Only triangles near the axis, as seen along it, can be met.
    at = np.array([start @ seen.side, start @ seen.up])
    near = ((seen.lo <= at + reach) & (seen.hi >= at - reach)).all(axis=1)
    corners = mesh.vertices[mesh.triangles[near]]
    if not len(corners):
        return None
    angles = 2 * np.pi * (np.arange(RAYS) + 0.37) / RAYS
    origins = start + reach * (np.cos(angles)[:, None] * seen.side + np.sin(angles)[:, None] * seen.up)
    if middle:
        origins = np.vstack([origins, start])
    found = []
    for origin in origins:
        hits = _hits(corners, origin - ENTRY_MM * way, way) - ENTRY_MM
        if len(hits) >= 2 and hits[0] <= ENTRY_MM:
            found.append(float(hits[1]))
    return min(found) if found else None


# Which mesh (kept with the answer, so that its id cannot pass to another), from where, which way, how far about it.
_ANSWERS: OrderedDict[tuple[int, bytes, bytes, float, bool], tuple[Mesh, float | None]] = OrderedDict()


class _Seen(NamedTuple):
    """A mesh as seen along a direction: two axes across it, and the box of each triangle in them."""

    mesh: Mesh  # kept with it, so that its id cannot pass to another
    side: Vector
    up: Vector
    lo: Floats
    hi: Floats


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


def _hits(corners: Floats, origin: Vector, way: Vector) -> Vector:
    """Distances along a ray at which it meets triangles; doubled ones are merged."""
    hit, distance = met(corners, origin, way, _GRAZE, _GRAZE)
    return np.unique(np.round(distance[hit & (distance > 0)], 6))
