"""Walking along an axis through what is mated: piece by piece, hole by hole.

Owns the single step (what lies on a piece's face at a point), the walk of many, how thick a piece is along a hole,
which patterns show the same hole from its other end, and which holes a screw has been brought for. Where walks begin,
and what they end in, is `axes`' work.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.screws.faces import COAXIAL_MM, OPPOSED, PLANE_MM, Face, Spot, covers
from elbowroom.model.screws.lines import Passed, as_point
from elbowroom.model.screws.through import thickness_at
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.base import Frame
from elbowroom.parts.vocabulary.pose import apply, compose, inverse

NEAR_MM = 12.0  # a hole whose edge is farther than this from an axis is not meant for it; no source (P)
MAX_LAYERS = 12  # pieces on one axis; more is a mistake in the build


class Walk:
    """A layout to walk in. `scene` is the layout made solid."""

    def __init__(self, layout: Layout, scene: Scene) -> None:
        self.layout = layout
        self.pieces = {p.name: p for p in layout.pieces}
        self.solids: dict[str, list[Solid]] = defaultdict(list)
        for s in scene.solids:
            if s.body.keep_out is None:
                self.solids[s.piece.name].append(s)
        self.faces = {p.name: [Face(p, h, compose(p.pose, h.pose)) for h in p.part.patterns()] for p in layout.pieces}
        # Neighbours, with the frame they show.
        self.mated: dict[str, list[tuple[str, Frame]]] = defaultdict(list)
        frames = {p.name: {f.name: f for f in p.part.frames()} for p in layout.pieces}
        for m in layout.mates:
            self.mated[m.piece].append((m.to_piece, frames[m.to_piece][m.to_frame]))
            self.mated[m.to_piece].append((m.piece, frames[m.piece][m.frame]))
        self.used: set[Spot] = set()
        self._twins: dict[Spot, list[tuple[Face, int]]] = {}

    def inside(self, point: Vector) -> float:
        """mm a point lies inside the case's free room; negative outside, or without a case."""
        room = self.layout.interior
        return -1.0 if room is None else float(min(*(point - room.lo), *(room.hi - point)))

    def use(self, own: Sequence[tuple[Face, int]], passed: Sequence[Passed]) -> None:
        for face, i in own:
            self.used.add(face.spot(i))
            self.used.update(t.spot(k) for t, k in self.twins(face, i))
        for p in passed:
            if p.pattern is None or p.hole is None:
                continue
            face = next(f for f in self.faces[p.piece.name] if f.pattern.name == p.pattern.name)
            self.used.add(face.spot(p.hole))
            self.used.update(t.spot(k) for t, k in self.twins(face, p.hole))

    @staticmethod
    def spot(p: Passed) -> Spot | None:
        return None if p.pattern is None or p.hole is None else (p.piece.name, p.pattern.name, p.hole)

    def twins(self, face: Face, i: int) -> Iterator[tuple[Face, int]]:
        """The same hole as other patterns of the piece show it: from its other end."""
        key = (face.piece.name, face.pattern.name, i)
        if key not in self._twins:
            self._twins[key] = list(self._found_twins(face, i))
        return iter(self._twins[key])

    def _found_twins(self, face: Face, i: int) -> Iterator[tuple[Face, int]]:
        point, out = face.point(i), face.pose[:3, 2]
        for other in self.faces[face.piece.name]:
            if other is face or float(other.pose[:3, 2] @ out) > OPPOSED:
                continue
            for k in range(len(other.pattern.holes)):
                away = other.point(k) - point
                if float(np.linalg.norm(away - (away @ out) * out)) <= COAXIAL_MM and float(away @ out) < 0:
                    yield other, k

    def thickness_at(self, face: Face, i: int, point: Vector, along: Vector) -> float | None:
        """mm through a piece along its hole, from one face to the other; None where the hole ends in it."""
        hole = face.pattern.holes[i]
        ends = [(float((t.point(k) - point) @ along), t.pattern.holes[k].depth) for t, k in self.twins(face, i)]
        if ends:
            total, other = min(ends, key=lambda e: e[0])
            blind = hole.thread is None and hole.depth is not None and other is not None
            return None if blind and (hole.depth or 0.0) + (other or 0.0) < total - COAXIAL_MM else total
        if hole.thread is None and hole.depth is not None:
            return None
        return thickness_at(self.solids[face.piece.name], point, along, hole.diameter / 2, hole.slot)

    def holes_at(self, other: Piece, point: Vector, out: Vector) -> list[tuple[float, Passed]]:
        """The ways a screw may go through a piece at a point of its face: mm from the point to the hole's edge, and the
        way. The narrower end of a stepped hole is what it must pass.
        """
        found: list[tuple[float, Passed]] = []
        for face in self.faces[other.name]:
            along = float(face.pose[:3, 2] @ out)
            deep = float((face.pose[:3, 3] - point) @ out)
            if along < OPPOSED and abs(deep) <= PLANE_MM:
                hole, away, at = face.nearest(point)
                way = self._way(face, hole, at, point, out)
                if way is not None:
                    found.append((away, way))
            elif along > -OPPOSED and deep > PLANE_MM and not found:
                # A hole that goes through may be declared on the face it comes out of alone.
                hole, away, at = face.nearest(point)
                h = face.pattern.holes[hole]
                if away > NEAR_MM or h.depth is not None or h.thread is not None:
                    continue
                solid = thickness_at(
                    self.solids[other.name], face.point(hole) - deep * out, out, h.diameter / 2, h.slot
                )
                if solid is not None and abs(solid - deep) <= PLANE_MM:
                    found.append((away, Passed(other, face.pattern, hole, at, as_point(point), deep)))
        return found

    def _way(self, face: Face, i: int, at: tuple[float, float], point: Vector, out: Vector) -> Passed | None:
        """The way through a hole of the face a screw comes from; None where the hole ends in the piece."""
        hole, piece = face.pattern.holes[i], face.piece
        if hole.under_head is not None:
            return Passed(piece, face.pattern, i, at, as_point(point), hole.under_head)
        deep = self.thickness_at(face, i, face.point(i), out)
        if hole.thread is not None:
            return Passed(piece, face.pattern, i, at, as_point(point), deep)
        if hole.depth is not None and deep is None:
            return None
        for twin, k in self.twins(face, i):
            end = twin.pattern.holes[k]
            if hole.depth is not None and end.diameter < hole.diameter:  # stepped: the far end is the narrow one
                x, y, _ = apply(inverse(twin.pose), point)
                return Passed(piece, twin.pattern, k, (float(x), float(y)), as_point(point), deep)
            if end.depth is not None and end.diameter > hole.diameter and end.thread is None:
                return Passed(piece, face.pattern, i, at, as_point(point), deep, (end.diameter, end.depth))
        return Passed(piece, face.pattern, i, at, as_point(point), deep)

    def traverse(self, piece: Piece, point: Vector, out: Vector) -> tuple[list[Passed], str | None]:
        """The pieces on an axis from a face outward, and the name of one that stops it."""
        found: list[Passed] = []
        seen = {piece.name}
        while len(found) < MAX_LAYERS:
            step = self.next(piece, point, out, seen)
            if step is None:
                return found, None
            if isinstance(step, str):
                return found, step
            found.append(step)
            opening = step.opening
            if opening is not None and opening.thread is not None:
                return found[:-1], step.piece.name
            if step.thickness is None or (opening is not None and opening.under_head is not None):
                return found, None  # a head that is sunk there is the end of it
            piece, point = step.piece, point + step.thickness * out
            seen.add(piece.name)
        return found, None

    def next(self, piece: Piece, point: Vector, out: Vector, seen: set[str]) -> Passed | str | None:
        """What lies on a piece's face at a point: a hole to pass, a wall to drill, or (its name) something closed.

        Of several pieces the one that covers the point counts before one that has a hole there and does not.
        """
        closed: str | None = None
        wall: Passed | None = None
        ways: list[tuple[bool, float, Passed]] = []
        for name, frame in self.mated[piece.name]:
            if name in seen:
                continue
            other = self.pieces[name]
            covering = covers(compose(other.pose, frame.pose), frame, point, out)
            if covering is None:  # then its material says it
                covering = thickness_at(self.solids[name], point, out, 0.0, 0.0) is not None
            # A wall's slots are meant for what is mated to them: over a bare wall only a hole that takes the screw is,
            # and a piece that ends before the point loses no screw that passes beside it.
            reach = NEAR_MM if covering and frame.kind != "wall" else 0.0
            near = [(away, way) for away, way in self.holes_at(other, point, out) if away <= reach]
            if near:
                away, way = min(near, key=lambda w: w[0])
                ways.append((not covering, away, way))
            elif covering and frame.kind == "wall":
                deep = thickness_at(self.solids[name], point, out, 0.0, 0.0)
                x, y, _ = apply(inverse(compose(other.pose, frame.pose)), point)
                wall = wall or Passed(other, None, None, (float(x), float(y)), as_point(point), deep)
            elif covering and frame.kind in ("face", "opening"):
                closed = closed or name
        if ways:
            return min(ways, key=lambda w: w[:2])[2]
        return wall if wall is not None else closed
