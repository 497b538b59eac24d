"""What an adapter plate is given: its holes - plain, tapped or for a heat-set insert - and its openings for the air.

Owns their fields, what they cover in the plate's plane, and the wall between an opening and anything else. Leaves the
plate to `made.adapter`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Self

from pydantic import BaseModel, ConfigDict, model_validator

from elbowroom.parts.screw import captive
from elbowroom.parts.vocabulary import webs
from elbowroom.parts.vocabulary.base import Hole, dim
from elbowroom.parts.vocabulary.measure import Deg, Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.printing import PRINT_WALL
from elbowroom.parts.vocabulary.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Wire

_USER = "stated by the build"


class _Spec(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)


class AdapterHole(_Spec):
    """A hole or slot: plain with a `diameter`, or with a `thread` that is tapped or a heat-set insert's."""

    at: tuple[Mm, Mm] = dim(..., "Position on the plate, from its middle, as seen on face a", source=_USER, mark="V")
    diameter: Mm | None = dim(
        None, "Diameter of a plain hole, or width of a slot", source=_USER, mark="V", gt=0, le=40
    )  # fmt: skip
    thread: ThreadName | None = dim(None, "Thread of a tapped hole or an insert", source=_USER, mark="V")
    insert: bool = dim(False, "Whether the thread is that of a heat-set insert", source=_USER, mark="V")
    slot: Mm = dim(Mm(0), "Length of a slot between its end centres", source=_USER, mark="V", ge=0, le=200)
    angle: Deg = dim(Deg(0), "Direction of a slot from the plate's x axis", source=_USER, mark="V", ge=-360, le=360)
    depth: Mm | None = dim(None, "Depth of a tapped hole; none: through", source=_USER, mark="V", gt=0, le=40)
    recess: Mm | None = dim(
        None, "Diameter of a recess in the other face, to sink a screw's head in", source=_USER, mark="V", gt=0, le=40
    )
    recess_depth: Mm | None = dim(None, "Depth of the recess", source=_USER, mark="V", gt=0, le=40)

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if (self.diameter is None) == (self.thread is None):
            raise ValueError("a hole has a diameter or a thread, and not both")
        if self.thread is None and (self.insert or self.depth is not None):
            raise ValueError(f"a plain hole goes through and has no {'insert' if self.insert else 'depth'}")
        if self.thread is not None and (self.slot or self.recess is not None):
            raise ValueError(f"a threaded hole cannot be a {'slot' if self.slot else 'hole with a recess'}")
        if self.insert and self.depth is not None:
            raise ValueError("an insert's hole has the depth its insert needs; leave depth out")
        if (self.recess is None) != (self.recess_depth is None):
            raise ValueError("a recess needs recess and recess_depth")
        if self.recess is not None and self.diameter is not None and self.recess <= self.diameter:
            raise ValueError(f"recess {self.recess} is not wider than its hole ({self.diameter})")
        if self.insert and self.thread is not None:
            captive.insert_for(self.thread)
        return self

    @property
    def bore(self) -> float:
        """Diameter of the hole in the plate, mm: an insert's pilot, a thread's minor diameter, or the hole's own."""
        if self.thread is None:
            return float(self.diameter or 0.0)
        return captive.insert_for(self.thread).pilot if self.insert else thread(self.thread).bore

    @property
    def wall(self) -> float:
        """Least wall around it, mm."""
        return max(PRINT_WALL, captive.insert_for(self.thread).wall) if self.insert and self.thread else PRINT_WALL

    def widest(self) -> Hole:
        """What it covers in the plate's plane, through its whole thickness."""
        return Hole(float(self.at[0]), float(self.at[1]), max(self.bore, self.recess or 0.0), self.slot, self.angle)


class AirOpening(_Spec):
    """An opening for the air: a circle by its `diameter`, or a rectangle by its `size`, its corners cut by `cut`."""

    at: tuple[Mm, Mm] = dim((Mm(0), Mm(0)), "Middle of the opening, from that of the plate", source=_USER, mark="V")
    diameter: Mm | None = dim(None, "Diameter of a round opening", source=_USER, mark="V", gt=0, le=400)
    size: tuple[Mm, Mm] | None = dim(None, "Length and width of a rectangular one", source=_USER, mark="V")
    cut: Mm = dim(Mm(0), "Taken off each corner, along both edges", source=_USER, mark="V", ge=0, le=200)

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        if (self.diameter is None) == (self.size is None):
            raise ValueError("an opening has a diameter or a size, and not both")
        if self.size is not None:
            if min(self.size) <= 0:
                raise ValueError(f"an opening {self.size[0]} by {self.size[1]} has no area")
            over = 2 * self.cut - min(self.size)
            if over > TOUCH:
                raise ValueError(f"cut {self.cut} takes {over:g} mm more off the shorter edge than it has")
        elif self.cut:
            raise ValueError("a round opening has no corners to cut")
        return self

    def corners(self) -> list[webs.Point2]:
        """The corners of a rectangular opening in order; none of a round one."""
        if self.size is None:
            return []
        (x, y), h, v, c = self.at, self.size[0] / 2, self.size[1] / 2, float(self.cut)
        out = [(-h + c, -v), (h - c, -v), (h, -v + c), (h, v - c), (h - c, v), (-h + c, v), (-h, v - c), (-h, -v + c)]
        kept = [p for p, q in zip(out, out[1:] + out[:1], strict=True) if math.dist(p, q) > TOUCH]
        return [(x + px, y + py) for px, py in kept]

    def spots(self) -> list[webs.Spot]:
        """Its edges, or the circle it is."""
        if self.diameter is not None:
            at = (float(self.at[0]), float(self.at[1]))
            return [(at, at, self.diameter / 2)]
        ring = self.corners()
        return [(p, q, 0.0) for p, q in zip(ring, ring[1:] + ring[:1], strict=True)]

    def gap(self, spot: webs.Spot) -> float:
        """Wall between the opening and a spot, mm; negative where they overlap."""
        least = min(webs.gap(own, spot) for own in self.spots())
        inside = [p for p in spot[:2] if self._holds(p)]
        deep = [min(webs.gap(own, (p, p, 0.0)) for own in self.spots()) for p in inside]
        return min([least, *(-d - spot[2] for d in deep)])

    def _holds(self, p: webs.Point2) -> bool:
        """Whether a point lies inside a rectangular opening, which is convex."""
        ring = self.corners()
        sides = [(b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) for a, b in
                 zip(ring, ring[1:] + ring[:1], strict=True)]  # fmt: skip
        return bool(ring) and min(sides) > 0

    def wire(self) -> Wire:
        from elbowroom.parts.vocabulary import draw

        if self.diameter is not None:
            return draw.circle(self.at[0], self.at[1], self.diameter)
        return draw.polygon(self.corners())
