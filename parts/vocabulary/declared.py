"""Ports, holes and faces that a build declares itself, on plain shapes and on a user's file.

Owns their fields beyond `vocabulary.ports`, and how they become frames and hole patterns. Leaves whether a bore
fits its face to the families, which know their faces.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints, model_validator

from elbowroom.parts.vocabulary.base import Hole, HolePattern, dim
from elbowroom.parts.vocabulary.measure import Deg, Mm
from elbowroom.parts.vocabulary.ports import Port
from elbowroom.parts.vocabulary.pose import Pose, compose, inverse, pose, shift
from elbowroom.parts.vocabulary.threads import ThreadName, thread
from elbowroom.parts.vocabulary.tolerances import ROUNDING

Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z][A-Za-z0-9 _-]{0,31}$")]
Direction = tuple[float, float, float]

# Directions declared by hand are rarely square to the last digit; a frame is made square anyway. Below this sine an
# `up` is taken for parallel to its `out`, which leaves the frame's turn undefined.
PARALLEL = 1e-6
# Holes of one pattern must lie in one plane: 0.01 mm is below what any of them can be measured to.
COPLANAR_MM = 0.01

_USER = "stated by the build"


class Declared(BaseModel):
    """Base of what a build declares on a part: frozen, and no field that is not known."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)


class _Hole(Declared):
    diameter: Mm | None = dim(
        None, "Diameter, or width of a slot; a threaded hole has its thread's", source=_USER, mark="V", gt=0, le=500
    )
    thread: ThreadName | None = dim(None, "Thread designation; none for a clearance hole", source=_USER, mark="V")
    depth: Mm | None = dim(None, "Depth bored inward; none for a through hole", source=_USER, mark="V", gt=0, le=2000)
    slot: Mm = dim(Mm(0), "Length between the end centres of a slot", source=_USER, mark="V", ge=0, le=2000)
    angle: Deg = dim(Deg(0), "Direction of a slot from the x axis of its face", source=_USER, mark="V", ge=-360, le=360)

    @model_validator(mode="after")
    def _sized(self) -> _Hole:
        if self.diameter is None and self.thread is None:
            raise ValueError("a hole needs a diameter or a thread")
        if self.thread is not None and self.diameter is not None:
            raise ValueError(f"a {self.thread} hole has its thread's diameter; leave diameter out")
        if self.thread is not None and self.slot > 0:
            raise ValueError("a slot cannot be threaded")
        return self

    @property
    def width(self) -> float:
        """Diameter of the bore as drawn, mm."""
        return thread(self.thread).bore if self.thread is not None else float(self.diameter or 0.0)

    def as_hole(self, x: float, y: float, angle: float) -> Hole:
        depth = None if self.depth is None else float(self.depth)
        return Hole(x, y, self.width, float(self.slot), angle, self.thread, depth)


class FacePort(Port):
    """A threaded port on a named face; `at` counts along the face's own x and y from its centre."""

    face: str = dim(..., "Face the port is bored in", source=_USER, mark="V")
    at: tuple[Mm, Mm] = dim((Mm(0), Mm(0)), "Position on the face, from its centre", source=_USER, mark="V")


class FaceHole(_Hole):
    """A hole on a named face; `at` counts along the face's own x and y from its centre."""

    pattern: Name | None = dim(
        None, "Pattern the hole belongs to; all others of a face form one named after it", source=_USER, mark="V"
    )
    face: str = dim(..., "Face the hole is bored in", source=_USER, mark="V")
    at: tuple[Mm, Mm] = dim((Mm(0), Mm(0)), "Position on the face, from its centre", source=_USER, mark="V")


class _InSpace(Declared):
    at: tuple[Mm, Mm, Mm] = dim(..., "Position in the part's coordinates", source=_USER, mark="V")
    out: Direction = dim(
        ..., "Direction out of the part, [x, y, z]; its length does not matter", source=_USER, mark="V"
    )
    up: Direction | None = dim(None, "Direction that counts as x on it, [x, y, z]", source=_USER, mark="V")

    @model_validator(mode="after")
    def _directed(self) -> _InSpace:
        out = math.hypot(*self.out)
        if out < ROUNDING:
            raise ValueError("out must not be 0, 0, 0")
        if self.up is not None:
            a, b = self.out, self.up
            cross = math.hypot(a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])
            if cross <= PARALLEL * out * math.hypot(*b):
                raise ValueError("up must not be zero or parallel to out")
        return self

    @property
    def pose(self) -> Pose:
        """The declared place as a frame's pose, z along `out`, x along `up` made square to it."""
        return pose(self.at, self.out, self.up)


class SpacePort(_InSpace, Port):
    """A threaded port anywhere on a user's shape."""


class SpaceHole(_InSpace, _Hole):
    """A hole anywhere on a user's shape."""

    pattern: Name = dim("holes", "Pattern the hole belongs to", source=_USER, mark="V")


class SpaceFace(_InSpace):
    """A flat face of a user's shape that something may be brought to."""

    name: Name = dim(..., "Name of the face", source=_USER, mark="V")
    size: tuple[Mm, Mm] | None = dim(None, "Its length along that x, and its width", source=_USER, mark="V")

    @model_validator(mode="after")
    def _sized(self) -> SpaceFace:
        if self.size is not None and min(self.size) <= 0:
            raise ValueError(f"face {self.name}: its size must be above zero")
        return self


def face_patterns(faces: Mapping[str, Pose], holes: Iterable[FaceHole], body: str) -> tuple[HolePattern, ...]:
    """Hole patterns on named faces, in the order they are first named; a pattern keeps to one face."""
    grouped: dict[str, list[FaceHole]] = {}
    for h in holes:
        grouped.setdefault(h.pattern or h.face, []).append(h)
    out = []
    for name, members in grouped.items():
        if len({h.face for h in members}) > 1:
            raise ValueError(f"holes of pattern '{name}' lie on several faces; give each face a pattern of its own")
        made = tuple(h.as_hole(float(h.at[0]), float(h.at[1]), float(h.angle)) for h in members)
        out.append(HolePattern(name, faces[members[0].face], made, body))
    return tuple(out)


def space_patterns(holes: Iterable[SpaceHole], body: str) -> tuple[HolePattern, ...]:
    """Hole patterns anywhere in space; the first hole of a pattern gives its frame, the others lie in its plane."""
    grouped: dict[str, list[SpaceHole]] = {}
    for h in holes:
        grouped.setdefault(h.pattern, []).append(h)
    out = []
    for name, members in grouped.items():
        base = members[0].pose
        made = []
        for h in members:
            seen = compose(inverse(base), h.pose)
            if abs(float(seen[2, 3])) > COPLANAR_MM or float(seen[2, 2]) < 1 - PARALLEL:
                raise ValueError(f"holes of pattern '{name}' do not lie in one plane facing one way")
            turned = math.degrees(math.atan2(float(seen[1, 0]), float(seen[0, 0])))
            made.append(h.as_hole(float(seen[0, 3]), float(seen[1, 3]), turned + float(h.angle)))
        out.append(HolePattern(name, base, tuple(made), body))
    return tuple(out)


def on_face(face: Pose, at: tuple[Mm, Mm]) -> Pose:
    """Pose of something at a place on a face, turned as the face is."""
    return compose(face, shift(float(at[0]), float(at[1])))
