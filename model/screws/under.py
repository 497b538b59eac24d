"""What lies under a head: the piece it comes to rest on, and all the holes of that piece's face that it may hang over.

Owns the way from the pieces a screw passes to a plane and the holes in it. Leaves how much metal that leaves to
`bearing`. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from elbowroom.model.screws.bearing import Bearing, bearing
from elbowroom.model.screws.faces import COAXIAL_MM, OPPOSED, PLANE_MM, edge
from elbowroom.model.screws.lines import Passed
from elbowroom.model.screws.slot import Slot, joined
from elbowroom.parts.case.case import Case
from elbowroom.parts.case.case_cuts import cuts, figure
from elbowroom.parts.case.case_openings import FACES, Rect
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.base import Hole
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, inverse

AROUND_MM = 0.3  # mm wider than a head a hole is to lie around it: play of both; no source (P)


def under_head(passed: Sequence[Passed], wide: float) -> list[Passed]:
    """What a head or washer `wide` mm across bears on and what lies below: outer pieces whose hole takes it lie around
    it, and where it goes into a recess of the last, that piece is as thick as what is left under it.
    """
    kept = list(passed)
    while len(kept) > 1 and (hole := kept[-1].opening) is not None and _takes(hole, kept[-1].at, wide):
        kept.pop()
    last = kept[-1]
    if last.recess is not None and last.thickness is not None and last.opening is not None:
        diameter, deep = last.recess
        if _takes(replace(last.opening, diameter=diameter), last.at, wide):
            kept[-1] = replace(last, thickness=last.thickness - deep, recess=None)
    return kept


def _takes(hole: Hole, at: tuple[float, float], wide: float) -> bool:
    """Whether something round and `wide` mm across about the axis lies inside a hole, with play."""
    return edge(hole, *at) + (wide + AROUND_MM) / 2 <= 0.0


def stands(passed: Sequence[Passed], out: Vector, wide: float, shank: float) -> Bearing | None:
    """How a head or washer `wide` mm across bears on the last of the pieces a screw of `shank` passes toward `out`;
    None where that has no declared hole.
    """
    last = passed[-1]
    if last.pattern is None or last.hole is None:
        return None
    return bearing(wide, shank, holes_under(last, out), last.at, openings_under(last, wide))


def openings_under(last: Passed, wide: float) -> Any:
    """What else is cut from the sheet within `wide` mm of the screw, as a shapely figure in the plane of its hole: a
    panel's air holes, windows and cut-outs, a sheet's cutouts and what lies beyond its edge. None where nothing is.
    """
    import shapely

    assert last.pattern is not None
    part, to = last.piece.part, inverse(last.pattern.pose)
    found: list[tuple[Any, Callable[[float, float], tuple[float, float, float]]]] = []
    if isinstance(part, Case):
        at, normal = last.pattern.pose[:3, 3], last.pattern.pose[:3, 2]
        for face in FACES:
            inner, outer = (np.array(part.face_point(face, 0.0, 0.0, t)) for t in (0.0, part.thickness(face)))
            off = (at - inner) @ normal, (at - outer) @ normal
            square_to = abs(float((outer - inner) @ normal)) > -OPPOSED * part.thickness(face)
            if square_to and min(map(abs, off)) <= PLANE_MM:
                on_face = partial(part.face_point, face)
                u, v = _in_face(on_face, apply(last.pattern.pose, (*last.at, 0.0)))
                found += [(figure(c), on_face) for c in cuts(part, face) if _reaches(c.rect, u, v, wide / 2)]
    elif isinstance(part, PlainSheet) and abs(float(last.pattern.pose[2, 2])) > -OPPOSED:
        x, y = float(part.length) / 2 + wide, float(part.width) / 2 + wide
        found.append((shapely.box(-x, -y, x, y).difference(part.left()), lambda u, v: (u, v, 0.0)))
    near = shapely.Point(*last.at).buffer(wide / 2)
    out = []
    for shape, place in found:
        moved = shapely.transform(shape, lambda p, place=place: apply(to, [place(u, v) for u, v in p])[:, :2])
        if moved.intersects(near):
            out.append(moved)
    return shapely.union_all(out) if out else None


def _in_face(place: Callable[[float, float], tuple[float, float, float]], point: Vector) -> tuple[float, float]:
    """A point's coordinates in a face, whose own points `place` gives."""
    zero, along, up = (np.array(place(u, v)) for u, v in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)))
    off = point - zero
    return float(off @ (along - zero)), float(off @ (up - zero))


def _reaches(r: Rect, u: float, v: float, near: float) -> bool:
    """Whether a cut's rectangle comes as near as that: a panel may have hundreds, and few lie under one head."""
    return r.u0 - near <= u <= r.u1 + near and r.v0 - near <= v <= r.v1 + near


def holes_under(last: Passed, out: Vector) -> list[Slot]:
    """The holes in the face that a head comes to rest on, in the plane of the hole it goes through: those that go
    through from the piece's other side, and those that are let into the face itself.
    """
    assert last.pattern is not None
    assert last.hole is not None
    at = compose(last.piece.pose, last.pattern.pose)
    top = np.array(last.near) + (last.thickness or 0.0) * out
    found = [_slot(last.pattern.holes[last.hole], np.eye(4))]
    for pattern in last.piece.part.patterns():
        pose = compose(last.piece.pose, pattern.pose)
        facing = float(pose[:3, 2] @ out)
        if facing > -OPPOSED:  # the face the head is on
            near, through = abs(float((pose[:3, 3] - top) @ out)), False
        elif facing < OPPOSED:  # the one the screw comes from
            near, through = abs(float((pose[:3, 3] - np.array(last.near)) @ out)), True
        else:
            continue
        if near <= PLANE_MM:
            to = compose(inverse(at), pose)
            found += [_slot(h, to) for h in pattern.holes if not through or h.depth is None]
    slots: list[Slot] = []
    for slot in found:
        if not any(_same(slot, s) for s in slots):
            slots.append(slot)
    # Slots of a case that would leave too little sheet between them are drawn as one.
    return list(joined(slots, last.piece.part.least_web))


def _slot(hole: Hole, to: Pose) -> Slot:
    x, y, _ = apply(to, (hole.x, hole.y, 0.0))
    a = math.radians(hole.angle)
    way = to[:3, :3] @ np.array([math.cos(a), math.sin(a), 0.0])
    return Slot(float(x), float(y), hole.diameter, hole.slot, math.degrees(math.atan2(way[1], way[0])))


def _same(a: Slot, b: Slot) -> bool:
    return (
        math.dist((a.x, a.y), (b.x, b.y)) <= COAXIAL_MM
        and abs(a.width - b.width) <= COAXIAL_MM
        and (abs(a.length - b.length) <= COAXIAL_MM)
    )
