"""A drill guide: a block with bores at a given pattern, and a lip that bears on the edge of what is drilled.

Owns its declaration and drawing. The block lies with its underside in z = 0, on the panel; the lip hangs below it, its
inner face in y = 0, so that `at` of a hole is (x from the middle of the block, y from the panel's edge). With a lip at
a side too it registers on a corner. A bore guides the drill itself, or takes a drill bush pressed into it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict, model_validator

from elbowroom.parts.vocabulary import webs
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import Pose, pose
from elbowroom.parts.vocabulary.printing import PRACTICE, PRINT_WALL, MadePart

if TYPE_CHECKING:
    from cadquery import Shape

# Headless drill bushes, DIN 179: outer diameter for drills up to and including a diameter, mm; M.
BUSHES = ((1.0, 3.0), (1.8, 4.0), (2.6, 5.0), (3.3, 6.0), (4.0, 7.0), (5.0, 8.0), (6.0, 10.0), (8.0, 12.0),
          (10.0, 15.0), (12.0, 18.0), (15.0, 22.0))  # fmt: skip
DRILL_PLAY = 0.2  # mm a bore is wider than the drill it guides: a sliding fit in print, 0.2 to 0.3; V
GUIDED = 1.5  # diameters of the drill that a bore must be long to hold it upright; P


class GuideHole(BaseModel):
    """A hole to drill."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)

    at: tuple[Mm, Mm] = dim(
        ..., "From the middle of the block along the edge, and from the edge", source="stated by the build", mark="V"
    )
    drill: Mm = dim(Mm(4.5), "Diameter of the drill", source=PRACTICE, mark="P", ge=1, le=15)


class DrillGuide(MadePart):
    """A block that puts drilled holes where they belong from the edge of a panel, or from its corner."""

    family: ClassVar[str] = "drill-guide"
    seat: ClassVar[str | None] = "foot"

    length: Mm = dim(Mm(50), "Length of the block along the edge", source=PRACTICE, mark="P", ge=10, le=500)
    width: Mm = dim(Mm(36), "From the edge to the end of the block", source=PRACTICE, mark="P", ge=8, le=500)
    thickness: Mm = dim(Mm(12), "Thickness of the block", source=PRACTICE, mark="P", ge=3, le=60)
    holes: tuple[GuideHole, ...] = dim(
        (GuideHole(at=(Mm(-15), Mm(20))), GuideHole(at=(Mm(15), Mm(20)))), "The holes to drill", source=PRACTICE,
        mark="P", min_length=1, max_length=100,
    )  # fmt: skip
    bushes: bool = dim(False, "Whether bores take drill bushes instead of the drill", source=PRACTICE, mark="P")
    lip: Mm = dim(Mm(5), "How far the lip hangs below the block", source=PRACTICE, mark="P", ge=1, le=40)
    lip_thickness: Mm = dim(Mm(4), "Thickness of the lip", source=PRACTICE, mark="P", ge=PRINT_WALL, le=30)
    side_lip: Literal["left", "right"] | None = dim(
        None, "A second lip, at the -x or the +x end, for a corner", source=PRACTICE, mark="P"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        webs.refuse_thin_webs(self._bores(0.0), (self.length / 2, self.width / 2))
        for i, hole in enumerate(self.holes, 1):
            short = GUIDED * hole.drill - self.thickness
            if short > TOUCH:
                raise ValueError(
                    f"a block {self.thickness} thick is {short:.2f} mm short to guide drill {i} of {hole.drill} upright"
                )
        return self

    def bore(self, drill: float) -> float:
        """Diameter of the bore for a drill: with its play, or that of the bush's outside, mm."""
        if not self.bushes:
            return drill + DRILL_PLAY
        return next(outer for up_to, outer in BUSHES if drill <= up_to)

    def _bores(self, allowance: float) -> tuple[Hole, ...]:
        """The bores about the middle of the block over the panel, seen from above."""
        return tuple(
            Hole(float(h.at[0]), h.at[1] - self.width / 2, self.bore(float(h.drill)) + allowance) for h in self.holes
        )

    def _ends(self) -> tuple[float, float]:
        """x of the block's ends, its side lip with it, mm."""
        half, lip = self.length / 2, float(self.lip_thickness)
        return (-half - (lip if self.side_lip == "left" else 0.0), half + (lip if self.side_lip == "right" else 0.0))

    def _lying(self) -> Pose:
        """Turned over, its top on the bed, so that the lips stand up."""
        return pose((0, 0, self.thickness), (0, 0, -1), (1, 0, 0))

    def box(self) -> Box:
        x0, x1 = self._ends()
        return Box((x0, -float(self.lip_thickness), -float(self.lip)), (x1, float(self.width), float(self.thickness)))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("guide", self.material),)

    def frames(self) -> tuple[Frame, ...]:
        w, length, t, down = float(self.width), float(self.length), float(self.thickness), -self.lip / 2
        size = (length, w)
        out = [
            Frame("foot", "face", pose((0, w / 2, 0), (0, 0, -1), (1, 0, 0)), ("guide",), size=size),
            Frame("top", "face", pose((0, w / 2, t), (0, 0, 1), (1, 0, 0)), ("guide",), size=size),
            Frame("edge", "face", pose((0, 0, down), (0, 1, 0), (1, 0, 0)), ("guide",), size=(length, float(self.lip))),
        ]
        if self.side_lip is not None:
            s = -1.0 if self.side_lip == "left" else 1.0
            side = pose((s * length / 2, w / 2, down), (-s, 0, 0), (0, 1, 0))
            out.append(Frame("side", "face", side, ("guide",), size=(w, float(self.lip))))
        return tuple(out)

    def patterns(self) -> tuple[HolePattern, ...]:
        bores = self._bores(float(self.hole_allowance))
        return (
            HolePattern("foot", self.frame("foot").pose, webs.turned_over(bores), "guide"),
            HolePattern("top", self.frame("top").pose, bores, "guide"),
        )

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        (x0, x1), lip, t, w = self._ends(), float(self.lip_thickness), float(self.thickness), float(self.width)
        bores = [draw.circle(h.x, h.y + w / 2, h.diameter) for h in self._bores(float(self.hole_allowance))]
        pieces = [draw.box((x0, -lip, -self.lip), (x1, 0, 0))]
        if self.side_lip is not None:
            a, b = (x0, x0 + lip) if self.side_lip == "left" else (x1 - lip, x1)
            pieces.append(draw.box((a, -lip, -self.lip), (b, w, 0)))
        return {"guide": draw.fuse(draw.slab(draw.rectangle(x0, -lip, x1, w), bores, t), *pieces)}
