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
from elbowroom.parts.base import Frame, Hole, HolePattern, Stud
from elbowroom.parts.pose import apply, compose, inverse
from elbowroom.parts.threads import THREADS

Vector = NDArray[np.float64]

NEAR_MM = 12.0  # a hole whose edge is farther than this from an axis is not meant for it; no source (P)
SCREW_HOLE_MM = 9.0  # wider holes are for cables and tubes; a clearance hole for M8, no source (P)
SLOT_STEPS = 401  # places along a slot that are compared: a tenth of a millimetre in 40
MAX_LAYERS = 12  # pieces on one axis; more is a mistake in the build

Ends = Literal["thread", "nut", "forming", "stud"]


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
    end to it, or the hole has its own. stud: mm that the piece's own stud stands out along the axis.
    fan: of a thread-forming screw, the fan it is cut into as a bolt would pass it.
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
    stud: float | None = None
    fan: Passed | None = None

    @property
    def receiver(self) -> Hole:
        return self.pattern.holes[self.hole]

    def point(self, height: float) -> Vector:
        """The point `height` mm above the receiving face."""
        return np.array(self.origin) + height * np.array(self.out)


def bolted(axis: Axis) -> Axis:
    """The line of a thread-forming screw as that of a bolt through the fan, with a nut on its far side."""
    assert axis.fan is not None
    return replace(axis, ends="nut", origin=axis.fan.near, passed=(axis.fan, *axis.passed), fan=None)


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
            found += [a for s in piece.part.studs() if (a := self._stud(piece, s)) is not None]
        # What moves with the loosest part decides: a fan's own holes, then any part's, the case's last.
        for piece in sorted(self.layout.pieces, key=_looseness):
            for face in self.faces[piece.name]:
                for i, h in enumerate(face.pattern.holes):
                    if h.thread is None and face.spot(i) not in self.used:
                        bolt = self._bolt(face, i)
                        found += [] if bolt is None else [bolt]
        return found

    def _into_thread(self, face: Face, i: int) -> Axis | None:
        point, out = face.point(i), face.pose[:3, 2]
        own = self._own_way(face, i, point, out)
        start = point if own is None or own.thickness is None else point + own.thickness * out
        passed, blocked = self._walk(face.piece, start, out)
        if not passed and blocked is None:
            return None  # nothing is mated before it: an unused hole
        passed = passed if own is None else [own, *passed]
        self._use([(face, i)], passed)
        deep = self._through(face, i, point, -out) if own is None else _to_end(face.piece, point, -out)
        free = self._free(face, i, point, out, deep)
        return replace(_axis(face, i, "thread", point, out, passed, blocked), free=free)

    def _own_way(self, face: Face, i: int, point: Vector, out: Vector) -> Passed | None:
        """The plain hole of the same piece that leads to a thread inside it (a captive nut's), None where none does."""
        for other in self.faces[face.piece.name]:
            if other is face or float(other.pose[:3, 2] @ out) < -OPPOSED:
                continue
            for k, h in enumerate(other.pattern.holes):
                away = other.point(k) - point
                deep = float(away @ out)
                if h.thread is None and deep > PLANE_MM and float(np.linalg.norm(away - deep * out)) <= COAXIAL_MM:
                    return Passed(face.piece, other.pattern, k, (h.x, h.y), _tuple(point), deep)
        return None

    def _stud(self, piece: Piece, stud: Stud) -> Axis | None:
        """A stud and what it goes through; None where nothing is mated to its face."""
        hole = Hole(0.0, 0.0, THREADS[stud.thread].major, thread=stud.thread)
        face = Face(piece, HolePattern(stud.name, stud.pose, (hole,), stud.body), compose(piece.pose, stud.pose))
        point, out = face.point(0), face.pose[:3, 2]
        step = self._next(piece, point, out, {piece.name})
        if isinstance(step, Passed) and step.opening is not None and step.opening.thread is not None:
            passed, blocked = [step], None  # it is screwed into a thread of the next piece
        else:
            passed, blocked = self._walk(piece, point, out)
        if not passed and blocked is None:
            return None
        self._use([], passed)
        return replace(_axis(face, 0, "stud", point, out, passed, blocked), stud=stud.length)

    def _free(self, face: Face, i: int, point: Vector, out: Vector, deep: float | None) -> float | None:
        """mm a screw may go into a hole that goes through (`deep` mm), where something closed lies on the piece's other
        side.
        """
        hole = face.pattern.holes[i]
        if hole.depth is not None:
            return None
        behind = None if deep is None else self._next(face.piece, point - deep * out, -out, {face.piece.name})
        if behind is None:
            return None
        if isinstance(behind, Passed) and (opening := behind.opening) is not None:
            room = -edge(opening, *behind.at)
            return None if opening.thread is None and room >= hole.diameter / 2 else deep
        return deep

    def _bolt(self, face: Face, i: int) -> Axis | None:
        """What a hole without thread is in line with, both ways; None where that is nothing, or a thread."""
        out, point = face.pose[:3, 2], self._best_point(face, i)
        own = self._through(face, i, face.point(i), -out)
        before, stopped = self._walk(face.piece, point, out)
        behind, stopped_behind = ([], None) if own is None else self._walk(face.piece, point - own * out, -out)
        blocked = stopped or stopped_behind
        if not before and not behind and (blocked is None or not self._meant_for_screws(face, i)):
            return None
        x, y, _ = apply(inverse(face.pose), point)
        mine = Passed(face.piece, face.pattern, i, (float(x), float(y)), _tuple(point), own)
        chain = [*reversed(behind), mine, *before]
        if any(self._spot(p) in self.used for p in (*before, *behind)):
            return None  # a part that is looser has brought its own screw there
        self._use([(face, i)], [*before, *behind])
        if any((h := p.opening) is not None and h.thread is not None for p in chain):
            return None  # a thread's own walk came to another end; its finding tells why
        start = point - sum(p.thickness or 0.0 for p in (mine, *behind)) * out
        length = sum(p.thickness or 0.0 for p in chain)
        # The fan at an end is what a thread-forming screw is cut into; else the nut lies inside the case.
        fan_first, fan_last = (
            p.piece.part.air_flow() is not None and p.hole is not None for p in (chain[0], chain[-1])
        )
        if (fan_last and not fan_first) or (not fan_first and self._inside(start + length * out) > self._inside(start)):
            chain, start, out = chain[::-1], start + length * out, -out
        if not (fan_first or fan_last) or len(chain) == 1:
            return _axis(face, i, "nut", start, out, _entered(chain, start, out), blocked)
        fan, rest = chain[0], chain[1:]
        assert fan.pattern is not None
        assert fan.hole is not None
        own_face = next(f for f in self.faces[fan.piece.name] if f.pattern.name == fan.pattern.name)
        if float(own_face.pose[:3, 2] @ out) < 0:  # called after the side the screw comes from
            for twin, k in self._twins(own_face, fan.hole):
                own_face, fan = twin, replace(fan, pattern=twin.pattern, hole=k)
        top = start + (fan.thickness or 0.0) * out
        return replace(
            _axis(own_face, fan.hole or 0, "forming", top, out, _entered(rest, top, out), blocked),
            fan=replace(fan, near=_tuple(start)),
        )

    @staticmethod
    def _spot(p: Passed) -> Spot | None:
        return None if p.pattern is None or p.hole is None else (p.piece.name, p.pattern.name, p.hole)

    def _meant_for_screws(self, face: Face, i: int) -> bool:
        """Whether a hole that meets only closed faces was to take a screw there: not a soft layer's or a fan's, nor
        one of the many a case has to choose from.
        """
        part = face.piece.part
        return (
            face.pattern.holes[i].diameter <= SCREW_HOLE_MM
            and part.air_flow() is None
            and part.family != "case"
            and not (all(b.material in ("gasket", "rubber", "mesh") for b in part.bodies()) or part.small)
        )

    def _best_point(self, face: Face, i: int) -> Vector:
        """Where in a slot a bolt goes: as far into the nearest hole of what lies on it as the slot lets it."""
        hole, centre = face.pattern.holes[i], face.point(i)
        if hole.slot <= 0.0:
            return centre
        out = face.pose[:3, 2]
        own = self._through(face, i, centre, -out)
        ways = [(centre, out)] + ([] if own is None else [(centre - own * out, -out)])
        for start, way in ways:
            step = self._next(face.piece, start, way, {face.piece.name})
            if isinstance(step, Passed) and step.pattern is not None and step.hole is not None:
                other = next(f for f in self.faces[step.piece.name] if f.pattern.name == step.pattern.name)
                return _middle_of_overlap(face, i, other, step.hole)
        return centre

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


def _looseness(piece: Piece) -> int:
    if piece.part.air_flow() is not None and piece.part.family == "fan":
        return 0
    return 2 if piece.part.family == "case" else 1


def _middle_of_overlap(face: Face, i: int, other: Face, k: int) -> Vector:
    """The point on one slot's middle line that lies nearest to another slot's: the middle of those where many do."""

    def ends(f: Face, n: int) -> tuple[Vector, Vector]:
        h = f.pattern.holes[n]
        a = np.radians(h.angle)
        half = h.slot / 2 * (f.pose[:3, 0] * np.cos(a) + f.pose[:3, 1] * np.sin(a))
        return f.point(n) - half, f.point(n) + half

    (p, q), (a, b) = ends(face, i), ends(other, k)
    ts = np.linspace(0.0, 1.0, SLOT_STEPS)
    points = p + ts[:, None] * (q - p)
    u = b - a
    square = float(u @ u)
    s = np.clip(((points - a) @ u) / square, 0.0, 1.0) if square > 0 else np.zeros(len(points))
    gaps = np.linalg.norm(_flat(points - (a + s[:, None] * u), face.pose[:3, 2]), axis=1)
    near = np.flatnonzero(gaps <= gaps.min() + 1e-9)
    found: Vector = points[near[len(near) // 2]]
    return found


def _flat(v: Vector, normal: Vector) -> Vector:
    """Vectors without what they have along a normal."""
    found: Vector = v - (v @ normal)[:, None] * normal
    return found


def _to_end(piece: Piece, point: Vector, way: Vector) -> float:
    """mm from a point inside a piece to the end of its declared box along a direction."""
    corners = apply(piece.pose, piece.part.box().corners())
    return float(((corners - point) @ way).max())
