"""A fit coupon: a small block to print before the part itself, with its critical hole, peg and height.

Owns its declaration and drawing. The block lies in z = 0, x along it from the middle. From the cut corner at -x onward
stand the critical hole in steps from too tight to too loose, then a peg of the hole's own diameter, then a step as high
as the critical height. Printed like any part, its holes carry the printer's allowance: what is tried is how a hole of
that size comes out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self

from pydantic import model_validator

from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import pose
from elbowroom.parts.vocabulary.printing import LEAST_PIN, PRACTICE, MadePart, refuse_small
from elbowroom.parts.vocabulary.tolerances import ALIKE

if TYPE_CHECKING:
    from cadquery import Shape, Solid

MARGIN = 3.0  # mm of block around holes, peg and step; P
STEP = 10.0  # mm, least edge of the step that is measured; P
CUT = 2.0  # mm off the corner beside the tightest hole; P
MOST = 15  # holes on one coupon; P
TRIED = "accuracy of prints, 0.2 to 0.3, in published print guides"


class Coupon(MadePart):
    """A fit coupon."""

    family: ClassVar[str] = "coupon"
    seat: ClassVar[str | None] = "foot"

    hole: Mm = dim(Mm(4.5), "The diameter that is to come out right", source=PRACTICE, mark="P", ge=2, le=40)
    tightest: Mm = dim(
        Mm(-0.2), "How much wider than wanted the first hole is; below 0: narrower", source=TRIED, mark="V", ge=-2, le=2
    )
    loosest: Mm = dim(Mm(0.4), "How much wider than wanted the last hole is", source=TRIED, mark="V", ge=-2, le=2)
    pace: Mm = dim(Mm(0.1), "Step in diameter from one hole to the next", source=PRACTICE, mark="P", ge=0.02, le=1)
    height: Mm = dim(Mm(18), "The height that is to come out right", source=PRACTICE, mark="P", ge=1, le=200)
    thickness: Mm = dim(Mm(5), "Thickness of the block, as deep as the holes", source=PRACTICE, mark="P", ge=2, le=40)
    peg_height: Mm = dim(
        Mm(8), "How far the peg stands out of the block; 0: none", source=PRACTICE, mark="P", ge=0, le=40
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        span = self.loosest - self.tightest
        steps = span / self.pace
        if span < -TOUCH or abs(steps - round(steps)) > ALIKE:
            raise ValueError(
                f"steps of {self.pace} do not lead from {self.tightest} to {self.loosest}; "
                f"nearest: loosest {self.tightest + max(0, round(steps)) * self.pace:g}"
            )
        if round(steps) + 1 > MOST:
            over = round(steps) + 1 - MOST
            raise ValueError(f"{MOST + over} holes are {over} more than a coupon has room for: {MOST}")
        refuse_small("the tightest hole", self.hole + self.tightest)
        if self.peg_height > 0 and self.hole < LEAST_PIN:
            raise ValueError(
                f"a peg of {self.hole} is {LEAST_PIN - self.hole:.2f} mm thinner than stands: set peg_height: 0"
            )
        return self

    def offsets(self) -> tuple[float, ...]:
        """What each hole is wider than the critical one, in order, mm."""
        count = round((self.loosest - self.tightest) / self.pace) + 1
        return tuple(round(self.tightest + i * self.pace, 6) for i in range(count))

    @property
    def _pitch(self) -> float:
        return self.hole + self.loosest + MARGIN

    @property
    def _width(self) -> float:
        return max(self.hole + self.loosest + 2 * MARGIN, STEP)

    def _spans(self) -> tuple[float, float, float]:
        """Lengths of the block under the holes, under the peg, and of the step, mm."""
        holes = len(self.offsets()) * self._pitch + MARGIN
        return (holes, self.hole + MARGIN if self.peg_height > 0 else 0.0, self._width)

    @property
    def _start(self) -> float:
        return -sum(self._spans()) / 2

    def _places(self) -> tuple[float, ...]:
        """x of each hole, mm."""
        first = self._start + MARGIN + (self.hole + self.loosest) / 2
        return tuple(first + i * self._pitch for i in range(len(self.offsets())))

    def box(self) -> Box:
        y, x = self._width / 2, -self._start
        peg = self.thickness + self.peg_height if self.peg_height > 0 else 0.0
        return Box((-x, -y, 0.0), (x, y, max(float(self.thickness), float(self.height), peg)))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("coupon", self.material),)

    def frames(self) -> tuple[Frame, ...]:
        (holes, peg, step), w, x = self._spans(), self._width, self._start
        row = pose((x + holes / 2, 0, self.thickness), (0, 0, 1), (1, 0, 0))
        end = pose((x + holes + peg + step / 2, 0, self.height), (0, 0, 1), (1, 0, 0))
        return (
            Frame("foot", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("coupon",), size=(-2 * x, w)),
            Frame("top", "face", row, ("coupon",), size=(holes, w)),
            Frame("step", "face", end, ("coupon",), size=(step, w)),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        top = self.frame("top")
        middle = float(top.pose[0, 3])
        holes = tuple(
            Hole(x - middle, 0.0, self._wide(self.hole + o))
            for x, o in zip(self._places(), self.offsets(), strict=True)
        )
        return (HolePattern("top", top.pose, holes, "coupon"),)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        (holes, peg, _), x0, y, t = self._spans(), self._start, self._width / 2, float(self.thickness)
        x1 = x0 + holes + peg
        bores = [
            draw.circle(x, 0, self._wide(self.hole + o)) for x, o in zip(self._places(), self.offsets(), strict=True)
        ]
        outline = draw.polygon([(x0 + CUT, -y), (x1, -y), (x1, y), (x0, y), (x0, CUT - y)])
        pieces: list[Solid] = [draw.box((x1, -y, 0), (-x0, y, self.height))]
        if self.peg_height > 0:
            middle = x0 + holes + self.hole / 2
            pieces.append(draw.cylinder(self.hole, t + self.peg_height, (middle, 0, 0)))
        return {"coupon": draw.fuse(draw.slab(outline, bores, t), *pieces)}
