"""Pump and reservoir in one: a round tube or a square tank between a base with the ports and a lid, on a pump housing.

Owns the declaration and drawing of both kinds. Origin at the centre of the housing's foot, z up; `front` is +y and
`back` -y, where the bracket is, `right` is +x. From the foot up: `housing`, `base`, `tank`, `lid`. Base and lid are
solid but for their bores: which way the coolant turns inside does not bear on whether the part fits.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Part, dim
from elbowroom.parts.vocabulary.measure import Ml, Mm
from elbowroom.parts.vocabulary.ports import (
    TOUCH,
    Bore,
    Port,
    beyond_outline,
    bore_of,
    port_frame,
    refuse_meeting_bores,
    refuse_outside,
    refuse_repeated_names,
)
from elbowroom.parts.vocabulary.pose import pose, shift
from elbowroom.parts.vocabulary.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"
_USER = "stated by the build"
WALL = 0.5  # mm of material around a bore, and behind it where it is not through the lid; P
LEAST_TANK = 5.0  # mm, least clear width of a tank; P
SLOT_RIM = 2.0  # mm of bracket around a slot; P
TANK_CORNER = 6.0  # mm, inner radius of a square tank's corners; P

PumpFace = Literal["front", "back", "left", "right", "top"]


class PumpPort(Port):
    """A port in the base or the lid. `at` is (x, height) on front and back, (y, height) on left and right, (x, y) on
    top; heights count from the foot."""

    face: PumpFace = dim("front", "Face the port opens on", source=_PRACTICE, mark="P")
    at: tuple[Mm, Mm] = dim(..., "Where on its face the axis stands", source=_USER, mark="V")


class Pump(Part):
    """A pump with its reservoir: `tube` has a round tank, `square` a square one flush with base and lid."""

    family: ClassVar[str] = "pump"
    heavy: ClassVar[bool] = True
    seat: ClassVar[str | None] = "base"

    kind: Literal["tube", "square"] = dim("tube", "Reservoir: a round tube, or square", source=_PRACTICE, mark="P")
    length: Mm = dim(Mm(66), "Width of base and lid, along x", source=_PRACTICE, mark="P", ge=30, le=400)
    width: Mm = dim(Mm(66), "Depth of base and lid, along y", source=_PRACTICE, mark="P", ge=30, le=400)
    corner: Mm = dim(Mm(6), "Radius of the corners of base and lid", source=_PRACTICE, mark="P", ge=0, le=100)
    housing: Mm = dim(Mm(62), "Diameter of the pump housing", source=_PRACTICE, mark="P", ge=20, le=120)
    housing_height: Mm = dim(Mm(38), "Height of the pump housing", source=_PRACTICE, mark="P", ge=10, le=120)
    base_height: Mm = dim(Mm(32), "Height of the base", source=_PRACTICE, mark="P", ge=15, le=100)
    tank: Mm = dim(Mm(60), "Outer diameter of a round tank", source=_PRACTICE, mark="P", ge=20, le=200)
    tank_height: Mm = dim(Mm(100), "Height of the tank between base and lid", source=_PRACTICE, mark="P", ge=5, le=500)
    wall: Mm = dim(Mm(5), "Wall of the tank", source=_PRACTICE, mark="P", ge=1, le=20)
    lid_height: Mm = dim(Mm(20), "Height of the lid", source=_PRACTICE, mark="P", ge=5, le=80)
    foot_pitch: Mm = dim(
        Mm(34), "Edge of the square of threaded holes in the foot", source=_PRACTICE, mark="P", ge=8, le=100
    )
    foot_thread: ThreadName = dim("M4", "Thread of the holes in the foot", source=_PRACTICE, mark="P")
    foot_depth: Mm = dim(Mm(6), "Depth of the holes in the foot", source=_PRACTICE, mark="P", ge=2, le=30)
    bracket: Mm = dim(Mm(2), "Sheet thickness of the bracket behind; 0: none", source=_PRACTICE, mark="P", ge=0, le=10)
    bracket_pitch: tuple[Mm, Mm] = dim(
        (Mm(105), Mm(105)), "Distance of the bracket's slots, across and upward (105: a 120 mm fan's holes)",
        source=_PRACTICE, mark="P",
    )  # fmt: skip
    bracket_slot: tuple[Mm, Mm] = dim(
        (Mm(4.5), Mm(10)), "Width of the slots, and upright length between their end centres", source=_PRACTICE,
        mark="P",
    )  # fmt: skip
    bracket_centre: Mm | None = dim(
        None, "Height of the bracket's middle; left out: half the part's height, at most the base's",
        source=_PRACTICE, mark="P", ge=0, le=900,
    )  # fmt: skip
    ports: tuple[PumpPort, ...] | None = dim(
        None, "The ports; left out: `out` and `in` in front of the base, `fill` in the lid", source=_PRACTICE,
        mark="P", min_length=1, max_length=20,
    )  # fmt: skip
    coolant: Ml | None = dim(
        None, "Coolant it holds; left out: the inside of the tank", source=_PRACTICE, mark="P", gt=0
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        self._check_tank()
        self._check_foot()
        if self.bracket > 0:
            self._check_bracket()
        frames = self._port_frames()
        refuse_repeated_names([f.name for f in frames])
        for port, frame in zip(self._ports(), frames, strict=True):
            self._check_port(port, bore_of(frame))
        refuse_meeting_bores(bore_of(f) for f in frames)
        return self

    def _check_tank(self) -> None:
        least = min(self.length, self.width)
        if 2 * self.corner > least:
            raise ValueError(f"corner {self.corner} is more than half of the base")
        across = self.tank if self.kind == "tube" else least
        if self.kind == "tube" and self.tank > least:
            raise ValueError(f"tank {self.tank} is {self.tank - least:g} mm wider than base and lid ({least:g})")
        if across - 2 * self.wall < LEAST_TANK:
            raise ValueError(f"wall {self.wall} leaves {across - 2 * self.wall:g} mm inside a tank of {across:g}")

    def _check_foot(self) -> None:
        over = self.foot_pitch / math.sqrt(2) + thread(self.foot_thread).bore / 2 + WALL - self.housing / 2
        if over > TOUCH:
            raise ValueError(f"holes {self.foot_pitch} apart leave the foot of the housing by {over:.2f} mm")
        if self.foot_depth + WALL > self.housing_height:
            raise ValueError(f"foot holes {self.foot_depth} deep go through a housing of {self.housing_height}")
        if self.housing > min(self.length, self.width):
            over = self.housing - min(self.length, self.width)
            raise ValueError(f"housing {self.housing} is {over:g} mm wider than the base on it")

    def _check_bracket(self) -> None:
        width, length = self.bracket_slot
        if width <= 0 or length < 0 or min(self.bracket_pitch) - width - 2 * SLOT_RIM <= length:
            raise ValueError(f"slots {width} wide and {length} long do not fit {min(self.bracket_pitch):g} apart")
        (z0, z1), backs = self._bracket_z(), (self._levels()["base"], self._levels()["lid"])
        if not any(min(z1, high) - max(z0, low) > TOUCH for low, high in backs):
            raise ValueError(f"a bracket from {z0:g} to {z1:g} up meets neither base nor lid")

    def _check_port(self, port: PumpPort, bore: Bore) -> None:
        x, y, levels = self.length / 2, self.width / 2, self._levels()
        if port.face == "top":
            low, high = levels["lid"]
            if bore.length > high - low + TOUCH:
                raise ValueError(f"port '{port.name}' {bore.length:g} deep goes through a lid of {high - low:g}")
            low -= WALL  # a port in the lid may open into the tank
        else:
            middle = (levels["base"][1] + levels["lid"][0]) / 2
            low, high = levels["base" if port.at[1] < middle else "lid"]
        flat = Box((-x, -y, low), (x, y, high))
        refuse_outside(bore, WALL, flat, ("base's length", "base's width", f"part from {low:g} to {high:g} up"))
        if port.face == "back" and self.bracket > 0:
            (z0, z1), r = self._bracket_z(), bore.diameter / 2
            over = r + min(self._bracket_half()[0] - abs(port.at[0]), z1 - port.at[1], port.at[1] - z0)
            if over > TOUCH:
                raise ValueError(f"port '{port.name}' opens behind the bracket, {over:.2f} mm from clear of it")
        # Its mouth must lie on the flat between the rounded corners, or in the lid clear of them.
        half = {"front": x, "back": x, "left": y, "right": y}.get(port.face)
        if half is not None:
            over = abs(port.at[0]) + bore.diameter / 2 + WALL - (half - self.corner)
        else:
            over = beyond_outline(port.at, bore.diameter / 2 + WALL, (x, y), float(self.corner))
        if over > TOUCH:
            raise ValueError(f"port '{port.name}' runs into a rounded corner by {over:.2f} mm")

    def _levels(self) -> dict[str, tuple[float, float]]:
        """Foot and head of each body that stands on the axis, mm."""
        out, z = {}, 0.0
        for name, height in (("housing", self.housing_height), ("base", self.base_height), ("tank", self.tank_height),
                             ("lid", self.lid_height)):  # fmt: skip
            out[name] = (z, z + height)
            z += height
        return out

    @property
    def height(self) -> float:
        """Overall height without the bracket, mm."""
        return self._levels()["lid"][1]

    def _bracket_half(self) -> tuple[float, float]:
        """Half the bracket's width, and half its height, mm."""
        width, length = self.bracket_slot
        rim = width / 2 + SLOT_RIM
        return (self.bracket_pitch[0] / 2 + rim, self.bracket_pitch[1] / 2 + length / 2 + rim)

    def _bracket_z(self) -> tuple[float, float]:
        head = self._levels()["base"][1]
        middle = min(self.height / 2, head) if self.bracket_centre is None else float(self.bracket_centre)
        half = self._bracket_half()[1]
        return (middle - half, middle + half)

    def box(self) -> Box:
        x, y, (z0, z1) = self.length / 2, self.width / 2, (0.0, self.height)
        back = y
        if self.bracket > 0:
            low, high = self._bracket_z()
            x, back, z0, z1 = max(x, self._bracket_half()[0]), y + self.bracket, min(z0, low), max(z1, high)
        return Box((-x, -back, z0), (x, y, z1))

    def bodies(self) -> tuple[Body, ...]:
        out = (Body("housing", "plastic"), Body("base", "acrylic"), Body("tank", "acrylic"), Body("lid", "acrylic"))
        return (*out, Body("bracket", "steel")) if self.bracket > 0 else out

    def frames(self) -> tuple[Frame, ...]:
        foot, y, base = (float(self.housing),) * 2, self.width / 2, self._levels()["base"]
        seat = Frame("base", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("housing",), size=foot)
        if self.bracket > 0:
            low, high = self._bracket_z()
            wide = (2 * self._bracket_half()[0], high - low)
            behind, bodies = pose((0, -y - self.bracket, (low + high) / 2), (0, -1, 0), (1, 0, 0)), ("bracket",)
        else:
            wide, bodies = (float(self.length), float(self.base_height)), ("base",)
            behind = pose((0, -y, sum(base) / 2), (0, -1, 0), (1, 0, 0))
        return (seat, Frame("back", "face", behind, bodies, size=wide), *self._port_frames())

    def _ports(self) -> tuple[PumpPort, ...]:
        if self.ports is not None:
            return self.ports
        up, apart = sum(self._levels()["base"]) / 2, self.length / 4
        return (
            PumpPort(name="out", face="front", at=(Mm(-apart), Mm(up)), flow="out"),
            PumpPort(name="in", face="front", at=(Mm(apart), Mm(up)), flow="in"),
            PumpPort(name="fill", face="top", at=(Mm(0), Mm(0)), depth=Mm(min(10.0, self.lid_height))),
        )

    def _port_frames(self) -> tuple[Frame, ...]:
        return tuple(self._port_frame(p) for p in self._ports())

    def _port_frame(self, port: PumpPort) -> Frame:
        u, v = float(port.at[0]), float(port.at[1])
        x, y, levels = self.length / 2, self.width / 2, self._levels()
        middle = (levels["base"][1] + levels["lid"][0]) / 2
        origin, out, along = {
            "front": ((u, y, v), (0, 1, 0), (1, 0, 0)),
            "back": ((u, -y, v), (0, -1, 0), (1, 0, 0)),
            "right": ((x, u, v), (1, 0, 0), (0, 1, 0)),
            "left": ((-x, u, v), (-1, 0, 0), (0, 1, 0)),
            "top": ((u, v, self.height), (0, 0, 1), (1, 0, 0)),
        }[port.face]
        return port_frame(port, origin, out, along, ("lid" if port.face == "top" or v >= middle else "base",))

    def patterns(self) -> tuple[HolePattern, ...]:
        h, screw = self.foot_pitch / 2, thread(self.foot_thread)
        foot = tuple(
            Hole(x, y, screw.bore, thread=screw.name, depth=float(self.foot_depth)) for x in (-h, h) for y in (-h, h)
        )
        out = [HolePattern("base", self.frame("base").pose, foot, "housing")]
        if self.bracket > 0:
            width, length = (float(v) for v in self.bracket_slot)
            x, z = (v / 2 for v in self.bracket_pitch)
            slots = tuple(Hole(sx * x, sz * z, width, slot=length, angle=90.0) for sx in (-1, 1) for sz in (-1, 1))
            out.append(HolePattern("back", self.frame("back").pose, slots, "bracket"))
        return tuple(out)

    def pumped_ports(self) -> tuple[str, ...]:
        return tuple(f.name for f in self._port_frames())

    def coolant_ml(self) -> float:
        if self.coolant is not None:
            return float(self.coolant)
        if self.kind == "tube":
            inside = math.pi * (self.tank / 2 - self.wall) ** 2
        else:
            r = self._tank_corner()
            inside = (self.length - 2 * self.wall) * (self.width - 2 * self.wall) - (4 - math.pi) * r * r
        return inside * self.tank_height / 1000.0

    def _tank_corner(self) -> float:
        """Inner radius of a square tank's corners, mm: no thinner wall at the corners than along the sides."""
        return min(max(TANK_CORNER, self.corner - self.wall), min(self.length, self.width) / 2 - self.wall)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        x, y, levels = self.length / 2, self.width / 2, self._levels()
        h, foot = self.foot_pitch / 2, thread(self.foot_thread).bore
        holes = [draw.cylinder(foot, self.foot_depth, (sx, sy, 0)) for sx in (-h, h) for sy in (-h, h)]
        out: dict[str, Shape] = {
            "housing": draw.cut(draw.cylinder(self.housing, self.housing_height), *holes),
            "tank": self._tank(levels["tank"][0]),
        }
        for name in ("base", "lid"):
            low, high = levels[name]
            block = draw.slab(draw.rectangle(-x, -y, x, y, self.corner, low), (), high - low)
            out[name] = draw.cut(block, *(bore_of(f).solid() for f in self._port_frames() if f.bodies == (name,)))
        if self.bracket > 0:
            out["bracket"] = self._bracket()
        return out

    def _tank(self, z: float) -> Shape:
        from elbowroom.parts.vocabulary import draw

        if self.kind == "tube":
            inner = draw.circle(0, 0, self.tank - 2 * self.wall, z)
            return draw.slab(draw.circle(0, 0, self.tank, z), [inner], self.tank_height)
        x, y, w = self.length / 2, self.width / 2, self.wall
        inner = draw.rectangle(w - x, w - y, x - w, y - w, self._tank_corner(), z)
        return draw.slab(draw.rectangle(-x, -y, x, y, self.corner, z), [inner], self.tank_height)

    def _bracket(self) -> Shape:
        """The bracket's sheet, drawn flat in its own plane and stood up behind the base."""
        from elbowroom.parts.vocabulary import draw

        x, z = self._bracket_half()
        pattern = self.patterns()[1]
        slots = [draw.slot(s.x, s.y, s.diameter, s.slot, s.angle) for s in pattern.holes]
        sheet = draw.slab(draw.rectangle(-x, -z, x, z, 3.0), slots, self.bracket)
        return draw.baked(draw.baked(sheet, shift(z=-float(self.bracket))), pattern.pose)
