"""Small parts and scenes for the engine's tests: plain solids with analytic truth, and shapes made to mislead."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from elbowroom.model.geometry.judged import Judged
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Gaps, Layout, Mate, Piece
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Part
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, compose, pose, rotation

if TYPE_CHECKING:
    from cadquery import Shape

ODD = compose(pose((31.7, -12.9, 7.3)), rotation((1, 2, 3), 37.0))  # a turn no axis or symmetry of a part hides


class One(Part):
    """A part of one body named `body`, with a face on its top and underside where it is a block."""

    def bodies(self) -> tuple[Body, ...]:
        return (Body("body"),)

    def solids(self) -> dict[str, Shape]:
        return {"body": self.draw()}

    def draw(self) -> Any:
        raise TypeError("each kind draws itself")


class Block(One):
    """A box from the origin to (x, y, z)."""

    family: ClassVar[str] = "block"
    x: float = 10.0
    y: float = 10.0
    z: float = 10.0

    def box(self) -> Box:
        return Box((0.0, 0.0, 0.0), (self.x, self.y, self.z))

    def frames(self) -> tuple[Frame, ...]:
        return (
            Frame("top", "face", pose((self.x / 2, self.y / 2, self.z)), ("body",)),
            Frame("bottom", "face", pose((self.x / 2, self.y / 2, 0), (0, 0, -1)), ("body",)),
            Frame("above", "face", pose((self.x / 2, self.y / 2, self.z + 0.5)), ("body",)),
            Frame("slot", "slot", pose((self.x / 2, self.y / 2, self.z)), ("body",)),
        )

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary import draw

        return draw.box((0, 0, 0), (self.x, self.y, self.z))


class Rod(One):
    """A cylinder of radius r about z, from 0 to h."""

    family: ClassVar[str] = "rod"
    r: float = 5.0
    h: float = 20.0

    def box(self) -> Box:
        return Box((-self.r, -self.r, 0.0), (self.r, self.r, self.h))

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary import draw

        return draw.cylinder(2 * self.r, self.h)


class Bored(One):
    """A square block of side a and height h about z, with a through hole of radius r."""

    family: ClassVar[str] = "bored"
    a: float = 40.0
    r: float = 10.0
    h: float = 30.0

    def box(self) -> Box:
        return Box((-self.a / 2, -self.a / 2, 0.0), (self.a / 2, self.a / 2, self.h))

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary import draw

        s = self.a / 2
        return draw.slab(draw.rectangle(-s, -s, s, s), [draw.circle(0, 0, 2 * self.r)], self.h)


class Ball(One):
    """A sphere of radius r about the origin."""

    family: ClassVar[str] = "ball"
    r: float = 5.0

    def box(self) -> Box:
        return Box((-self.r,) * 3, (self.r,) * 3)

    def draw(self) -> Any:
        import cadquery as cq

        return cq.Solid.makeSphere(self.r, angleDegrees1=-90, angleDegrees2=90)


class Shell(One):
    """A cube of side a about the origin with a cubic void of side v in it."""

    family: ClassVar[str] = "shell"
    a: float = 40.0
    v: float = 30.0

    def box(self) -> Box:
        return Box((-self.a / 2,) * 3, (self.a / 2,) * 3)

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary import draw

        return draw.cut(
            draw.box((-self.a / 2,) * 3, (self.a / 2,) * 3), draw.box((-self.v / 2,) * 3, (self.v / 2,) * 3)
        )


class Hook(One):
    """A lopsided bracket with a rounded edge and a hole: it has no symmetry. `mirrored` is its mirror image in x."""

    family: ClassVar[str] = "hook"
    mirrored: bool = False

    def box(self) -> Box:
        return Box((-30.0, 0.0, 0.0), (0.0, 20.0, 14.0)) if self.mirrored else Box((0.0, 0.0, 0.0), (30.0, 20.0, 14.0))

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary import draw

        foot = draw.slab(draw.rectangle(0, 0, 30, 20, 3), [draw.circle(22, 13, 5)], 4)
        hook = draw.fuse(foot, draw.box((3, 3, 0), (8, 15, 14)))
        return draw.one(hook.mirror("YZ")) if self.mirrored else hook


class GivenMesh(Part):
    """A user's mesh: a unit cube scaled, with faults on request."""

    family: ClassVar[str] = "given"
    is_mesh: ClassVar[bool] = True
    size: float = 10.0
    open_top: bool = False
    twisted: bool = False

    def box(self) -> Box:
        return Box((0.0,) * 3, (self.size,) * 3)

    def bodies(self) -> tuple[Body, ...]:
        return (Body("body"),)

    def meshes(self) -> dict[str, tuple[Any, Any, str | None]]:
        v = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=np.float64) * self.size
        t = np.array(
            [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
             [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
        )  # fmt: skip
        if self.twisted:
            t[0] = t[0][::-1]
        return {"body": (v, t[:-2] if self.open_top else t, None)}

    def solids(self) -> dict[str, Shape]:
        raise TypeError("a mesh has no solids")


class Socket(Block):
    """A block with a keep-out above it that admits rods."""

    family: ClassVar[str] = "socket"
    room: float = 15.0

    def bodies(self) -> tuple[Body, ...]:
        return (Body("body"), Body("plug", keep_out="plug and fingers", admits=("rod",)))

    def frames(self) -> tuple[Frame, ...]:
        return (*super().frames(), Frame("plugged", "port", pose((self.x / 2, self.y / 2, self.z)), ("body", "plug")))

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        return {"body": self.draw(), "plug": draw.box((0, 0, self.z), (self.x, self.y, self.z + self.room))}


class Undrawable(Block):
    """A block whose drawing fails."""

    family: ClassVar[str] = "undrawable"

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary.draw import DrawError

        raise DrawError("its wall is thinner than nothing")


def layout_of(
    *placed: tuple[Part, Pose], mates: tuple[Mate, ...] = (), gaps: Gaps | None = None, **more: Any
) -> Layout:
    """A layout of parts named p1, p2 ... in the order given."""
    pieces = tuple(Piece(f"p{i}", part, at, "") for i, (part, at) in enumerate(placed, 1))
    return Layout("test", pieces, mates, gaps or Gaps(), **more)


def scene_of(store: Store, *placed: tuple[Part, Pose], **more: Any) -> Scene:
    return solidify(layout_of(*placed, **more), store)


def judged(
    store: Store, a: Part, b: Part, at: Pose, wanted: float | None = None, case: Pose = IDENTITY, swap: bool = False
) -> Judged:
    """What part b, placed by `at` in a's coordinates, is to part a; both carried by `case`; with `swap` a to b."""
    checker = Checker(scene_of(store, (a, case), (b, compose(case, at))), store)
    return checker.judge(1, 0, wanted) if swap else checker.judge(0, 1, wanted)


def lens_area(r1: float, r2: float, d: float) -> float:
    """Area two discs share whose centres are d apart (two circular segments)."""
    if d >= r1 + r2:
        return 0.0
    if d <= abs(r1 - r2):
        return math.pi * min(r1, r2) ** 2
    a1 = math.acos((d * d + r1 * r1 - r2 * r2) / (2 * d * r1))
    a2 = math.acos((d * d + r2 * r2 - r1 * r1) / (2 * d * r2))
    return r1 * r1 * (a1 - math.sin(2 * a1) / 2) + r2 * r2 * (a2 - math.sin(2 * a2) / 2)
