"""Which holes lie in line: from a threaded hole outward through everything that is mated before it.

Owns the walk along a screw's axis over declared hole patterns: the piece whose hole the screw goes into, the pieces it
passes through with their thickness there, a wall that has no hole yet, and a piece that is in the way. Where no thread
is met, the same walk both ways gives the pieces that a bolt with a nut, or a thread-forming screw, holds together.
Whether a screw passes its holes, how long it must be and what it does there are the questions of other modules.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.screws.faces import COAXIAL_MM, OPPOSED, PLANE_MM, Face, edge
from elbowroom.model.screws.lines import Axis, Ends, Passed, as_point
from elbowroom.model.screws.walk import Walk
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.base import Hole, HolePattern, Stud
from elbowroom.parts.vocabulary.pose import apply, compose, inverse
from elbowroom.parts.vocabulary.threads import THREADS
from elbowroom.parts.vocabulary.tolerances import ROUNDING

SCREW_HOLE_MM = 9.0  # wider holes are for cables and tubes; a clearance hole for M8, no source (P)
BESIDE_MM = 40.0  # from a piece's box, beyond which no line of holes goes through it: three times how far an axis looks
SLOT_STEPS = 401  # places along a slot that are compared: a tenth of a millimetre in 40


def axes(layout: Layout, scene: Scene, about: Collection[str] | None = None) -> list[Axis]:
    """Every screw's line in a layout, by receiving piece and pattern in the layout's order. `scene` is the layout made
    solid: sheets whose other face declares no holes are measured on it.

    about: only lines that go through one of these pieces are asked for; patterns that none of them lies before or
    behind are passed over. None: all lines.
    """
    return _Finder(layout, scene, about).run()


class _Finder(Walk):
    def __init__(self, layout: Layout, scene: Scene, about: Collection[str] | None) -> None:
        super().__init__(layout, scene)
        if about is not None:
            boxes = [np.asarray(apply(p.pose, p.part.box().corners())) for p in layout.pieces if p.name in about]
            self.faces = {
                n: [f for f in faces if n in about or any(_before(f, b) for b in boxes)]
                for n, faces in self.faces.items()
            }

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
        passed, blocked = self.traverse(face.piece, start, out)
        if not passed and blocked is None and own is None:
            return self._from_behind(face, i, point, out)
        if not passed and blocked is None:
            return None  # nothing is mated before it: an unused hole
        passed = passed if own is None else [own, *passed]
        self.use([(face, i)], passed)
        deep = self.thickness_at(face, i, point, -out) if own is None else _to_end(face.piece, point, -out)
        free = self._free(face, i, point, out, deep)
        return replace(_axis(face, i, "thread", point, out, passed, blocked), free=free)

    def _from_behind(self, face: Face, i: int, point: Vector, out: Vector) -> Axis | None:
        """The line into a thread that goes through, from its other end, where no pattern shows it there."""
        if face.pattern.holes[i].depth is not None or any(True for _ in self.twins(face, i)):
            return None
        deep = self.thickness_at(face, i, point, -out)
        passed, blocked = ([], None) if deep is None else self.traverse(face.piece, point - deep * out, -out)
        if deep is None or not passed:
            return None
        self.use([(face, i)], passed)
        return _axis(face, i, "thread", point - deep * out, -out, passed, blocked)

    def _own_way(self, face: Face, i: int, point: Vector, out: Vector) -> Passed | None:
        """The plain hole of the same piece that leads to a thread inside it (a captive nut's), None where none does."""
        for other in self.faces[face.piece.name]:
            if other is face or float(other.pose[:3, 2] @ out) < -OPPOSED:
                continue
            for k, h in enumerate(other.pattern.holes):
                away = other.point(k) - point
                deep = float(away @ out)
                if h.thread is None and deep > PLANE_MM and float(np.linalg.norm(away - deep * out)) <= COAXIAL_MM:
                    return Passed(face.piece, other.pattern, k, (h.x, h.y), as_point(point), deep)
        return None

    def _stud(self, piece: Piece, stud: Stud) -> Axis | None:
        """A stud and what it goes through; None where nothing is mated to its face."""
        hole = Hole(0.0, 0.0, THREADS[stud.thread].major, thread=stud.thread)
        face = Face(piece, HolePattern(stud.name, stud.pose, (hole,), stud.body), compose(piece.pose, stud.pose))
        point, out = face.point(0), face.pose[:3, 2]
        step = self.next(piece, point, out, {piece.name})
        if isinstance(step, Passed) and step.opening is not None and step.opening.thread is not None:
            passed, blocked = [step], None  # it is screwed into a thread of the next piece
        else:
            passed, blocked = self.traverse(piece, point, out)
        if not passed and blocked is None:
            return None
        self.use([], passed)
        return replace(_axis(face, 0, "stud", point, out, passed, blocked), stud=stud.length)

    def _free(self, face: Face, i: int, point: Vector, out: Vector, deep: float | None) -> float | None:
        """mm a screw may go into a hole that goes through (`deep` mm), where something closed lies on the piece's other
        side.
        """
        hole = face.pattern.holes[i]
        if hole.depth is not None:
            return None
        behind = None if deep is None else self.next(face.piece, point - deep * out, -out, {face.piece.name})
        if behind is None:
            return None
        if isinstance(behind, Passed) and (opening := behind.opening) is not None:
            room = -edge(opening, *behind.at)
            return None if opening.thread is None and room >= hole.diameter / 2 else deep
        return deep

    def _bolt(self, face: Face, i: int) -> Axis | None:
        """What a hole without thread is in line with, both ways; None where that is nothing, or a thread."""
        out, point = face.pose[:3, 2], self._best_point(face, i)
        own = self.thickness_at(face, i, face.point(i), -out)
        if own is None and face.pattern.holes[i].depth is not None:
            return None  # a hole that ends in its piece takes no bolt
        before, stopped = self.traverse(face.piece, point, out)
        behind, stopped_behind = ([], None) if own is None else self.traverse(face.piece, point - own * out, -out)
        blocked = stopped or stopped_behind
        if not before and not behind and (blocked is None or not self._meant_for_screws(face, i)):
            return None
        x, y, _ = apply(inverse(face.pose), point)
        mine = Passed(face.piece, face.pattern, i, (float(x), float(y)), as_point(point), own)
        chain = [*reversed(behind), mine, *before]
        if any(self.spot(p) in self.used for p in (*before, *behind)):
            return None  # a part that is looser has brought its own screw there
        self.use([(face, i)], [*before, *behind])
        if any((h := p.opening) is not None and h.thread is not None for p in chain):
            return None  # a thread's own walk came to another end; its finding tells why
        start = point - sum(p.thickness or 0.0 for p in (mine, *behind)) * out
        length = sum(p.thickness or 0.0 for p in chain)
        # The fan at an end is what a thread-forming screw is cut into; else the nut lies inside the case.
        fan_first, fan_last = (p.piece.part.moves_air and p.hole is not None for p in (chain[0], chain[-1]))
        if (fan_last and not fan_first) or (not fan_first and self.inside(start + length * out) > self.inside(start)):
            chain, start, out = chain[::-1], start + length * out, -out
        if not (fan_first or fan_last) or len(chain) == 1:
            return _axis(face, i, "nut", start, out, _entered(chain, start, out), blocked)
        fan, rest = chain[0], chain[1:]
        assert fan.pattern is not None
        assert fan.hole is not None
        own_face = next(f for f in self.faces[fan.piece.name] if f.pattern.name == fan.pattern.name)
        if float(own_face.pose[:3, 2] @ out) < 0:  # called after the side the screw comes from
            for twin, k in self.twins(own_face, fan.hole):
                own_face, fan = twin, replace(fan, pattern=twin.pattern, hole=k)
        top = start + (fan.thickness or 0.0) * out
        return replace(
            _axis(own_face, fan.hole or 0, "forming", top, out, _entered(rest, top, out), blocked),
            fan=replace(fan, near=as_point(start)),
        )

    def _meant_for_screws(self, face: Face, i: int) -> bool:
        """Whether a hole that meets only closed faces was to take a screw there: not a soft layer's, nor one of
        the many a case has to choose from.
        """
        part = face.piece.part
        return (
            face.pattern.holes[i].diameter <= SCREW_HOLE_MM
            and not part.encloses
            and not (all(b.material in ("gasket", "rubber", "mesh") for b in part.bodies()) or part.small)
        )

    def _best_point(self, face: Face, i: int) -> Vector:
        """Where in a slot a bolt goes: as far into the nearest hole of what lies on it as the slot lets it."""
        hole, centre = face.pattern.holes[i], face.point(i)
        if hole.slot <= 0.0:
            return centre
        out = face.pose[:3, 2]
        own = self.thickness_at(face, i, centre, -out)
        ways = [(centre, out)] + ([] if own is None else [(centre - own * out, -out)])
        for start, way in ways:
            step = self.next(face.piece, start, way, {face.piece.name})
            if isinstance(step, Passed) and step.pattern is not None and step.hole is not None:
                other = next(f for f in self.faces[step.piece.name] if f.pattern.name == step.pattern.name)
                return _middle_of_overlap(face, i, other, step.hole)
        return centre


def _before(face: Face, corners: Vector) -> bool:
    """Whether a box with these corners lies before or behind a face's holes, or near to it."""
    seen = apply(inverse(face.pose), corners)[:, :2]
    lo, hi = seen.min(axis=0) - BESIDE_MM, seen.max(axis=0) + BESIDE_MM
    holes = np.array([[h.x, h.y, h.slot / 2 + h.diameter / 2] for h in face.pattern.holes]).reshape(-1, 3)
    return bool(np.any(np.all((holes[:, :2] + holes[:, 2:] >= lo) & (holes[:, :2] - holes[:, 2:] <= hi), axis=1)))


def _entered(chain: Sequence[Passed], start: Vector, out: Vector) -> list[Passed]:
    """The pieces of a chain with the points where an axis that begins at `start` enters them."""
    found, height = [], 0.0
    for p in chain:
        found.append(replace(p, near=as_point(start + height * out)))
        height += p.thickness or 0.0
    return found


def _axis(
    face: Face, i: int, ends: Ends, point: Vector, out: Vector, passed: Sequence[Passed], blocked: str | None
) -> Axis:
    return Axis(face.piece, face.pattern, i, ends, as_point(point), as_point(out), tuple(passed), blocked)


def _looseness(piece: Piece) -> int:
    if isinstance(piece.part, Fan):
        return 0
    return 2 if piece.part.encloses else 1


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
    near = np.flatnonzero(gaps <= gaps.min() + ROUNDING)
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
