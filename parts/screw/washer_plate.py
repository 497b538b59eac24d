"""A washer plate: a flat plate with a row of holes that bridges slots too wide for a screw's head.

Owns its declaration and drawing. Origin at the middle of the holes, x along the row; face `b` is at z = 0, face `a` at
z = thickness. Leaves which slots want one to the judgement of screws.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self

from pydantic import model_validator

from elbowroom.parts.vocabulary import webs
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import pose
from elbowroom.parts.vocabulary.printing import PRACTICE, MadePart, refuse_thin
from elbowroom.parts.vocabulary.threads import Fit, ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape


class WasherPlate(MadePart):
    """A plate with `holes` holes in a row, `hole_pitch` apart."""

    family: ClassVar[str] = "washer-plate"
    seat: ClassVar[str | None] = "b"

    length: Mm = dim(Mm(30), "Length, along the row", source=PRACTICE, mark="P", ge=6, le=600)
    width: Mm = dim(Mm(14), "Width", source=PRACTICE, mark="P", ge=6, le=200)
    thickness: Mm = dim(Mm(2), "Thickness", source=PRACTICE, mark="P", ge=0.5, le=20)
    corner: Mm = dim(Mm(2), "Radius of the corners", source=PRACTICE, mark="P", ge=0, le=100)
    holes: int = dim(2, "Holes in the row", source=PRACTICE, mark="P", ge=1, le=20)
    hole_pitch: Mm = dim(
        Mm(15), "Distance between holes (15: the gap between two 120 mm fans' holes)", source=PRACTICE, mark="P", ge=3,
        le=300,
    )  # fmt: skip
    thread: ThreadName = dim("M4", "The screws that pass through", source=PRACTICE, mark="P")
    fit: Fit = dim("medium", "How much room the screws have", source=PRACTICE, mark="P")

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.material == "printed":
            refuse_thin("the plate's thickness", float(self.thickness))
        half = (self.length / 2, self.width / 2)
        if self.corner > min(half) + TOUCH:
            raise ValueError(f"corner {self.corner} is more than half of the plate: at most {min(half):g}")
        webs.refuse_thin_webs(self._row(0.0), half, corner=float(self.corner))
        return self

    def _row(self, allowance: float) -> tuple[Hole, ...]:
        found = thread(self.thread).clearance
        if not found:
            raise ValueError(f"no screw of thread {self.thread} passes through a plate")
        middle = (self.holes - 1) / 2
        return tuple(Hole((i - middle) * self.hole_pitch, 0.0, found[self.fit] + allowance) for i in range(self.holes))

    def box(self) -> Box:
        x, y = self.length / 2, self.width / 2
        return Box((-x, -y, 0.0), (x, y, float(self.thickness)))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("plate", self.material),)

    def frames(self) -> tuple[Frame, ...]:
        size = (float(self.length), float(self.width))
        return (
            Frame("a", "face", pose((0, 0, self.thickness), (0, 0, 1), (1, 0, 0)), ("plate",), size=size),
            Frame("b", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("plate",), size=size),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        holes = self._row(float(self.hole_allowance))
        return tuple(HolePattern(f.name, f.pose, holes, "plate") for f in self.frames())

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        x, y, _ = self.box().hi
        holes = [draw.circle(h.x, h.y, h.diameter) for h in self._row(float(self.hole_allowance))]
        return {"plate": draw.slab(draw.rectangle(-x, -y, x, y, self.corner), holes, self.thickness)}
