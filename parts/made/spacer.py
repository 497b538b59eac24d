"""Spacers and shims: a tube a screw passes through, and a frame that lifts a fan or a radiator by its thickness.

Owns their declaration and drawing. A spacer's axis is z, foot at z = 0 and top at z = height. A shim lies over a row of
fan positions like a gasket: origin at the centre of the holes, x along the row, face `b` at z = 0, face `a` at
z = thickness, and one more face for each fan.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.fan.layers import FanLayer
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Material, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import pose
from elbowroom.parts.vocabulary.printing import PRACTICE, MadePart, refuse_small, refuse_thin
from elbowroom.parts.vocabulary.threads import Fit, ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape


class Spacer(MadePart):
    """A round or square tube that a screw passes through."""

    family: ClassVar[str] = "spacer"
    loose_layer: ClassVar[bool] = True
    seat: ClassVar[str | None] = "foot"

    height: Mm = dim(Mm(10), "Height", source=PRACTICE, mark="P", ge=1, le=200)
    least_height: Mm = dim(
        Mm(3), "Least height that is made: `height: fit` starts there", source=PRACTICE, mark="P", ge=1, le=200
    )
    shape: Literal["round", "square"] = dim("round", "Cross-section outside", source=PRACTICE, mark="P")
    outer: Mm = dim(Mm(10), "Outer diameter, or edge of a square", source=PRACTICE, mark="P", ge=4, le=80)
    thread: ThreadName = dim("M4", "The screw that passes through", source=PRACTICE, mark="P")
    fit: Fit = dim("medium", "How much room the screw has", source=PRACTICE, mark="P")
    inner: Mm | None = dim(
        None, "Diameter of the hole; left out: the clearance hole of the thread", source=PRACTICE, mark="P", ge=2, le=70
    )

    @model_validator(mode="after")
    def _tube(self) -> Self:
        if self.inner is None and not thread(self.thread).clearance:
            raise ValueError(f"no clearance hole is known for {self.thread}: state inner")
        wall = (self.outer - self._inner) / 2
        refuse_thin(f"the wall between a hole of {self._inner:g} and {self.outer} outside", wall)
        return self

    def sensible_height(self) -> tuple[float, str]:
        """Least height such a spacer is made in, mm, and why."""
        return float(self.least_height), "the least height such spacers are made in"

    @property
    def _inner(self) -> float:
        return thread(self.thread).clearance[self.fit] if self.inner is None else float(self.inner)

    def box(self) -> Box:
        r = self.outer / 2
        return Box((-r, -r, 0.0), (r, r, float(self.height)))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("spacer", self.material),)

    def frames(self) -> tuple[Frame, ...]:
        size = (float(self.outer), float(self.outer))
        return (
            Frame("foot", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("spacer",), size=size),
            Frame("top", "face", pose((0, 0, self.height), (0, 0, 1), (1, 0, 0)), ("spacer",), size=size),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        hole = (Hole(0.0, 0.0, self._wide(self._inner)),)
        return tuple(HolePattern(f.name, f.pose, hole, "spacer") for f in self.frames())

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        r = self.outer / 2
        outside = draw.circle(0, 0, self.outer) if self.shape == "round" else draw.rectangle(-r, -r, r, r)
        return {"spacer": draw.slab(outside, [draw.circle(0, 0, self._wide(self._inner))], self.height)}


class Shim(MadePart, FanLayer):
    """A flat frame over one fan's holes, or a row of them, that lifts what stands on it by its thickness."""

    family: ClassVar[str] = "shim"
    loose_layer: ClassVar[bool] = True
    body: ClassVar[tuple[str, Material]] = ("shim", "printed")

    material: Literal["printed", "plastic", "acrylic", "aluminium"] = dim(
        "printed", "What it is made of", source=PRACTICE, mark="P"
    )
    thickness: Mm = dim(Mm(3), "How much it lifts", source=PRACTICE, mark="P", ge=0.4, le=30)

    @model_validator(mode="after")
    def _frame_holds(self) -> Self:
        refuse_small("the screw hole", float(self.hole))
        size, border = self.field.size, float(self.border)
        refuse_thin("the frame along its length", border + (self._width - size) / 2)
        refuse_thin("the frame at its ends", border + (self._length - self.field.length) / 2)
        return self

    def bodies(self) -> tuple[Body, ...]:
        return (Body(self.body[0], self.material),)

    @property
    def _hole(self) -> float:
        return self._wide(float(self.hole))
