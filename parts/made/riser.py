"""Risers and standoffs: round, hexagonal or tapered; bored through, tapped, blind at both ends, with a stud, with
heat-set inserts or with a captive nut.

Owns their declaration and drawing. Axis along z, foot at z = 0 and top at z = height; a stud reaches below the foot.
A hexagon has two corners on the x axis, so it is `across` wide in y. Inserts and nuts are bodies of their own, so that
a screw is judged by the metal it goes into; only the body `riser` is made.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.made import riser_shape
from elbowroom.parts.screw import captive
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, SetIn, Stud, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, pose
from elbowroom.parts.vocabulary.printing import BRIDGE, LEAST_PIN, PRINT_WALL, MadePart, refuse_thin
from elbowroom.parts.vocabulary.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape, Solid

_PRACTICE = "common practice, no source"
WALL = 0.5  # mm, least wall around a hole, and least web between two blind ones, where it is not printed; P

LEAST_HEIGHT = Mm(3)  # the shortest that spacers are commonly sold in; below it one takes washers; no source (P)
TAPPED_BY = 1.0  # diameters of thread a tapped riser needs for the screw of each end: common practice, no source (P)

End = Literal["foot", "top"]
ENDS: tuple[End, End] = ("foot", "top")


class Riser(MadePart):
    """A riser, spacer or standoff: what a plate or a board stands on.

    `hole`: `through` a clearance hole for the thread (medium fit), `tapped` from end to end, `blind` tapped from both
    ends with a web between, `male-female` a stud at the foot and a blind tapped hole in the top, `insert` a heat-set
    insert in the top or in both ends, `nut` a clearance hole with a nut let into one end, for a screw from the other.
    """

    family: ClassVar[str] = "riser"
    seat: ClassVar[str | None] = "foot"

    height: Mm = dim(Mm(18), "Height from foot to top, without a stud", source=_PRACTICE, mark="P", ge=1, le=200)
    least_height: Mm = dim(
        LEAST_HEIGHT, "Least height that is made: `height: fit` starts there, or where the threads need more",
        source=_PRACTICE, mark="P", ge=1, le=200,
    )  # fmt: skip
    shape: Literal["round", "hex"] = dim("round", "Cross-section", source=_PRACTICE, mark="P")
    across: Mm = dim(
        Mm(12), "Diameter at the top, or width across the flats of a hexagon", source=_PRACTICE, mark="P", ge=3, le=60
    )
    base: Mm | None = dim(
        None, "Diameter at the foot of a tapered riser; left out: not tapered", source=_PRACTICE, mark="P", ge=3, le=80
    )
    hole: Literal["through", "tapped", "blind", "male-female", "insert", "nut"] = dim(
        "through", "What is bored in it", source=_PRACTICE, mark="P"
    )
    thread: ThreadName = dim("M4", "Thread, or the screw that passes through", source=_PRACTICE, mark="P")
    foot_thread: ThreadName | None = dim(
        None, "Thread at the foot (hole, stud or insert), where it differs", source=_PRACTICE, mark="P"
    )
    thread_depth: Mm = dim(Mm(6), "Depth of a blind tapped hole", source=_PRACTICE, mark="P", ge=1, le=60)
    stud: Mm = dim(Mm(6), "Length of the stud of a male-female standoff", source=_PRACTICE, mark="P", ge=2, le=40)
    insert_ends: Literal["top", "both"] = dim("top", "Ends that have an insert", source=_PRACTICE, mark="P")
    nut_end: End = dim("foot", "End the nut is let into; the screw comes from the other", source=_PRACTICE, mark="P")
    material: Literal["aluminium", "brass", "steel", "plastic", "printed"] = dim(
        "aluminium", "What it is made of", source=_PRACTICE, mark="P"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.shape == "hex" and self.base is not None:
            raise ValueError("a hexagonal riser cannot be tapered: leave base out, or set shape: round")
        one = self.hole in ("through", "tapped", "nut") or (self.hole == "insert" and self.insert_ends == "top")
        if one and self.foot_thread not in (None, self.thread):
            what = "insert in the top" if self.hole == "insert" else f"{self.hole} hole"
            raise ValueError(f"a {what} has one thread: foot_thread {self.foot_thread} is not {self.thread}")
        if self.hole in ("through", "nut") and not thread(self.thread).clearance:
            raise ValueError(f"no screw of thread {self.thread} passes through a riser; use hole: tapped")
        if self.hole == "insert" and self.material not in ("printed", "plastic"):
            raise ValueError(f"an insert melts into plastic, not into {self.material}: set material: printed")
        self._check_walls()
        if self.material == "printed":
            self._check_printed()
        return self

    def unused_fields(self) -> frozenset[str]:
        of = {
            "thread_depth": ("blind", "male-female"), "stud": ("male-female",), "insert_ends": ("insert",),
            "nut_end": ("nut",),
        }  # fmt: skip
        return frozenset(field for field, kinds in of.items() if self.hole not in kinds)

    def _check_walls(self) -> None:
        least = PRINT_WALL if self.material == "printed" else WALL
        for end in reversed(ENDS):
            wide = self._outer(end)
            short = self._nominal(end) + 2 * least - wide
            if short > TOUCH:
                raise ValueError(
                    f"{end} {wide:g} across is {short:g} mm short for a {self._nominal(end):g} hole with wall"
                )
        if self.hole == "insert":
            for end in self._inserts():
                own = captive.insert_for(self._thread(end))
                wall = (min(self._outer(end), self._outer_at(end, own.pocket)) - own.pilot) / 2
                refuse_thin(f"the wall around the insert in the {end}", wall, own.wall)
        if self.hole == "nut":
            wide, depth = captive.nut_pocket(captive.nut_for(self.thread))
            around = min(self._outer(self.nut_end), self._outer_at(self.nut_end, depth))
            corner = wide if self.shape == "hex" else 2 * wide / math.sqrt(3)
            refuse_thin("the wall around the nut", (around - corner) / 2, least)
        deep = sum(self._depth(end) or 0.0 for end in ENDS)
        if deep and deep + least > self.height + TOUCH:
            what = {"insert": "pockets for inserts", "nut": "a nut's pocket"}.get(self.hole, "blind holes")
            each = {"insert": deep, "nut": deep}.get(self.hole, float(self.thread_depth))
            raise ValueError(
                f"{what} {each:g} deep need a height of {deep + least:g}: {deep + least - self.height:g} mm short"
            )

    def _check_printed(self) -> None:
        if self.hole == "male-female" and (thin := LEAST_PIN - self._nominal("foot")) > 0:
            raise ValueError(f"a printed stud needs {LEAST_PIN:g} mm: {self._foot_thread} is {thin:g} mm thinner")
        if self.hole in ("blind", "male-female"):
            ceiling = self._nominal("top" if self.hole == "male-female" else "foot")
            if ceiling > BRIDGE:
                raise ValueError(f"the bottom of a printed blind hole {ceiling:g} wide hangs over: at most {BRIDGE:g}")
        widening = self._widening
        if abs(widening) <= 1 + TOUCH or self._stands() != ("foot" if widening > 0 else "top"):
            return
        what = "stud" if self.hole == "male-female" else "nut's pocket"
        steep = abs(widening) * self.height - self.height
        raise ValueError(
            f"printed with its {what} upward the taper hangs over by more than 45 degrees: "
            f"{2 * steep:.2f} mm less difference between base and across, or more height"
        )

    def sensible_height(self) -> tuple[float, str]:
        """Least height such a riser is made in, mm, and why: its threads, or what is sold. Holes that do not fit in are
        refused outright.
        """
        least, why = float(self.least_height), "the least height such risers are made in"
        if self.hole == "tapped":
            threads = 2 * TAPPED_BY * thread(self.thread).major
            if threads > least:
                return threads, f"the thread that a screw from each end needs, {threads / 2:g} mm each"
        return least, why

    @property
    def _widening(self) -> float:
        """Growth of the radius for each mm upward: the tangent of the side's angle from vertical."""
        return (self._outer("top") - self._outer("foot")) / 2 / self.height

    def _stands(self) -> End | None:
        """The end that must lie on the bed for what the other one has, or None where either may."""
        if self.hole == "male-female":
            return "top"
        if self.hole == "nut":
            return "top" if self.nut_end == "foot" else "foot"
        return None

    def _lying(self) -> Pose:
        """On its foot, or turned over where the foot has a stud or a nut, or where the top is much the wider end."""
        if self._stands() == "top" or (self._stands() is None and self._widening > 1):
            return pose((0, 0, self.height), (0, 0, -1), (1, 0, 0))
        return IDENTITY

    @property
    def _foot_thread(self) -> str:
        return self.thread if self.foot_thread is None else self.foot_thread

    def _thread(self, end: End) -> str:
        return self.thread if end == "top" else self._foot_thread

    def _outer(self, end: End) -> float:
        """Width at one end, mm."""
        return float(self.across if end == "top" else self.base or self.across)

    def _outer_at(self, end: End, depth: float) -> float:
        """Width `depth` mm in from one end, mm."""
        other = self._outer("foot" if end == "top" else "top")
        return self._outer(end) + (other - self._outer(end)) * min(1.0, depth / self.height)

    def _inserts(self) -> tuple[End, ...]:
        if self.hole != "insert":
            return ()
        return ENDS if self.insert_ends == "both" else ("top",)

    def _has_nut(self, end: End) -> bool:
        return self.hole == "nut" and end == self.nut_end

    def _nominal(self, end: End) -> float:
        """Diameter of the hole, or of the stud, at one end before any allowance, mm; 0 where there is none."""
        own = thread(self._thread(end))
        if self.hole in ("through", "nut"):
            return own.clearance["medium"]
        if self.hole == "insert":
            return captive.insert_for(own.name).pilot if end in self._inserts() else 0.0
        return own.major if self.hole == "male-female" and end == "foot" else own.bore

    def _bore(self, end: End) -> float:
        """Diameter the hole or the stud is drawn with, mm."""
        nominal = self._nominal(end)
        return nominal if self.hole == "male-female" and end == "foot" else self._wide(nominal)

    def _depth(self, end: End) -> float | None:
        """Depth of a blind hole or of a pocket in one end, mm; None where there is none."""
        if self.hole == "blind" or (self.hole == "male-female" and end == "top"):
            return float(self.thread_depth)
        if end in self._inserts():
            return captive.insert_for(self._thread(end)).pocket
        if self._has_nut(end):
            return captive.nut_pocket(captive.nut_for(self.thread))[1]
        return None

    def _half(self) -> tuple[float, float]:
        """Half the extent along x and along y, mm."""
        if self.shape == "hex":
            return (self.across / math.sqrt(3), self.across / 2)
        r = max(self.across, self.base or 0.0) / 2
        return (r, r)

    def box(self) -> Box:
        x, y = self._half()
        foot = -float(self.stud) if self.hole == "male-female" else 0.0
        return Box((-x, -y, foot), (x, y, float(self.height)))

    def bodies(self) -> tuple[Body, ...]:
        inserts = tuple(Body(f"insert-{end}", "brass") for end in self._inserts())
        return (Body("riser", self.material), *inserts, *((Body("nut", "steel"),) if self.hole == "nut" else ()))

    def set_in(self) -> tuple[SetIn, ...]:
        inserts = tuple(SetIn("insert", self._thread(end)) for end in self._inserts())
        return (*inserts, SetIn("nut", self.thread)) if self.hole == "nut" else inserts

    def frames(self) -> tuple[Frame, ...]:
        return tuple(self._frame(end) for end in ENDS)

    def _frame(self, end: End) -> Frame:
        metal = (f"insert-{end}",) if end in self._inserts() else ("nut",) if self._has_nut(end) else ()
        depth = self._depth(end)
        if self.hole == "tapped":
            depth = float(self.height)
        threaded = self.hole in ("tapped", "blind", "male-female") or end in self._inserts()
        z, up = (0.0, -1.0) if end == "foot" else (float(self.height), 1.0)
        face = pose((0, 0, z), (0, 0, up), (1, 0, 0))
        return Frame(end, "face", face, ("riser", *metal), size=(self._outer(end),) * 2,
                     thread=self._thread(end) if threaded else None, depth=depth if threaded else None)  # fmt: skip

    def patterns(self) -> tuple[HolePattern, ...]:
        """The hole in each end; the foot of a male-female standoff has a stud and no hole.

        An insert's hole is the insert's own. A nut's is the pattern `nut`, at the face the nut is drawn against and
        looking toward the end the screw comes from; the end it is let into has no pattern, since no screw enters there.
        """
        out = []
        for end in ENDS:
            blank = self.hole == "male-female" and end == "foot"
            if blank or self._has_nut(end) or (self.hole == "insert" and end not in self._inserts()):
                continue
            frame, depth = self._frame(end), self._depth(end)
            hole = Hole(0.0, 0.0, self._bore(end), thread=frame.thread, depth=depth)
            body = "riser"
            if end in self._inserts():
                own, body = captive.insert_for(self._thread(end)), f"insert-{end}"
                bore = thread(self._thread(end)).bore
                hole = Hole(0.0, 0.0, bore, thread=frame.thread, depth=depth, threaded=own.length)
            out.append(HolePattern(end, frame.pose, (hole,), body))
        if self.hole == "nut":
            up = -1.0 if self.nut_end == "top" else 1.0
            at, own_nut = pose((0, 0, self._seat_z()), (0, 0, up), (1, 0, 0)), captive.nut_for(self.thread)
            hole = Hole(0.0, 0.0, thread(self.thread).bore, thread=self.thread, threaded=own_nut.height)
            out.append(HolePattern("nut", at, (hole,), "nut"))
        return tuple(out)

    def studs(self) -> tuple[Stud, ...]:
        if self.hole != "male-female":
            return ()
        return (Stud("foot", self._frame("foot").pose, self._foot_thread, float(self.stud), "riser"),)

    def _seat_z(self) -> float:
        """Height of the bottom of the nut's pocket, which the nut is drawn against, mm."""
        depth = self._depth(self.nut_end) or 0.0
        return depth if self.nut_end == "foot" else self.height - depth

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        if self.hole in ("insert", "nut"):
            return self._captive_solids()
        h, d = float(self.height), self._depth("top")
        r_top, r_foot = self._bore("top") / 2, self._bore("foot") / 2
        if self.shape == "round":
            cone = (h, self._outer("foot") / 2, self._outer("top") / 2)
            if d is None:
                return {"riser": draw.turned(riser_shape.through(*cone, r_top))}
            if self.hole == "blind":
                return {"riser": draw.turned(riser_shape.blind(*cone, d, r_top, r_foot))}
            return {"riser": draw.turned(riser_shape.with_stud(*cone, d, r_top, r_foot, self.stud))}
        outline = captive.hexagon(self.across)
        if d is None:
            return {"riser": draw.slab(outline, [draw.circle(0, 0, 2 * r_top)], h)}
        body = draw.cut(draw.slab(outline, (), h), draw.cylinder(2 * r_top, d, (0, 0, h), (0, 0, -1)))
        if self.hole == "blind":
            return {"riser": draw.cut(body, draw.cylinder(2 * r_foot, d))}
        return {"riser": draw.fuse(body, draw.turned(riser_shape.stud_section(r_foot, self.stud)))}

    def _captive_solids(self) -> dict[str, Shape]:
        """The riser with its pockets, and the inserts or the nut in them."""
        from elbowroom.parts.vocabulary import draw

        h = float(self.height)
        if self.shape == "hex":
            body: Solid = draw.slab(captive.hexagon(self.across), (), h)
        else:
            body = draw.turned(riser_shape.solid(h, self._outer("foot") / 2, self._outer("top") / 2))
        if self.hole == "nut":
            z, up = self._seat_z(), self.nut_end == "top"
            wide, depth = captive.nut_pocket(captive.nut_for(self.thread))
            pocket = draw.slab(captive.hexagon(self._wide(wide), z), (), depth if up else -depth)
            bore = draw.cylinder(self._bore("top"), h)
            return {"riser": draw.cut(body, bore, pocket), "nut": captive.nut_body(self.thread, z, up)}
        ends = [(end, h if end == "top" else 0.0, end == "top") for end in self._inserts()]
        pockets = [
            draw.cylinder(self._bore(end), self._depth(end) or 0.0, (0, 0, z), (0, 0, -1 if up else 1))
            for end, z, up in ends
        ]
        inserts = {f"insert-{e}": captive.insert_body(self._thread(e), self._bore(e), z, up) for e, z, up in ends}
        return {"riser": draw.cut(body, *pockets), **inserts}
