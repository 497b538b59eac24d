"""The parts of a build at any height: what moves with it, how fast, and each body standing at it.

Owns the comparison of the same build placed at the two ends of a range: pieces whose pose changes move along a
straight line, as placing is linear in a lift (checked in the middle of the range); pieces of which one dimension
changes (risers, and the shank of a screw through one) are drawn anew at each height that is asked. Leaves every
question about the bodies to `limits`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from elbowroom.model.build.problems import InputError
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene, Shape, Solid
from elbowroom.model.geometry.solidify import shape_of, solidify
from elbowroom.model.layout.layout import Layout, Mate, Piece
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.measure import Measure, Mm
from elbowroom.parts.vocabulary.pose import Pose
from elbowroom.parts.vocabulary.tolerances import ROUNDING

RATE_DIGITS = 10  # of a velocity: over 200 mm it is off by 1e-8, and poses 0.01 mm apart that round differently agree
STRAIGHT_MM = 1e-6  # mm: poses from arithmetic alone; what lies farther from a straight line moves in another way


class Crooked(InputError):
    """A piece does not move in proportion to the height, so that its gaps cannot be followed."""


class Moved:
    """A layout as a function of one height between `lo` and `hi`, mm.

    fields: by piece whose dimensions change, the field that does, and its value at both ends. Raises Crooked where a
    piece moves or changes in another way.
    """

    def __init__(self, lo: float, hi: float, layouts: tuple[Layout, Layout, Layout], store: Store) -> None:
        first, middle, last = layouts
        self.lo, self.hi, self.layout, self.last = lo, hi, first, last
        self.store = store
        self.fields: dict[str, tuple[str, float, float]] = {}
        self.scene: Scene = solidify(first, store)
        self.checker = Checker(self.scene, store)
        self.velocity: dict[str, Floats] = {}
        for a, m, b in zip(first.pieces, middle.pieces, last.pieces, strict=True):
            off = m.pose - (a.pose + b.pose) / 2
            if np.abs(a.pose[:3, :3] - b.pose[:3, :3]).max() > ROUNDING or np.abs(off).max() > STRAIGHT_MM:
                raise Crooked(f"{a.name} does not move in a straight line with the height; give the height as a number")
            v = (b.pose[:3, 3] - a.pose[:3, 3]) / (hi - lo)
            self.velocity[a.name] = np.round(v, RATE_DIGITS) + 0.0
            if (changed := _changed(a, m, b)) is not None:
                self.fields[a.name] = changed
        self._drawn: dict[tuple[str, float], tuple[Part, Shape]] = {}
        self._rates: dict[tuple[str, str], float] = {}
        self._ends: dict[int, tuple[Solid, Solid]] = {}

    def piece(self, piece: Piece, h: float) -> Piece:
        """One of the layout's pieces as it stands at height h."""
        part = piece.part
        if piece.name in self.fields:
            part = with_height(part, *self._value(piece.name, h))
        return replace(piece, part=part, pose=self.pose(piece, h))

    @property
    def movers(self) -> frozenset[str]:
        """The pieces that move or change."""
        return frozenset(n for n, v in self.velocity.items() if n in self.fields or v.any())

    @property
    def way(self) -> Floats:
        """Where the raised parts go, mm for each mm of height."""
        return max(self.velocity.values(), key=lambda v: float(np.linalg.norm(v)))

    def _value(self, name: str, h: float) -> tuple[str, float]:
        field, a, b = self.fields[name]
        return field, a + (b - a) * (h - self.lo) / (self.hi - self.lo)

    def pose(self, piece: Piece, h: float) -> Pose:
        pose = piece.pose.copy()
        pose[:3, 3] += self.velocity[piece.name] * (h - self.lo)
        pose.setflags(write=False)
        return pose

    def rate(self, a: str, b: str) -> float:
        """Most that any point of a piece moves against any of another, mm for each mm of height."""
        found = self._rates.get((a, b))
        if found is None:
            own = float(np.linalg.norm(self.velocity[a] - self.velocity[b]))
            found = self._rates[(a, b)] = own + self.growth(a) + self.growth(b)
        return found

    def growth(self, name: str) -> float:
        """Most that a point of a piece moves in the piece's own coordinates, mm for each mm of height."""
        if name not in self.fields:
            return 0.0
        _, a, b = self.fields[name]
        return abs(b - a) / (self.hi - self.lo)

    def solid(self, k: int, h: float) -> Solid:
        """Solid k of the scene as it stands at height h."""
        at_lo = self.scene.solids[k]
        name = at_lo.piece.name
        if name not in self.fields:
            if not self.velocity[name].any():
                return at_lo
            step = self.velocity[name] * (h - self.lo)
            return replace(at_lo, pose=self.pose(at_lo.piece, h), lo=at_lo.lo + step, hi=at_lo.hi + step)
        part, shape = self._shape(at_lo.piece, h)
        pose = self.pose(at_lo.piece, h)
        mesh = shape.meshes[at_lo.body.name]
        points = mesh.vertices @ pose[:3, :3].T + pose[:3, 3]
        piece = replace(at_lo.piece, part=part, pose=pose)
        return Solid(piece, at_lo.body, shape, mesh, pose, points.min(axis=0), points.max(axis=0))

    def ends(self, k: int) -> tuple[Solid, Solid]:
        """Solid k at the two ends of the range."""
        found = self._ends.get(k)
        if found is None:
            found = self._ends[k] = (self.solid(k, self.lo), self.solid(k, self.hi))
        return found

    def stretched(self, k: int, h: float) -> Solid:
        """Solid k as it stands at height h, a riser's mesh pulled to its length rather than drawn: what a screw's line
        meets beside declared holes is the same, and a drawing costs as much as everything else about such a question.
        """
        at_lo = self.scene.solids[k]
        name = at_lo.piece.name
        if name not in self.fields:
            return self.solid(k, h)
        own = self.fields[name]
        factor = self._value(name, h)[1] / own[1]
        points = at_lo.mesh.vertices.copy()
        points[:, 2] = np.where(points[:, 2] > 0, points[:, 2] * factor, points[:, 2])  # a stud stays as it is
        piece = self.piece(at_lo.piece, h)
        mesh = replace(at_lo.mesh, vertices=points)
        there = points @ piece.pose[:3, :3].T + piece.pose[:3, 3]
        return Solid(piece, at_lo.body, at_lo.shape, mesh, piece.pose, there.min(axis=0), there.max(axis=0))

    def _shape(self, piece: Piece, h: float) -> tuple[Part, Shape]:
        part = with_height(piece.part, *self._value(piece.name, h))
        key = (part.shape_key(), round(h, 9))
        if key not in self._drawn:
            self._drawn[key] = (part, shape_of(replace(piece, part=part), self.store))
        return self._drawn[key]

    def swept(self, k: int, beside: str | None = None) -> tuple[Floats, Floats]:
        """Box that holds solid k at every height, its mesh's bound included; seen from the piece `beside`."""
        ends = self.ends(k)
        back = np.zeros(3) if beside is None else self.velocity[beside] * (self.hi - self.lo)
        bound = max(s.mesh.bound for s in ends)
        lo = np.minimum(ends[0].lo, ends[1].lo - back) - bound
        hi = np.maximum(ends[0].hi, ends[1].hi - back) + bound
        return lo, hi

    def mates(self) -> list[Mate]:
        """The mates that hold at both ends of the range: which frames are nearest may change on the way."""
        return [m for m in self.layout.mates if m in self.last.mates]


def _changed(a: Piece, m: Piece, b: Piece) -> tuple[str, float, float] | None:
    """The one field of a piece that follows the height, with its values at both ends; None where none does."""
    if a.part is b.part or a.part == b.part:
        return None
    names = [f for f in type(a.part).model_fields if getattr(a.part, f) != getattr(b.part, f)]
    values = [[getattr(p.part, f) for p in (a, m, b)] for f in names]
    if len(names) != 1 or not all(isinstance(v, Measure) for v in values[0]):
        raise Crooked(f"{a.name} changes with the height by more than one dimension; give the height as a number")
    lo, middle, hi = (float(v) for v in values[0])
    if abs(middle - (lo + hi) / 2) > STRAIGHT_MM:
        raise Crooked(f"{a.name} does not change in proportion to the height; give the height as a number")
    return names[0], lo, hi


def with_height(part: Part, field: str, h: float) -> Part:
    """The part at another height; raises ValueError where it cannot have it."""
    values = {f: getattr(part, f) for f in type(part).model_fields}
    return type(part).model_validate({**values, field: Mm(round(h, 9))})
