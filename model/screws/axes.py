"""Which holes lie in line: from a threaded hole outward through everything that is mated before it.

Owns the walk along a screw's axis over declared hole patterns: the piece whose hole the screw goes into, the pieces it
passes through with their thickness there, a wall that has no hole yet, and a piece that is in the way. Where no thread
is met, the same walk both ways gives the pieces that a bolt with a nut, or a thread-forming screw, holds together.
Whether a screw passes its holes, how long it must be and what it does there are the questions of other modules.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.layout import Layout, Piece
from elbowroom.model.scene import Scene, Solid
from elbowroom.model.screws.faces import COAXIAL_MM, OPPOSED, PLANE_MM, Face, Spot, covers, edge
from elbowroom.model.screws.through import thickness_at
from elbowroom.parts.base import Frame, Hole, HolePattern
from elbowroom.parts.pose import apply, compose, inverse

Vector = NDArray[np.float64]

NEAR_MM = 12.0  # a hole whose edge is farther than this from an axis is not meant for it; no source (P)
MAX_LAYERS = 12  # pieces on one axis; more is a mistake in the build

Ends = Literal["thread", "nut", "forming"]


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """A piece on an axis. pattern, hole: which hole of it is nearest, None where it has none there and one would have
    to be drilled. at: the axis in that pattern's plane, mm. near: the point where the axis enters. thickness: mm along
    the axis, None where it cannot be said.
    """

    piece: Piece
    pattern: HolePattern | None
    hole: int | None
    at: tuple[float, float]
    near: tuple[float, float, float]
    thickness: float | None

    @property
    def opening(self) -> Hole | None:
        return None if self.pattern is None or self.hole is None else self.pattern.holes[self.hole]


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """One screw's line. `piece`, `pattern`, `hole`: what it ends in. origin: on that piece's face, in case coordinates;
    out: unit vector from there to the head. passed: from the face to the head. blocked: a piece on the way that has no
    hole for it and is no wall to drill. free: mm from the face to what lies behind a hole that goes through; None: no
    end to it, or the hole has its own.
    """

    piece: Piece
    pattern: HolePattern
    hole: int
    ends: Ends
    origin: tuple[float, float, float]
    out: tuple[float, float, float]
    passed: tuple[Passed, ...]
    blocked: str | None = None
    free: float | None = None

    @property
    def receiver(self) -> Hole:
        return self.pattern.holes[self.hole]

    def point(self, height: float) -> Vector:
        """The point `height` mm above the receiving face."""
        return np.array(self.origin) + height * np.array(self.out)


def axes(layout: Layout, scene: Scene) -> list[Axis]:
    """Every screw's line in a layout, by receiving piece and pattern in the layout's order. `scene` is the layout made
    solid: sheets whose other face declares no holes are measured on it.
    """
    return _Walker(layout, scene).run()


class _Walker:
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

    def run(self) -> list[Axis]:
        found = []
        for piece in self.layout.pieces:
            for face in self.faces[piece.name]:
                threaded = [i for i, h in enumerate(face.pattern.holes) if h.thread is not None]
                found += [a for i in threaded if (a := self._into_thread(face, i)) is not None]
        for piece in self.layout.pieces:
            for face in self.faces[piece.name]:
                for i, h in enumerate(face.pattern.holes):
                    if h.thread is None and face.spot(i) not in self.used:
                        bolt = self._bolt(face, i)
                        found += [] if bolt is None else [bolt]
        return found

    def _into_thread(self, face: Face, i: int) -> Axis | None:
        point, out = face.point(i), face.pose[:3, 2]
        passed, blocked = self._walk(face.piece, point, out)
        if not passed and blocked is None:
            return None  # nothing is mated before it: an unused hole
        self._use([(face, i)], passed)
        return replace(_axis(face, i, "thread", point, out, passed, blocked), free=self._free(face, i, point, out))

    def _free(self, face: Face, i: int, point: Vector, out: Vector) -> float | None:
        """mm a screw may go into a hole that goes through, where something closed lies on the piece's other side."""
        hole = face.pattern.holes[i]
        if hole.depth is not None:
            return None
        deep = self._through(face, i, point, -out)
        behind = None if deep is None else self._next(face.piece, point - deep * out, -out, {face.piece.name})
        if behind is None:
            return None
        if isinstance(behind, Passed) and (opening := behind.opening) is not None:
            room = -edge(opening, *behind.at)
            return None if opening.thread is None and room >= hole.diameter / 2 else deep
        return deep

    def _bolt(self, face: Face, i: int) -> Axis | None:
        """What a hole without thread is in line with, both ways; None where that is nothing, or a thread."""
        point, out = face.point(i), face.pose[:3, 2]
        own = self._through(face, i, point, -out)
        before, stopped = self._walk(face.piece, point, out)
        behind, stopped_behind = ([], None) if own is None else self._walk(face.piece, point - own * out, -out)
        if not before and not behind:
            return None
        mine = Passed(
            face.piece, face.pattern, i, (face.pattern.holes[i].x, face.pattern.holes[i].y), _tuple(point), own
        )
        chain = [*reversed(behind), mine, *before]
        self._use([(face, i)], [*before, *behind])
        if any((h := p.opening) is not None and h.thread is not None for p in chain):
            return None  # a thread's own walk came to another end; its finding tells why
        start = point - sum(p.thickness or 0.0 for p in (mine, *behind)) * out
        length = sum(p.thickness or 0.0 for p in chain)
        blocked = stopped or stopped_behind
        # The fan at an end is what a thread-forming screw is cut into; else the nut lies inside the case.
        fan_first, fan_last = (
            p.piece.part.air_flow() is not None and p.hole is not None for p in (chain[0], chain[-1])
        )
        if (fan_last and not fan_first) or (not fan_first and self._inside(start + length * out) > self._inside(start)):
            chain, start, out = chain[::-1], start + length * out, -out
        if not (fan_first or fan_last):
            return _axis(face, i, "nut", start, out, _entered(chain, start, out), blocked)
        fan, rest = chain[0], chain[1:]
        assert fan.pattern is not None
        assert fan.hole is not None
        own_face = next(f for f in self.faces[fan.piece.name] if f.pattern.name == fan.pattern.name)
        top = start + (fan.thickness or 0.0) * out
        return _axis(own_face, fan.hole, "forming", top, out, _entered(rest, top, out), blocked)

    def _inside(self, point: Vector) -> float:
        """mm a point lies inside the case's free room; negative outside, or without a case."""
        room = self.layout.interior
        return -1.0 if room is None else float(min(*(point - room.lo), *(room.hi - point)))

    def _use(self, own: Sequence[tuple[Face, int]], passed: Sequence[Passed]) -> None:
        for face, i in own:
            self.used.add(face.spot(i))
            self.used.update(t.spot(k) for t, k in self._twins(face, i))
        for p in passed:
            if p.pattern is None or p.hole is None:
                continue
            face = next(f for f in self.faces[p.piece.name] if f.pattern.name == p.pattern.name)
            self.used.add(face.spot(p.hole))
            self.used.update(t.spot(k) for t, k in self._twins(face, p.hole))

    def _twins(self, face: Face, i: int) -> Iterator[tuple[Face, int]]:
        """The same hole as other patterns of the piece show it: from its other end."""
        point, out = face.point(i), face.pose[:3, 2]
        for other in self.faces[face.piece.name]:
            if other is face or float(other.pose[:3, 2] @ out) > OPPOSED:
                continue
            for k in range(len(other.pattern.holes)):
                away = other.point(k) - point
                if float(np.linalg.norm(away - (away @ out) * out)) <= COAXIAL_MM and float(away @ out) < 0:
                    yield other, k

    def _through(self, face: Face, i: int, point: Vector, along: Vector) -> float | None:
        """mm through a piece along its hole, from one face to the other."""
        ends = [float((t.point(k) - point) @ along) for t, k in self._twins(face, i)]
        hole = face.pattern.holes[i]
        if ends:
            return min(ends)
        return thickness_at(self.solids[face.piece.name], point, along, hole.diameter / 2, hole.slot)

    def _walk(self, piece: Piece, point: Vector, out: Vector) -> tuple[list[Passed], str | None]:
        """The pieces on an axis from a face outward, and the name of one that stops it."""
        found: list[Passed] = []
        seen = {piece.name}
        while len(found) < MAX_LAYERS:
            step = self._next(piece, point, out, seen)
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

    def _next(self, piece: Piece, point: Vector, out: Vector, seen: set[str]) -> Passed | str | None:
        """What lies on a piece's face at a point: a hole to pass, a wall to drill, or (its name) something closed."""
        closed: str | None = None
        wall: Passed | None = None
        for name, frame in self.mated[piece.name]:
            if name in seen:
                continue
            other = self.pieces[name]
            best: tuple[float, Face, int, tuple[float, float]] | None = None
            for face in self.faces[name]:
                if float(face.pose[:3, 2] @ out) < OPPOSED and abs(float((point - face.pose[:3, 3]) @ out)) <= PLANE_MM:
                    hole, away, at = face.nearest(point)
                    if best is None or away < best[0]:
                        best = (away, face, hole, at)
            covering = covers(compose(other.pose, frame.pose), frame, point, out)
            if covering is None:  # then its material says it
                covering = thickness_at(self.solids[name], point, out, 0.0, 0.0) is not None
            # A wall's slots are meant for what is mated to them: over a bare wall only a hole that takes the screw is.
            reach = 0.0 if covering and frame.kind == "wall" else NEAR_MM
            if best is not None and best[0] <= reach:
                _, face, hole, at = best
                under = face.pattern.holes[hole].under_head
                deep = self._through(face, hole, face.point(hole), out) if under is None else under
                return Passed(other, face.pattern, hole, at, _tuple(point), deep)
            if not covering:
                continue
            if frame.kind == "wall":
                deep = thickness_at(self.solids[name], point, out, 0.0, 0.0)
                x, y, _ = apply(inverse(compose(other.pose, frame.pose)), point)
                wall = wall or Passed(other, None, None, (float(x), float(y)), _tuple(point), deep)
            elif frame.kind in ("face", "opening"):
                closed = closed or name
        return wall if wall is not None else closed


def _entered(chain: Sequence[Passed], start: Vector, out: Vector) -> list[Passed]:
    """The pieces of a chain with the points where an axis that begins at `start` enters them."""
    found, height = [], 0.0
    for p in chain:
        found.append(replace(p, near=_tuple(start + height * out)))
        height += p.thickness or 0.0
    return found


def _tuple(v: Vector) -> tuple[float, float, float]:
    return (float(v[0]), float(v[1]), float(v[2]))


def _axis(
    face: Face, i: int, ends: Ends, point: Vector, out: Vector, passed: Sequence[Passed], blocked: str | None
) -> Axis:
    return Axis(face.piece, face.pattern, i, ends, _tuple(point), _tuple(out), tuple(passed), blocked)
