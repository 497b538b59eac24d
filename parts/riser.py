"""Risers and standoffs: round, hexagonal or tapered, bored through, tapped, blind at both ends, or with a stud.

Owns their declaration and drawing. Axis along z, foot at z = 0 and top at z = height; a stud reaches below the foot.
A hexagon has two corners on the x axis, so it is `across` wide in y.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.base import Body, Box, Frame, Hole, HolePattern, Part, dim
from elbowroom.parts.measure import Mm
from elbowroom.parts.pose import pose
from elbowroom.parts.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"
WALL = 0.5  # mm, least wall around a hole, and least web between two blind ones; P
STUD_CHAMFER = 0.5  # mm off the end of a stud; P


class Riser(Part):
    """A riser, spacer or standoff.

    `hole`: `through` a clearance hole for the thread (medium fit), `tapped` from end to end, `blind` tapped from both
    ends with a web between, `male-female` a stud at the foot and a blind tapped hole in the top.
    """

    family: ClassVar[str] = "riser"
    seat: ClassVar[str | None] = "foot"

    height: Mm = dim(Mm(18), "Height from foot to top, without a stud", source=_PRACTICE, mark="P", ge=1, le=200)
    shape: Literal["round", "hex"] = dim("round", "Cross-section", source=_PRACTICE, mark="P")
    across: Mm = dim(
        Mm(12), "Diameter at the top, or width across the flats of a hexagon", source=_PRACTICE, mark="P", ge=3, le=60
    )
    base: Mm | None = dim(
        None, "Diameter at the foot of a tapered riser; left out: not tapered", source=_PRACTICE, mark="P", ge=3, le=80
    )
    hole: Literal["through", "tapped", "blind", "male-female"] = dim(
        "through", "What is bored in it", source=_PRACTICE, mark="P"
    )
    thread: ThreadName = dim("M4", "Thread, or the screw that passes through", source=_PRACTICE, mark="P")
    foot_thread: ThreadName | None = dim(
        None, "Thread at the foot (hole or stud), where it differs", source=_PRACTICE, mark="P"
    )
    thread_depth: Mm = dim(Mm(6), "Depth of a blind tapped hole", source=_PRACTICE, mark="P", ge=1, le=60)
    stud: Mm = dim(Mm(6), "Length of the stud of a male-female standoff", source=_PRACTICE, mark="P", ge=2, le=40)
    material: Literal["aluminium", "brass", "steel", "plastic", "printed"] = dim(
        "aluminium", "What it is made of", source=_PRACTICE, mark="P"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.shape == "hex" and self.base is not None:
            raise ValueError("a hexagonal riser cannot be tapered: leave base out, or set shape: round")
        if self.hole in ("through", "tapped") and self.foot_thread not in (None, self.thread):
            raise ValueError(f"a {self.hole} hole has one thread: foot_thread {self.foot_thread} is not {self.thread}")
        for name in {self.thread, self._foot_thread}:
            if self.hole == "through" and not thread(name).clearance:
                raise ValueError(f"no screw of thread {name} passes through a riser; use hole: tapped")
        wide = {"top": float(self.across), "foot": float(self.base or self.across)}
        for end, diameter in (("top", self._bore("top")), ("foot", self._bore("foot"))):
            short = diameter + 2 * WALL - wide[end]
            if short > 0:
                raise ValueError(f"{end} {wide[end]:g} across is {short:g} mm short for a {diameter:g} hole with wall")
        deep = {"blind": 2 * self.thread_depth, "male-female": float(self.thread_depth)}.get(self.hole, 0.0)
        if deep and deep + WALL > self.height:
            raise ValueError(
                f"blind holes {self.thread_depth} deep need a height of {deep + WALL:g}: "
                f"{deep + WALL - self.height:g} mm short"
            )
        return self

    @property
    def _foot_thread(self) -> str:
        return self.thread if self.foot_thread is None else self.foot_thread

    def _bore(self, end: Literal["top", "foot"]) -> float:
        """Diameter of the hole, or of the stud, at one end, mm."""
        own = thread(self.thread if end == "top" else self._foot_thread)
        if self.hole == "through":
            return own.clearance["medium"]
        return own.major if self.hole == "male-female" and end == "foot" else own.bore

    @property
    def _depth(self) -> float | None:
        """Depth of a blind hole, mm; None for one from end to end."""
        return None if self.hole in ("through", "tapped") else float(self.thread_depth)

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
        return (Body("riser", self.material),)

    def frames(self) -> tuple[Frame, ...]:
        top, foot = float(self.across), float(self.base or self.across)
        threaded = self.hole != "through"
        depth = float(self.height) if self._depth is None else self._depth
        stud = self.hole == "male-female"
        return (
            Frame("foot", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("riser",), size=(foot, foot),
                  thread=self._foot_thread if threaded else None, depth=depth if threaded and not stud else None),
            Frame("top", "face", pose((0, 0, self.height), (0, 0, 1), (1, 0, 0)), ("riser",), size=(top, top),
                  thread=self.thread if threaded else None, depth=depth if threaded else None),
        )  # fmt: skip

    def patterns(self) -> tuple[HolePattern, ...]:
        """The hole in each end; the foot of a male-female standoff has a stud and no hole."""
        out = []
        for end in ("foot", "top"):
            if end == "foot" and self.hole == "male-female":
                continue
            frame = self.frame(end)
            hole = Hole(0.0, 0.0, self._bore("top" if end == "top" else "foot"), thread=frame.thread, depth=self._depth)
            out.append(HolePattern(end, frame.pose, (hole,), "riser"))
        return tuple(out)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts import draw

        h, d = float(self.height), self._depth
        r_top, r_foot = self._bore("top") / 2, self._bore("foot") / 2
        if self.shape == "round":
            return {"riser": draw.turned(self._profile(h, d, r_top, r_foot))}
        x, y = self._half()
        outline = draw.polygon([(x, 0), (x / 2, y), (-x / 2, y), (-x, 0), (-x / 2, -y), (x / 2, -y)])
        if d is None:
            return {"riser": draw.slab(outline, [draw.circle(0, 0, 2 * r_top)], h)}
        body = draw.cut(draw.slab(outline, (), h), draw.cylinder(2 * r_top, d, (0, 0, h), (0, 0, -1)))
        if self.hole == "blind":
            return {"riser": draw.cut(body, draw.cylinder(2 * r_foot, d))}
        return {"riser": draw.fuse(body, draw.turned(self._stud_profile(r_foot, 0.0)))}

    def _profile(self, h: float, d: float | None, r_top: float, r_foot: float) -> list[tuple[float, float]]:
        """The half-section (radius, z) of a round riser."""
        out, base = self.across / 2, (self.base or self.across) / 2
        if d is None:
            return [(r_top, 0), (base, 0), (out, h), (r_top, h)]
        top = [(base, 0.0), (out, h), (r_top, h), (r_top, h - d), (0.0, h - d)]
        if self.hole == "blind":
            return [(0.0, d), (r_foot, d), (r_foot, 0.0), *top]
        return [*self._stud_profile(r_foot, 0.0)[:-1], *top]

    def _stud_profile(self, r: float, z: float) -> list[tuple[float, float]]:
        """The half-section of the stud, from its end up to z on its surface and back to the axis."""
        end = z - self.stud
        return [(0.0, end), (r - STUD_CHAMFER, end), (r, end + STUD_CHAMFER), (r, z), (0.0, z)]
