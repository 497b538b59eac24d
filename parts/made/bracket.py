"""Angle brackets: two flanges at right angles, stiffened by a fillet or by gussets, and the one that carries a plate.

Owns what every angle bracket is, and `plate-bracket`; the one for pumps is `water.pump_bracket`'s. The foot
lies in z = 0 and reaches from y = 0 toward +y, the upright stands on it with its outer face in y = 0; x is across,
from the middle. Printed, it stands on its foot: what is bored in the upright lies flat then and gets a roof, and
slots in it run upward.
"""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.screw.screw_tables import WASHERS
from elbowroom.parts.vocabulary import webs
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import pose
from elbowroom.parts.vocabulary.printing import PRACTICE, PRINT_WALL, MadePart
from elbowroom.parts.vocabulary.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape, Solid


class AngleBracket(MadePart):
    """What all angle brackets share; a family states which holes are in `foot` and `face`."""

    seat: ClassVar[str | None] = "foot"

    width: Mm = dim(Mm(40), "Width of both flanges, along x", source=PRACTICE, mark="P", ge=8, le=400)
    foot: Mm = dim(Mm(36), "Length of the foot, outside", source=PRACTICE, mark="P", ge=8, le=300)
    upright: Mm = dim(Mm(45), "Height of the upright, outside", source=PRACTICE, mark="P", ge=8, le=400)
    thickness: Mm = dim(Mm(4), "Thickness of both flanges", source=PRACTICE, mark="P", ge=PRINT_WALL, le=20)
    stiffening: Literal["gussets", "fillet", "plain"] = dim(
        "gussets", "What stiffens the inner corner", source=PRACTICE, mark="P"
    )
    gusset: Mm = dim(Mm(3), "Thickness of the gusset at each side", source=PRACTICE, mark="P", ge=PRINT_WALL, le=20)
    fillet: Mm = dim(Mm(6), "Radius of the fillet", source=PRACTICE, mark="P", ge=0.5, le=60)

    @abstractmethod
    def _holes(self) -> tuple[tuple[Hole, ...], tuple[Hole, ...]]:
        """Holes of the foot and of the face before any allowance: x across, y from the outer corner, mm."""

    @abstractmethod
    def _screws(self) -> tuple[str, str]:
        """Threads of the screws in the foot and in the face."""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        short = self.thickness + 2 * PRINT_WALL - min(self.foot, self.upright)
        if short > TOUCH:
            raise ValueError(f"flanges {self.thickness} thick leave no angle: {short:g} mm short of foot or upright")
        if self.stiffening == "fillet" and self.fillet > min(self.foot, self.upright) - self.thickness:
            over = self.fillet + self.thickness - min(self.foot, self.upright)
            raise ValueError(f"fillet {self.fillet} is {over:g} mm more than the shorter flange is long inside")
        if self.stiffening == "gussets" and 2 * self.gusset + 2 * PRINT_WALL > self.width:
            over = 2 * self.gusset + 2 * PRINT_WALL - self.width
            raise ValueError(f"gussets {self.gusset} thick leave nothing between them: {over:g} mm too wide")
        flanges = (("foot", float(self.foot)), ("face", float(self.upright)))
        for (name, length), holes, screw in zip(flanges, self._holes(), self._screws(), strict=True):
            centred = [_moved(h, -length / 2) for h in holes]
            half = (self.width / 2, length / 2)
            webs.refuse_thin_webs(centred, half, roof=name == "face", where=f"in the {name}")
            self._refuse_blocked(name, holes, WASHERS[screw].outer / 2)
        return self

    def _refuse_blocked(self, name: str, holes: Sequence[Hole], washer: float) -> None:
        """ValueError where a washer on the inside of a flange runs into what stiffens the corner."""
        for i, h in enumerate(holes, 1):
            up = h.slot / 2 * abs(math.sin(math.radians(h.angle)))
            across = h.slot / 2 * abs(math.cos(math.radians(h.angle)))
            over = {"the inner corner": self._inside + washer - (h.y - up)}
            if self.stiffening == "gussets":
                over["a gusset"] = abs(h.x) + across + washer - (self.width / 2 - self.gusset)
            for what, mm in over.items():
                if mm > TOUCH:
                    raise ValueError(
                        f"hole {i} in the {name} leaves no room for a washer {2 * washer:g} wide: {mm:.2f} mm too near "
                        f"{what}"
                    )

    def unused_fields(self) -> frozenset[str]:
        of = {"gussets": "gusset", "fillet": "fillet"}
        return frozenset(field for kind, field in of.items() if kind != self.stiffening)

    @property
    def _inside(self) -> float:
        """From the outer corner to where a flange is free for washers, mm."""
        return self.thickness + (self.fillet if self.stiffening == "fillet" else 0.0)

    def box(self) -> Box:
        x = self.width / 2
        return Box((-x, 0.0, 0.0), (x, float(self.foot), float(self.upright)))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("bracket", self.material),)

    def frames(self) -> tuple[Frame, ...]:
        w, f, u = float(self.width), float(self.foot), float(self.upright)
        return (
            Frame("foot", "face", pose((0, f / 2, 0), (0, 0, -1), (1, 0, 0)), ("bracket",), size=(w, f)),
            Frame("face", "face", pose((0, 0, u / 2), (0, -1, 0), (1, 0, 0)), ("bracket",), size=(w, u)),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        foot, face = self._holes()
        under = webs.turned_over(self._drawn(h, -self.foot / 2) for h in foot)
        front = tuple(self._drawn(h, -self.upright / 2) for h in face)
        return tuple(
            HolePattern(f.name, f.pose, holes, "bracket")
            for f, holes in zip(self.frames(), (under, front), strict=True)
            if holes
        )

    def _drawn(self, hole: Hole, up: float) -> Hole:
        at = _moved(hole, up)
        return Hole(at.x, at.y, self._wide(at.diameter), at.slot, at.angle)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        x, t, f, u = self.width / 2, float(self.thickness), float(self.foot), float(self.upright)
        runs: list[Sequence[tuple[float, float]]] = [((0, 0), (f, 0)), ((f, 0), (f, t))]
        if self.stiffening == "fillet":
            r = float(self.fillet)
            k = r * (1 - math.sqrt(0.5))
            runs += [((f, t), (t + r, t))] if f - t - r > TOUCH else []
            runs += [((t + r, t), (t + k, t + k), (t, t + r))]
            runs += [((t, t + r), (t, u))] if u - t - r > TOUCH else []
        else:
            runs += [((f, t), (t, t)), ((t, t), (t, u))]
        runs += [((t, u), (0, u)), ((0, u), (0, 0))]
        body = self._along_x(draw.slab(draw.outline(runs), (), 2 * x), -x)
        if self.stiffening == "gussets":
            rib = draw.polygon([(t, t), (f, t), (t, u)])
            ribs = [self._along_x(draw.slab(rib, (), self.gusset), at) for at in (-x, x - self.gusset)]
            body = draw.fuse(body, *ribs)
        cuts = [c for p in self.patterns() for c in webs.tools(p, t, roof=p.name == "face")]
        return {"bracket": draw.cut(body, *cuts)}

    @staticmethod
    def _along_x(shape: Solid, x: float) -> Solid:
        """A solid drawn over (y, z), extruded along z, laid along x from `x` on."""
        from elbowroom.parts.vocabulary import draw

        return draw.one(draw.baked(shape, pose((x, 0, 0), (1, 0, 0), (0, 1, 0))))


def _moved(hole: Hole, up: float) -> Hole:
    return Hole(hole.x, hole.y + up, hole.diameter, hole.slot, hole.angle)


def clearance(name: str) -> float:
    """The medium clearance hole of a thread; ValueError for one that no screw of passes through."""
    found = thread(name).clearance
    if not found:
        raise ValueError(f"no screw of thread {name} passes through a bracket")
    return found["medium"]


def row(count: int, pitch: float) -> tuple[float, ...]:
    """Places of a row about its middle, mm."""
    return tuple((i - (count - 1) / 2) * pitch for i in range(count))


class PlateBracket(AngleBracket):
    """A bracket that carries a plate, or anything else, on a panel: slots in the foot, holes in the face."""

    family: ClassVar[str] = "plate-bracket"

    foot_thread: ThreadName = dim("M4", "Screws of the foot", source=PRACTICE, mark="P")
    foot_slots: int = dim(2, "Slots side by side in the foot", source=PRACTICE, mark="P", ge=1, le=8)
    foot_pitch: Mm = dim(Mm(20), "Distance between the foot's slots", source=PRACTICE, mark="P", ge=5, le=300)
    foot_slot: Mm = dim(
        Mm(10), "Length between a slot's end centres, square to the upright; 0: round holes", source=PRACTICE, mark="P",
        ge=0, le=200,
    )  # fmt: skip
    foot_centre: Mm | None = dim(
        None, "From the upright's outer face to the middle of the slots; left out: the middle of what is free",
        source=PRACTICE, mark="P", ge=0, le=300,
    )  # fmt: skip
    face_thread: ThreadName = dim("M4", "Screws of the face", source=PRACTICE, mark="P")
    face_holes: int = dim(2, "Holes side by side in the face", source=PRACTICE, mark="P", ge=1, le=8)
    face_pitch: Mm = dim(Mm(20), "Distance between the holes of a row", source=PRACTICE, mark="P", ge=5, le=300)
    face_rows: int = dim(1, "Rows of holes, one above the other", source=PRACTICE, mark="P", ge=1, le=8)
    face_row_pitch: Mm = dim(Mm(15), "Distance between the rows", source=PRACTICE, mark="P", ge=5, le=300)
    face_centre: Mm | None = dim(
        None, "Height of the middle of the rows; left out: the middle of what is free", source=PRACTICE, mark="P",
        ge=0, le=400,
    )  # fmt: skip

    def _screws(self) -> tuple[str, str]:
        return (self.foot_thread, self.face_thread)

    def _holes(self) -> tuple[tuple[Hole, ...], tuple[Hole, ...]]:
        y = (self._inside + self.foot) / 2 if self.foot_centre is None else float(self.foot_centre)
        z = (self._inside + self.upright) / 2 if self.face_centre is None else float(self.face_centre)
        wide, length = clearance(self.foot_thread), float(self.foot_slot)
        foot = tuple(Hole(x, y, wide, length, 90.0 if length else 0.0) for x in row(self.foot_slots, self.foot_pitch))
        face = tuple(
            Hole(x, z + up, clearance(self.face_thread))
            for up in row(self.face_rows, self.face_row_pitch)
            for x in row(self.face_holes, self.face_pitch)
        )
        return foot, face
