"""A card support: a post on a foot plate, with a padded saddle under the edge of a graphics card.

Owns its declaration and drawing. Origin in the middle of the foot's underside, z up, the card's edge along x; `height`
is where the card rests. `adjust: screw` puts the pad on the head of a screw that turns in a heat-set insert in the
saddle, so that the last millimetres are set by hand. Only the body `support` is made; insert, screw and pad are bought.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.screw import captive
from elbowroom.parts.screw.screw_tables import HEADS, WASHERS, shank
from elbowroom.parts.vocabulary import webs
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, SetIn, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import pose
from elbowroom.parts.vocabulary.printing import PRACTICE, PRINT_WALL, MadePart, refuse_thin
from elbowroom.parts.vocabulary.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape, Solid

COLLAR = 4.0  # mm the post widens at its root, at 45 degrees; P
BELOW_SCREW = 1.0  # mm of bore left under a screw that is turned in all the way; P


class CardSupport(MadePart):
    """A post with a saddle that carries a card's edge."""

    family: ClassVar[str] = "card-support"
    seat: ClassVar[str | None] = "foot"

    height: Mm = dim(Mm(90), "From the foot to where the card rests", source=PRACTICE, mark="P", ge=20, le=400)
    post: Literal["square", "hex"] = dim("square", "Cross-section of the post", source=PRACTICE, mark="P")
    across: Mm = dim(Mm(14), "Width of the post across its flats", source=PRACTICE, mark="P", ge=6, le=60)
    foot: Mm = dim(Mm(48), "Edge of the square foot", source=PRACTICE, mark="P", ge=15, le=200)
    foot_thickness: Mm = dim(Mm(4), "Thickness of the foot", source=PRACTICE, mark="P", ge=PRINT_WALL, le=20)
    foot_thread: ThreadName = dim("M4", "Screws of the foot", source=PRACTICE, mark="P")
    foot_pitch: Mm = dim(Mm(36), "Edge of the square of holes in the foot", source=PRACTICE, mark="P", ge=8, le=190)
    saddle: tuple[Mm, Mm] = dim(
        (Mm(30), Mm(20)), "Where the card rests: length along its edge, and width between the lips", source=PRACTICE,
        mark="P",
    )  # fmt: skip
    saddle_thickness: Mm = dim(Mm(3), "Thickness of the saddle", source=PRACTICE, mark="P", ge=PRINT_WALL, le=20)
    lip: Mm = dim(
        Mm(3), "Height of the lips over where the card rests; 0: no lips", source=PRACTICE, mark="P", ge=0, le=30
    )
    lip_thickness: Mm = dim(Mm(2), "Thickness of the lips", source=PRACTICE, mark="P", ge=PRINT_WALL, le=10)
    pad: Mm = dim(Mm(2), "Thickness of the rubber pad; 0: none", source=PRACTICE, mark="P", ge=0, le=10)
    adjust: Literal["none", "screw"] = dim("none", "How the height is set", source=PRACTICE, mark="P")
    screw_thread: ThreadName = dim("M4", "Thread of the adjusting screw", source=PRACTICE, mark="P")
    screw_length: Mm = dim(
        Mm(20), "Length of the adjusting screw below its head", source=PRACTICE, mark="P", ge=6, le=60
    )
    screw_out: Mm = dim(
        Mm(4), "How far the screw's head stands off the saddle as drawn", source=PRACTICE, mark="P", ge=0, le=50
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if min(self.saddle) <= 0:
            raise ValueError(f"saddle {self.saddle[0]}, {self.saddle[1]} must be above 0 both ways")
        self._check_foot()
        for name, half, post in zip(("length", "width"), self._saddle_half(), self._post_half(), strict=True):
            if half < post - TOUCH:
                raise ValueError(f"the saddle's {name} is {2 * (post - half):.2f} mm narrower than its post")
        if self.adjust == "screw":
            self._check_screw()
        low = self.foot_thickness + COLLAR
        if self._flare_z() < low - TOUCH:
            raise ValueError(
                f"height {self.height} is {low - self._flare_z():.2f} mm too low for foot, post and saddle together"
            )
        return self

    def unused_fields(self) -> frozenset[str]:
        screw = () if self.adjust == "screw" else ("screw_thread", "screw_length", "screw_out")
        return frozenset((*screw, *(("lip_thickness",) if float(self.lip) == 0.0 else ())))

    def _check_foot(self) -> None:
        half = self.foot / 2
        root = max(self._post_half()) + COLLAR
        if root > half + TOUCH:
            raise ValueError(f"foot {self.foot} is {2 * (root - half):.2f} mm narrower than the root of its post")
        webs.refuse_thin_webs(self._foot_holes(), (half, half), where="in the foot")
        x, y = (v + COLLAR for v in self._post_half())
        washer, at = WASHERS[self.foot_thread].outer / 2, self.foot_pitch / 2
        short = washer - math.hypot(max(at - x, 0.0), max(at - y, 0.0))
        if short > TOUCH:
            raise ValueError(
                f"foot_pitch {self.foot_pitch} lets washers {2 * washer:g} wide run into the post by {short:.2f} mm"
            )

    def _check_screw(self) -> None:
        own = captive.insert_for(self.screw_thread)
        refuse_thin("the wall of the post around the insert", (self.across - own.pilot) / 2, own.wall)
        held = self.screw_length - self.screw_out
        if held < own.length - TOUCH:
            raise ValueError(
                f"screw_out {self.screw_out} leaves {held:g} of a screw {self.screw_length} long in its insert: "
                f"{own.length - held:.2f} mm short of the insert's length"
            )
        bottom = self._floor() - self._bore_depth()
        refuse_thin("what is left under the screw's bore", bottom)
        head = HEADS["cap"][self.screw_thread].diameter
        short = head - min(self.saddle)
        if short > TOUCH:
            raise ValueError(f"the screw's head, {head:g} wide, needs {short:.2f} mm more saddle")

    def set_in(self) -> tuple[SetIn, ...]:
        if self.adjust == "none":
            return ()
        own = self.screw_thread
        return (SetIn("insert", own), SetIn("screw", own, float(self.screw_length)))

    def _foot_holes(self) -> tuple[Hole, ...]:
        found = thread(self.foot_thread).clearance
        if not found:
            raise ValueError(f"no screw of thread {self.foot_thread} passes through a foot")
        h = self.foot_pitch / 2
        return tuple(Hole(x, y, found["medium"]) for x in (-h, h) for y in (-h, h))

    def _post_half(self) -> tuple[float, float]:
        """Half the post's extents along x and y, mm; a hexagon has two corners on the x axis."""
        return (self.across / math.sqrt(3) if self.post == "hex" else self.across / 2, self.across / 2)

    def _saddle_half(self) -> tuple[float, float]:
        lips = float(self.lip_thickness) if self.lip > 0 else 0.0
        return (self.saddle[0] / 2, self.saddle[1] / 2 + lips)

    def _floor(self) -> float:
        """Height of the saddle's floor, mm: under pad, screw head and what the screw stands out."""
        head = HEADS["cap"][self.screw_thread].height + self.screw_out if self.adjust == "screw" else 0.0
        return self.height - self.pad - head

    def _bore_depth(self) -> float:
        """Depth of the screw's hole from the floor, mm: the screw turned in until its head lies on the floor."""
        pocket = captive.insert_for(self.screw_thread).pocket
        return max(pocket, self.screw_length + BELOW_SCREW)

    def _flare_from(self) -> tuple[float, float]:
        """Half the extents at which the flare under the saddle begins inside the post, mm."""
        x, y = self._post_half()
        return (x / 2, y) if self.post == "hex" else (x, y)

    def _flare_z(self) -> float:
        """Height at which the post begins to widen toward the saddle, at 45 degrees or less, mm."""
        rise = max(s - f for s, f in zip(self._saddle_half(), self._flare_from(), strict=True))
        return self._floor() - self.saddle_thickness - rise

    def box(self) -> Box:
        (x, y), f = self._saddle_half(), self.foot / 2
        top = self.height + self.lip
        return Box((-max(x, f), -max(y, f), 0.0), (max(x, f), max(y, f), float(top)))

    def bodies(self) -> tuple[Body, ...]:
        out = [Body("support", self.material)]
        if self.adjust == "screw":
            out += [Body("insert", "brass"), Body("screw", "steel")]
        return (*out, *((Body("pad", "rubber"),) if self.pad > 0 else ()))

    def frames(self) -> tuple[Frame, ...]:
        head = HEADS["cap"][self.screw_thread].diameter if self.adjust == "screw" else 0.0
        rest = "pad" if self.pad > 0 else "screw" if head else "support"
        size = (head, head) if head else (float(self.saddle[0]), float(self.saddle[1]))
        foot = (float(self.foot), float(self.foot))
        return (
            Frame("foot", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("support",), size=foot),
            Frame("saddle", "face", pose((0, 0, self.height), (0, 0, 1), (1, 0, 0)), (rest,), size=size),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        holes = tuple(Hole(h.x, h.y, self._wide(h.diameter)) for h in self._foot_holes())
        return (HolePattern("foot", self.frame("foot").pose, holes, "support"),)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        floor, sx = self._floor(), self._saddle_half()[0]
        out: dict[str, Shape] = {"support": self._support()}
        under = floor
        if self.adjust == "screw":
            drilled, under = self._wide(captive.insert_for(self.screw_thread).pilot), floor + self.screw_out
            out["insert"] = captive.insert_body(self.screw_thread, drilled, floor, up=True)
            head = HEADS["cap"][self.screw_thread]
            shaft = draw.cylinder(shank(self.screw_thread).drawn, self.screw_length, (0, 0, under), (0, 0, -1))
            out["screw"] = draw.fuse(draw.cylinder(head.diameter, head.height, (0, 0, under)), shaft)
            under += head.height
            if self.pad > 0:
                out["pad"] = draw.cylinder(head.diameter, self.pad, (0, 0, under))
        elif self.pad > 0:
            y = self.saddle[1] / 2
            out["pad"] = draw.box((-sx, -y, floor), (sx, y, self.height))
        return out

    def _support(self) -> Solid:
        from elbowroom.parts.vocabulary import draw

        floor, (px, py), (sx, sy) = self._floor(), self._post_half(), self._saddle_half()
        f, tf = self.foot / 2, float(self.foot_thickness)
        holes = [draw.circle(h.x, h.y, h.diameter) for h in self.patterns()[0].holes]
        post = captive.hexagon(self.across) if self.post == "hex" else draw.rectangle(-px, -py, px, py)
        under, rise = floor - self.saddle_thickness, self._flare_z()
        pieces: list[Solid] = [
            draw.slab(post, (), floor),
            _tapered((px + COLLAR, py + COLLAR), tf, (px, py), tf + COLLAR),
            draw.box((-sx, -sy, under), (sx, sy, floor)),
        ]
        if under - rise > TOUCH:
            pieces.append(_tapered(self._flare_from(), rise, (sx, sy), under))
        if self.lip > 0:
            y, top = self.saddle[1] / 2, self.height + self.lip
            pieces += [draw.box((-sx, a, under), (sx, b, top)) for a, b in ((-sy, -y), (y, sy))]
        body = draw.fuse(draw.slab(draw.rectangle(-f, -f, f, f), holes, tf), *pieces)
        if self.adjust == "none":
            return body
        own = captive.insert_for(self.screw_thread)
        pocket = draw.cylinder(self._wide(own.pilot), own.pocket, (0, 0, floor), (0, 0, -1))
        bore = self._wide(thread(self.screw_thread).clearance["medium"])
        return draw.cut(body, pocket, draw.cylinder(bore, self._bore_depth(), (0, 0, floor), (0, 0, -1)))


def _tapered(low: tuple[float, float], z0: float, high: tuple[float, float], z1: float) -> Solid:
    """A block of rectangular section about the z axis: half extents `low` at z0 and `high` at z1."""
    from elbowroom.parts.vocabulary import draw

    (ax, ay), (bx, by) = low, high
    deep, wide = max(ay, by), max(ax, bx)
    along_y = draw.prism(
        draw.bounded([(-ax, -deep, z0), (ax, -deep, z0), (bx, -deep, z1), (-bx, -deep, z1)], {}), (0, 2 * deep, 0)
    )
    along_x = draw.prism(
        draw.bounded([(-wide, -ay, z0), (-wide, ay, z0), (-wide, by, z1), (-wide, -by, z1)], {}), (2 * wide, 0, 0)
    )
    return draw.one(along_y.intersect(along_x))
