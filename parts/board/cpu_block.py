"""A CPU block: cold plate, body and clear top, the bracket that holds it with its thumb screws, and two threaded ports.

Owns the block's fields, its base on the heat spreader and its two ports, bored straight down into the top. Ports are
drawn at the thread's minor diameter, blind, open upward. Leaves fittings and what reaches the ports to others.
Coordinates: origin at the middle of the cold plate's underside; x along the line of the ports, z up off the spreader.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

from pydantic import model_validator

from elbowroom.parts.vocabulary.base import Body, Box, Frame, Part, dim
from elbowroom.parts.vocabulary.measure import Ml, Mm
from elbowroom.parts.vocabulary.ports import bore_of
from elbowroom.parts.vocabulary.pose import pose, shift
from elbowroom.parts.vocabulary.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"
_CORNER = 5.0  # mm: corner radius of the block; common practice (P)
_WALL = 1.5  # mm of top left below and beside a port's bore; common practice (P)
_SCREW_HOLE = 4.0  # mm: bracket hole for a mounting screw; common practice (P)
_RIM = 1.0  # mm of bracket left round that hole; common practice (P)


class CpuBlock(Part):
    """A water block for a CPU."""

    family: ClassVar[str] = "cpu-block"
    heavy: ClassVar[bool] = True
    needs_coolant: ClassVar[bool] = True
    seat: ClassVar[str | None] = "base"

    plate: Mm = dim(Mm(48), "Edge of the square cold plate", source=_PRACTICE, mark="P", ge=20, le=110)
    plate_thickness: Mm = dim(Mm(3), "Thickness of the cold plate", source=_PRACTICE, mark="P", ge=1, le=12)
    width: Mm = dim(Mm(62), "Size of body and top along the line of ports", source=_PRACTICE, mark="P", ge=40, le=130)
    depth: Mm = dim(Mm(62), "Size of body and top across the line of ports", source=_PRACTICE, mark="P", ge=20, le=130)
    height: Mm = dim(Mm(26), "Top above the heat spreader", source=_PRACTICE, mark="P", ge=12, le=80)
    top: Mm = dim(Mm(14), "Thickness of the clear top", source=_PRACTICE, mark="P", ge=5, le=60)

    bracket_width: Mm = dim(Mm(92), "Bracket along x", source=_PRACTICE, mark="P", ge=30, le=160)
    bracket_depth: Mm = dim(Mm(92), "Bracket along y", source=_PRACTICE, mark="P", ge=30, le=160)
    bracket_thickness: Mm = dim(Mm(3), "Thickness of the bracket", source=_PRACTICE, mark="P", ge=0.8, le=10)
    screw_x: Mm = dim(Mm(78), "Spacing of the mounting screws along x", source="from memory", mark="M", ge=20, le=150)
    screw_y: Mm = dim(Mm(78), "Spacing of the mounting screws along y", source="from memory", mark="M", ge=20, le=150)
    thumb: Mm = dim(Mm(9), "Diameter of the thumb screws' heads", source=_PRACTICE, mark="P", ge=5, le=20)
    thumb_height: Mm = dim(Mm(12), "Height of the thumb screws' heads", source=_PRACTICE, mark="P", ge=2, le=40)

    thread: ThreadName = dim("G1/4", "Thread of the ports", source="the usual thread of the trade, no source", mark="P")
    port_depth: Mm = dim(Mm(7.5), "Depth of the ports", source=_PRACTICE, mark="P", ge=3, le=30)
    land: Mm = dim(Mm(20), "Diameter of the flat seal face", source=_PRACTICE, mark="P", ge=8, le=60)
    port_pitch: Mm = dim(Mm(26), "Distance between the ports", source=_PRACTICE, mark="P", ge=15, le=100)
    inlet: Literal["-x", "+x"] = dim("-x", "Side of the inlet", source=_PRACTICE, mark="P")
    coolant: Ml = dim(Ml(25), "Coolant inside", source=_PRACTICE, mark="P", ge=0, le=500)

    @model_validator(mode="after")
    def _consistent(self) -> CpuBlock:
        out = []
        if self.body_height < 1:
            out.append(f"plate {self.plate_thickness} and top {self.top} leave no body in a height of {self.height}")
        elif self.bracket_thickness > self.body_height:
            out.append(f"bracket {self.bracket_thickness} is thicker than the body ({self.body_height:g})")
        if self.plate > min(self.width, self.depth):
            out.append(f"cold plate {self.plate} is wider than the block")
        if self.port_depth + _WALL > self.top:
            out.append(f"ports {self.port_depth} deep leave less than {_WALL} mm of a top of {self.top}")
        if self.land < thread(self.thread).major:
            out.append(f"land {self.land} is smaller than the thread {self.thread} ({thread(self.thread).major})")
        if self.land > self.port_pitch:
            out.append(f"lands overlap by {self.land - self.port_pitch:.2f} mm; widen port_pitch")
        over = max((self.port_pitch + self.land - self.width) / 2, (self.land - self.depth) / 2)
        if over > 0:
            out.append(f"seal faces stand over the top's edge by {over:.2f} mm")
        if min(self.bracket_width - self.width, self.bracket_depth - self.depth) < 2 * _RIM:
            out.append(f"bracket {self.bracket_width} x {self.bracket_depth} does not reach round the block")
        rim = _SCREW_HOLE / 2 + _RIM
        over = max(self.screw_x / 2 + rim - self.bracket_width / 2, self.screw_y / 2 + rim - self.bracket_depth / 2)
        if over > 0:
            out.append(f"mounting screws stand over the bracket's edge by {over:.2f} mm")
        inside = max(self.thumb, 2 * rim) / 2 - max((self.screw_x - self.width) / 2, (self.screw_y - self.depth) / 2)
        if inside > 0:
            out.append(f"thumb screws run into the block by {inside:.2f} mm")
        if out:
            raise ValueError("; ".join(out))
        return self

    @property
    def body_height(self) -> float:
        """Height of the metal body between cold plate and top, mm."""
        return self.height - self.top - self.plate_thickness

    @property
    def bracket_z(self) -> float:
        """Underside of the bracket above the spreader, mm: half way up the body, within it."""
        return self.plate_thickness + (self.body_height - self.bracket_thickness) / 2

    def box(self) -> Box:
        x = max(self.bracket_width / 2, (self.screw_x + self.thumb) / 2)
        y = max(self.bracket_depth / 2, (self.screw_y + self.thumb) / 2)
        z = max(float(self.height), self.bracket_z + self.bracket_thickness + self.thumb_height)
        return Box((-x, -y, 0.0), (x, y, z))

    def bodies(self) -> tuple[Body, ...]:
        return (
            Body("cold-plate", "copper"),
            Body("body", "nickel"),
            Body("top", "acrylic"),
            Body("bracket", "steel"),
            *(Body(f"thumb-{i}", "steel") for i in range(1, 5)),
        )

    def frames(self) -> tuple[Frame, ...]:
        p = float(self.plate)
        inlet = (-1 if self.inlet == "-x" else 1) * self.port_pitch / 2
        ports = (("in", inlet), ("out", -inlet))
        return (
            Frame("base", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("cold-plate",), size=(p, p)),
            *(
                Frame(name, "port", pose((x, 0, self.height), (0, 0, 1), (1, 0, 0)), ("top",), thread=self.thread,
                      depth=float(self.port_depth), land=float(self.land), flow="in" if name == "in" else "out")
                for name, x in ports
            ),
        )  # fmt: skip

    def coolant_ml(self) -> float | None:
        return float(self.coolant)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        a, b, p, t = self.width / 2, self.depth / 2, self.plate / 2, float(self.plate_thickness)
        bx, by = self.bracket_width / 2, self.bracket_depth / 2
        outline = draw.rectangle(-a, -b, a, b, _CORNER)
        top = draw.baked(draw.slab(outline, (), float(self.top)), shift(z=self.height - self.top))
        ports = [bore_of(f).solid() for f in self.frames() if f.kind == "port"]
        screws = [(x, y) for x in (-self.screw_x / 2, self.screw_x / 2) for y in (-self.screw_y / 2, self.screw_y / 2)]
        z = self.bracket_z
        holes = [draw.circle(x, y, _SCREW_HOLE) for x, y in screws]
        bracket = draw.slab(draw.rectangle(-bx, -by, bx, by, 2 * _CORNER), [outline, *holes], self.bracket_thickness)
        head = draw.cylinder(self.thumb, self.thumb_height)
        out: dict[str, Shape] = {
            "cold-plate": draw.box((-p, -p, 0), (p, p, t)),
            "body": draw.baked(draw.slab(outline, (), self.body_height), shift(z=t)),
            "top": draw.cut(top, *ports),
            "bracket": draw.baked(bracket, shift(z=z)),
        }
        for i, (x, y) in enumerate(screws, 1):
            out[f"thumb-{i}"] = draw.baked(head, shift(x, y, z + self.bracket_thickness))
        return out
