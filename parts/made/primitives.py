"""Plain shapes for whatever has no family of its own - box and cylinder here, the sheet beside it in `sheet`.

Owns their faces and the bores a build declares in them. Faces are named as by someone who sits in the case facing its
front: front +x, back -x, left +y, right -y, top +z, bottom -z. Seen from outside, the x axis of a side face runs to the
viewer's right and its y axis up; top and bottom keep the part's own x. All stand on the centre of their underside.
"""

from __future__ import annotations

import math
from abc import abstractmethod
from collections import Counter
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from pydantic import model_validator

from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Body, Box, Frame, HolePattern, Material, Part, dim
from elbowroom.parts.vocabulary.declared import FaceHole, FacePort, face_patterns, on_face
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import port_frame, refuse_repeated_names
from elbowroom.parts.vocabulary.pose import Pose, pose
from elbowroom.parts.vocabulary.threads import thread

if TYPE_CHECKING:
    from cadquery import Shape, Solid

Bore = tuple[str, str, float, list[tuple[float, float]], float]  # what, face, radius, ends on the face, depth
_USER = "stated by the build"
_PRACTICE = "common practice, no source"
WALL = 0.3  # mm of material a bore keeps to its face's edge and to the next bore: thinner is no wall; practice (P)
PASS = 1.0  # mm a cutting tool stands out of the part, so that no two faces coincide in the cut; any length does
# Holes of one part that are drawn, and of these the ones that must be cut out of it one by one. Bound by choice: the
# whole check of a sheet of 400 takes 12 s and of a block with 120 cut 5 s (measured); the second grows as its square.
MOST_HOLES, MOST_CUT = 400, 120
MOST_STATED = 20_000  # that are read at all, so that their number can be told; by choice
EPS = 1e-9  # mm: rounding of sums of dimensions


@dataclass(frozen=True, slots=True, eq=False)
class Flat:
    """A flat face: pose (z out), extents along its x and y, straight depth of material behind it, mm.

    round: the face is a disc with that inner diameter (0: full); None for a rectangle.
    """

    pose: Pose
    size: tuple[float, float]
    depth: float
    round: float | None = None

    def edge_left(self, x: float, y: float, r: float) -> float:
        """Least material between a circle of radius r about (x, y) and the face's edge, mm; negative outside."""
        if self.round is None:
            return min(self.size[0] / 2 - abs(x), self.size[1] / 2 - abs(y)) - r
        out = self.size[0] / 2 - math.hypot(x, y) - r
        return out if self.round == 0 else min(out, math.hypot(x, y) - self.round / 2 - r)


class Plain(Part):
    """One solid body named `body`, with ports and holes on named flat faces."""

    seat: ClassVar[str | None] = "bottom"

    material: Material = dim("plastic", "What it is made of", source=_PRACTICE, mark="P")
    ports: tuple[FacePort, ...] = dim((), "Threaded ports bored in its faces", source=_USER, mark="V", max_length=64)
    holes: tuple[FaceHole, ...] = dim(
        (), "Holes and slots in its faces", source=_USER, mark="V", max_length=MOST_STATED
    )

    @abstractmethod
    def flats(self) -> MappingProxyType[str, Flat]:
        """The flat faces by name."""

    @abstractmethod
    def _blank(self) -> Solid:
        """The shape without its bores, those aside that are drawn with it."""

    def bodies(self) -> tuple[Body, ...]:
        return (Body("body", self.material),)

    def frames(self) -> tuple[Frame, ...]:
        flats = self.flats()
        faces = [Frame(n, "face", f.pose, ("body",), size=f.size) for n, f in flats.items()]
        ports = []
        for p in self.ports:
            at = on_face(flats[p.face].pose, p.at)
            ports.append(port_frame(p, at[:3, 3], at[:3, 2], at[:3, 0], ("body",)))
        return (*faces, *ports)

    def patterns(self) -> tuple[HolePattern, ...]:
        return face_patterns({n: f.pose for n, f in self.flats().items()}, self.holes, "body")

    def bored(self) -> list[Bore]:
        """Everything bored in its faces, ports first; a depth of 0 goes right through."""
        bored: list[Bore] = []
        for p in self.ports:
            at = (float(p.at[0]), float(p.at[1]))
            bored.append((f"port '{p.name}'", p.face, thread(p.thread).bore / 2, [at], float(p.depth)))
        for i, h in enumerate(self.holes, 1):
            a, s = math.radians(h.angle), h.slot / 2
            ends = [(h.at[0] + k * s * math.cos(a), h.at[1] + k * s * math.sin(a)) for k in ((-1, 1) if s else (0,))]
            bored.append((f"hole {i}", h.face, h.width / 2, ends, 0.0 if h.depth is None else float(h.depth)))
        return bored

    @model_validator(mode="after")
    def _bored_soundly(self) -> Plain:
        cut = len(self._cut_holes())
        if len(self.holes) > MOST_HOLES:
            raise ValueError(f"{len(self.holes)} holes; more than {MOST_HOLES} are not drawn")
        if cut > MOST_CUT:
            raise ValueError(
                f"{cut} holes that are blind or not in the face with most through holes; more than {MOST_CUT} such are "
                "not drawn"
            )
        flats, bored = self.flats(), self.bored()
        for what, face, radius, ends, depth in bored:
            if face not in flats:
                raise ValueError(f"{what}: no face '{face}'; known: {', '.join(flats)}")
            flat = flats[face]
            short = WALL - min(flat.edge_left(x, y, radius) for x, y in ends)
            if short > EPS:
                raise ValueError(f"{what} comes {short:.2f} mm too close to the edge of face '{face}'")
            if depth > flat.depth + EPS:
                raise ValueError(f"{what} is {depth:g} deep, face '{face}' has {flat.depth:g} mm of material behind it")
        refuse_repeated_names([*flats, *(p.name for p in self.ports)])
        _keep_apart(bored)
        self.patterns()
        return self

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        flats, tools = self.flats(), []
        for p in self.ports:
            t = draw.cylinder(thread(p.thread).bore, p.depth + PASS, (0, 0, -p.depth))
            tools.append(draw.baked(t, on_face(flats[p.face].pose, p.at)))
        for h in self._cut_holes():
            flat = flats[h.face]
            depth = flat.depth + PASS if h.depth is None else float(h.depth)
            wire = draw.slot(float(h.at[0]), float(h.at[1]), h.width, h.slot, h.angle, -depth)
            tools.append(draw.baked(draw.slab(wire, (), depth + PASS), flat.pose))
        return {"body": draw.cut(self._blank(), *tools)}

    def _face_drawn(self) -> str | None:
        """The face whose through holes are drawn with the blank: one outline extruded is ten times faster than cuts."""
        return None

    def _drawn_holes(self) -> list[FaceHole]:
        face = self._face_drawn()
        return [h for h in self.holes if h.face == face and h.depth is None]

    def _cut_holes(self) -> list[FaceHole]:
        """The holes that are cut, rather than drawn with the blank."""
        face = self._face_drawn()
        return [h for h in self.holes if h.face != face or h.depth is not None]

    def _slab(self, flat: Flat) -> Solid:
        """A rectangle with the holes drawn in it, extruded from a face to the one behind it, in the part's place."""
        from elbowroom.parts.vocabulary import draw

        x, y = flat.size[0] / 2, flat.size[1] / 2
        inner = [
            draw.slot(float(h.at[0]), float(h.at[1]), h.width, h.slot, h.angle, -flat.depth)
            for h in self._drawn_holes()
        ]
        return draw.one(
            draw.baked(draw.slab(draw.rectangle(-x, -y, x, y, z=-flat.depth), inner, flat.depth), flat.pose)
        )


def _keep_apart(bored: list[Bore]) -> None:
    """ValueError where two bores of one face run into each other; slots count as the segment between their ends."""
    if len(bored) < 2:
        return
    a = np.array([ends[0] for _, _, _, ends, _ in bored], dtype=float)
    b = np.array([ends[-1] for _, _, _, ends, _ in bored], dtype=float)
    r = np.array([radius for _, _, radius, _, _ in bored], dtype=float)
    middle, reach = (a + b) / 2, np.linalg.norm(b - a, axis=1) / 2 + r
    for i in range(len(bored) - 1):
        near = np.flatnonzero(np.linalg.norm(middle[i + 1 :] - middle[i], axis=1) < reach[i + 1 :] + reach[i] + WALL)
        for j in (int(k) + i + 1 for k in near):
            if bored[i][1] != bored[j][1]:
                continue
            wall = _segments_apart(a[i], b[i], a[j], b[j]) - r[i] - r[j]
            if wall < WALL - EPS:
                raise ValueError(f"{bored[i][0]} and {bored[j][0]} leave {wall:.2f} mm of material between them")


def _segments_apart(
    a: Floats,
    b: Floats,
    c: Floats,
    d: Floats,
) -> float:
    """Least distance between two plane segments, mm; 0 where they cross."""

    def from_point(
        p: Floats,
        s: Floats,
        e: Floats,
    ) -> float:
        v = e - s
        t = 0.0 if not v.any() else float(np.clip((p - s) @ v / (v @ v), 0.0, 1.0))
        return float(np.linalg.norm(p - s - t * v))

    def side(
        p: Floats,
        q: Floats,
        o: Floats,
    ) -> float:
        return float((q[0] - p[0]) * (o[1] - p[1]) - (q[1] - p[1]) * (o[0] - p[0]))

    if side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0:
        return 0.0
    return min(from_point(a, c, d), from_point(b, c, d), from_point(c, a, b), from_point(d, a, b))


def block_flats(x: float, y: float, z: float) -> MappingProxyType[str, Flat]:
    """The six faces of a block of that size standing on the centre of its underside."""
    return MappingProxyType(
        {
            "bottom": Flat(pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), (x, y), z),
            "top": Flat(pose((0, 0, z), (0, 0, 1), (1, 0, 0)), (x, y), z),
            "left": Flat(pose((0, y / 2, z / 2), (0, 1, 0), (-1, 0, 0)), (x, z), y),
            "right": Flat(pose((0, -y / 2, z / 2), (0, -1, 0), (1, 0, 0)), (x, z), y),
            "front": Flat(pose((x / 2, 0, z / 2), (1, 0, 0), (0, 1, 0)), (y, z), x),
            "back": Flat(pose((-x / 2, 0, z / 2), (-1, 0, 0), (0, -1, 0)), (y, z), x),
        }
    )


class PlainBox(Plain):
    """A box standing on the centre of its underside: length along x, width along y, height along z."""

    family: ClassVar[str] = "box"

    length: Mm = dim(Mm(100), "Length along x", source=_PRACTICE, mark="P", gt=0.1, le=2000)
    width: Mm = dim(Mm(60), "Width along y", source=_PRACTICE, mark="P", gt=0.1, le=2000)
    height: Mm = dim(Mm(40), "Height along z", source=_PRACTICE, mark="P", gt=0.1, le=2000)

    def box(self) -> Box:
        x, y = self.length / 2, self.width / 2
        return Box((-x, -y, 0.0), (x, y, float(self.height)))

    def flats(self) -> MappingProxyType[str, Flat]:
        return block_flats(float(self.length), float(self.width), float(self.height))

    def _face_drawn(self) -> str | None:
        through = Counter(h.face for h in self.holes if h.depth is None)
        return max(through, key=lambda f: through[f], default=None)

    def _blank(self) -> Solid:
        from elbowroom.parts.vocabulary import draw

        face = self._face_drawn()
        return draw.box(self.box().lo, self.box().hi) if face is None else self._slab(self.flats()[face])


class PlainCylinder(Plain):
    """A cylinder standing on the centre of its underside, axis along z, with a bore right through where one is given.

    The frame `axis` lies on the axis in the plane of the top.
    """

    family: ClassVar[str] = "cylinder"

    diameter: Mm = dim(Mm(60), "Outer diameter", source=_PRACTICE, mark="P", gt=0.1, le=2000)
    height: Mm = dim(Mm(120), "Height along the axis", source=_PRACTICE, mark="P", gt=0.1, le=2000)
    bore: Mm = dim(Mm(0), "Diameter of the bore along the axis; 0 for none", source=_PRACTICE, mark="P", ge=0, le=2000)

    @model_validator(mode="after")
    def _has_wall(self) -> PlainCylinder:
        if self.bore and self.diameter - self.bore < 2 * WALL:
            raise ValueError(f"bore {self.bore} leaves no wall in a diameter of {self.diameter}")
        return self

    def box(self) -> Box:
        r = self.diameter / 2
        return Box((-r, -r, 0.0), (r, r, float(self.height)))

    def flats(self) -> MappingProxyType[str, Flat]:
        d, h, bore = float(self.diameter), float(self.height), float(self.bore)
        return MappingProxyType(
            {
                "bottom": Flat(pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), (d, d), h, bore),
                "top": Flat(pose((0, 0, h), (0, 0, 1), (1, 0, 0)), (d, d), h, bore),
            }
        )

    def frames(self) -> tuple[Frame, ...]:
        return (*super().frames(), Frame("axis", "axis", pose((0, 0, self.height), (0, 0, 1), (1, 0, 0)), ("body",)))

    def _blank(self) -> Solid:
        from elbowroom.parts.vocabulary import draw

        inner = [draw.circle(0, 0, self.bore)] if self.bore else []
        return draw.slab(draw.circle(0, 0, self.diameter), inner, self.height)
