"""Radiators for one to four fans in a row: end tanks, side channels with threaded holes, recessed fin core, ports.

Owns the radiator's declaration and drawing. Origin at the centre of the fan hole rows (not of the body: the tanks
differ), x along the length toward the port end, y across the width, z along the thickness with face `b` at z = 0 and
face `a` at z = thickness. Seen from face `a` with the port end to the front, `side-left` is +y.

The mounting holes go through the channels' flanges into the hollow before the fins, so a screw that is too long runs
into the body `fins`. End tanks are drawn full: nothing may enter them but a fitting in its bore.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.fan.fan_field import FanField
from elbowroom.parts.vocabulary.base import Body, Box, Frame, HolePattern, Part, dim
from elbowroom.parts.vocabulary.measure import Ml, Mm
from elbowroom.parts.vocabulary.ports import (
    Bore,
    Port,
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
# Share of the outer volume between the tanks that is coolant: 0.12 to 0.20 in practice, no source (P).
COOLANT_SHARE = 0.15
WALL = 1.0  # mm of metal that must remain around or behind a bore for it to be drawn as a bore; P
TUBE_PITCH = 10.0  # mm between the flat tubes of a core; P
TUBE = 2.0  # mm, thickness of a flat tube, whose edges stand proud of the fins; P
TUBE_PROUD = 0.5  # mm; P
HOLE_RIM = 2.5  # mm of flange between the thread of a mounting hole and the open face; P

PortFace = Literal["end", "far-end", "side-left", "side-right", "a", "b"]


class RadiatorPort(Port):
    """A port in one of the end tanks."""

    face: PortFace = dim("end", "Face of the tank the port opens on", source=_PRACTICE, mark="P")
    across: Mm = dim(
        Mm(0), "Offset from the centre line along the width (faces end, far-end, a, b)", source=_PRACTICE, mark="P",
        ge=-300, le=300,
    )  # fmt: skip
    from_end: Mm = dim(
        Mm(16), "Distance of the axis from the outer face of the port end (faces side-left, side-right, a, b)",
        source=_PRACTICE, mark="P", ge=4, le=1000,
    )  # fmt: skip
    height: Mm | None = dim(
        None, "Height of the axis above face b (faces end, far-end and sides); left out: half the thickness",
        source=_PRACTICE, mark="P", ge=4, le=100,
    )  # fmt: skip


class Radiator(Part):
    """A radiator for `fans` fans in a row."""

    family: ClassVar[str] = "radiator"
    gets_warm: ClassVar[bool] = True
    heavy: ClassVar[bool] = True
    seat: ClassVar[str | None] = "b"

    fans: int = dim(2, "Number of fans in a row on each face", source=_PRACTICE, mark="P", ge=1, le=4)
    fan_size: Mm = dim(Mm(120), "Edge of the fans it is made for", source=_PRACTICE, mark="P", ge=30, le=230)
    hole_pitch: Mm | None = dim(
        None, "Distance between a fan's hole centres; left out: the trade's pitch for the fan size",
        source="fan hole pitches as drawn", mark="C", ge=20, le=220,
    )  # fmt: skip
    gap: Mm | None = dim(
        None, "Gap between adjacent fans' hole squares; left out: fans touch (15 for 120, 15.5 for 140)",
        source=_PRACTICE, mark="P", ge=0, le=100,
    )  # fmt: skip
    length: Mm = dim(Mm(277), "Overall length over both end tanks", source=_PRACTICE, mark="P", ge=60, le=1200)
    width: Mm = dim(Mm(120), "Overall width", source=_PRACTICE, mark="P", ge=40, le=260)
    thickness: Mm = dim(Mm(30), "Overall thickness, face to face", source=_PRACTICE, mark="P", ge=15, le=100)
    port_tank: Mm = dim(Mm(30), "Length of the end tank with the ports", source=_PRACTICE, mark="P", ge=8, le=80)
    far_tank: Mm = dim(Mm(15), "Length of the other end tank", source=_PRACTICE, mark="P", ge=4, le=80)
    first_hole: Mm | None = dim(
        None, "From the outer face of the far end to the nearest row of holes; left out: centred between the tanks",
        source=_PRACTICE, mark="P", ge=4, le=600,
    )  # fmt: skip
    side: Mm = dim(Mm(1.2), "Sheet thickness of the side channels", source=_PRACTICE, mark="P", ge=0.5, le=10)
    plate: Mm = dim(
        Mm(1.2), "Thickness of the flange the mounting holes are threaded in", source=_PRACTICE, mark="P", ge=0.5, le=6
    )
    fin_depth: Mm = dim(
        Mm(4), "From the mounting face to the fins or tubes: what a screw may pass", source=_PRACTICE, mark="P",
        ge=0.7, le=20,
    )  # fmt: skip
    fin_depth_b: Mm | None = dim(
        None,
        "From face b to the fins or tubes, where it differs from face a",
        source=_PRACTICE,
        mark="P",
        ge=0.7,
        le=20,
    )
    thread: ThreadName = dim("M3", "Thread of the mounting holes", source=_PRACTICE, mark="P")
    port_spacing: Mm = dim(
        Mm(60), "Distance between the axes of the two default ports", source=_PRACTICE, mark="P", ge=20, le=200
    )
    port_thread: ThreadName = dim("G1/4", "Thread of the two default ports", source=_PRACTICE, mark="P")
    ports: tuple[RadiatorPort, ...] | None = dim(
        None, "The ports; left out: `in` and `out` in the port end, port_spacing apart, at half the thickness",
        source=_PRACTICE, mark="P", min_length=1, max_length=12,
    )  # fmt: skip
    coolant: Ml | None = dim(
        None, "Coolant it holds; left out: 0.15 of the volume between the tanks (0.12 to 0.20 in practice)",
        source=_PRACTICE, mark="P", gt=0,
    )  # fmt: skip

    def unused_fields(self) -> frozenset[str]:
        return frozenset(() if self.ports is None else ("port_spacing", "port_thread"))

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        field, hole = self.field, thread(self.thread)
        rim = field.hole_pitch / 2 + hole.major / 2 + max(WALL, self.side)
        if rim > self.width / 2:
            raise ValueError(
                f"holes {field.hole_pitch:g} apart inside side channels of {self.side} need a width of {2 * rim:g}: "
                f"{self.width} is {2 * rim - self.width:g} mm short"
            )
        if self.rail <= 0:
            raise ValueError(f"hole_pitch {field.hole_pitch:g} leaves no opening between the side channels")
        if self.core_length < field.row + hole.major:
            raise ValueError(
                f"rows of holes {field.row:g} apart do not fit between the tanks: length {self.length} less tanks "
                f"{self.port_tank} and {self.far_tank} leaves {self.core_length:g}, "
                f"{field.row + hole.major - self.core_length:g} mm short"
            )
        x0, x1 = self._core_x
        over = max(x0 - (-field.row - hole.major) / 2, (field.row + hole.major) / 2 - x1)
        if over > 0:
            raise ValueError(f"first_hole {self.first_hole} puts a row of holes over an end tank by {over:g} mm")
        for name, depth in (("fin_depth", self.fin_depth), ("fin_depth_b", self._depth_b)):
            if depth <= self.plate:
                raise ValueError(f"{name} {depth} is not deeper than the flange ({self.plate}) it is measured through")
        if self.core_thickness < 5:
            raise ValueError(
                f"fin depths {self.fin_depth} and {self._depth_b} leave fins {self.core_thickness:g} thick in a "
                f"thickness of {self.thickness}: {5 - self.core_thickness:g} mm short of 5"
            )
        frames = self._port_frames()
        refuse_repeated_names([f.name for f in frames])
        for frame in frames:
            self._check_port(bore_of(frame))
        refuse_meeting_bores((bore_of(f) for f in frames), "port bores")
        return self

    def _check_port(self, bore: Bore) -> None:
        """ValueError where the bore and its wall leave the one tank it starts in, saying by how much."""
        (c0, c1), box = self._core_x, self.box()
        at_port_end = bore.start[0] > (c0 + c1) / 2
        tank = Box((c1, *box.lo[1:]), box.hi) if at_port_end else Box(box.lo, (c0, *box.hi[1:]))
        refuse_outside(bore, WALL, tank, ("end tank's length", "width", "thickness"))

    @property
    def field(self) -> FanField:
        """The fan positions, with what the fields leave out filled in."""
        return FanField.of(self.fans, self.fan_size, self.hole_pitch, self.gap)

    @property
    def _depth_b(self) -> Mm:
        return self.fin_depth if self.fin_depth_b is None else self.fin_depth_b

    @property
    def core_length(self) -> float:
        """Length between the end tanks, mm."""
        return self.length - self.port_tank - self.far_tank

    @property
    def core_thickness(self) -> float:
        """Thickness of the fin core, mm."""
        return self.thickness - self.fin_depth - self._depth_b

    @property
    def rail(self) -> float:
        """Half the width of the open face between the flanges, mm."""
        return self.field.hole_pitch / 2 - thread(self.thread).major / 2 - HOLE_RIM

    @property
    def _core_x(self) -> tuple[float, float]:
        """x of the inner faces of the far tank and of the port tank, mm."""
        if self.first_hole is None:
            return (-self.core_length / 2, self.core_length / 2)
        x0 = -self.field.row / 2 - self.first_hole + self.far_tank
        return (x0, x0 + self.core_length)

    def box(self) -> Box:
        x0, x1 = self._core_x
        return Box(
            (x0 - self.far_tank, -self.width / 2, 0.0), (x1 + self.port_tank, self.width / 2, float(self.thickness))
        )

    def bodies(self) -> tuple[Body, ...]:
        return (Body("frame", "aluminium"), Body("fins", "fins"))

    def frames(self) -> tuple[Frame, ...]:
        size = (self.field.row, float(self.width))
        return self.field.frames(float(self.thickness), 0.0, ("frame",), size) + self._port_frames()

    def _port_frames(self) -> tuple[Frame, ...]:
        ports = self.ports
        if ports is None:
            ports = tuple(
                RadiatorPort(name=name, thread=self.port_thread, across=Mm(side * self.port_spacing / 2))
                for name, side in (("in", 1), ("out", -1))
            )
        return tuple(self._port_frame(p) for p in ports)

    def _port_frame(self, port: RadiatorPort) -> Frame:
        box = self.box()
        along, z = box.hi[0] - port.from_end, self.thickness / 2 if port.height is None else float(port.height)
        origin, out, x = {
            "end": ((box.hi[0], port.across, z), (1, 0, 0), (0, 1, 0)),
            "far-end": ((box.lo[0], port.across, z), (-1, 0, 0), (0, 1, 0)),
            "side-left": ((along, box.hi[1], z), (0, 1, 0), (1, 0, 0)),
            "side-right": ((along, box.lo[1], z), (0, -1, 0), (1, 0, 0)),
            "a": ((along, port.across, box.hi[2]), (0, 0, 1), (1, 0, 0)),
            "b": ((along, port.across, box.lo[2]), (0, 0, -1), (1, 0, 0)),
        }[port.face]
        return port_frame(port, origin, out, x, ("frame",))

    def patterns(self) -> tuple[HolePattern, ...]:
        bore, deep = thread(self.thread).bore, float(self.plate)
        return tuple(
            HolePattern(
                name, self.frame(name).pose,
                self.field.holes(bore, thread=self.thread, depth=float(depth), threaded=deep, stop="fins"), "frame",
            )
            for name, depth in (("a", self.fin_depth), ("b", self._depth_b))
        )  # fmt: skip

    def coolant_ml(self) -> float:
        if self.coolant is not None:
            return float(self.coolant)
        return COOLANT_SHARE * self.core_length * self.width * self.thickness / 1000.0

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        (x0, y0, _), (x1, y1, top) = self.box().lo, self.box().hi
        c0, c1 = self._core_x
        inner = y1 - self.side
        bore, corner = thread(self.thread).bore, min(2.0, self.far_tank / 2)
        outline = draw.rectangle(x0, y0, x1, y1, corner)
        face = draw.slab(
            outline,
            [draw.rectangle(c0, -self.rail, c1, self.rail), *(draw.circle(x, y, bore) for x, y in self.field.points)],
            self.plate,
        )
        walls = draw.slab(outline, [draw.rectangle(c0, -inner, c1, inner)], top - 2 * self.plate)
        frame = draw.fuse(
            face, draw.baked(walls, shift(z=self.plate)), draw.baked(face, shift(z=top - self.plate))
        )  # fmt: skip
        frame = draw.cut(frame, *(bore_of(f).solid() for f in self._port_frames()))
        return {"frame": frame, "fins": self._fins(inner)}

    def _fins(self, half: float) -> Shape:
        """The core, `half` mm wide each side: tube edges stand proud in the open face, level under the flanges."""
        from elbowroom.parts.vocabulary import draw

        low, high = float(self._depth_b), self.thickness - self.fin_depth
        gaps = max(1, round((2 * self.rail + TUBE) / TUBE_PITCH))  # of fins between tubes
        wide = (2 * self.rail - (gaps - 1) * TUBE) / gaps
        steps: list[tuple[float, float]] = [(-half, 0.0)]
        for i in range(gaps):
            y = -self.rail + i * (wide + TUBE)
            steps += [(y, 0.0), (y, TUBE_PROUD), (y + wide, TUBE_PROUD), (y + wide, 0.0)]
        steps.append((half, 0.0))
        profile = [(y, low + dz) for y, dz in steps] + [(y, high - dz) for y, dz in reversed(steps)]
        c0, c1 = self._core_x
        return draw.baked(draw.slab(draw.polygon(profile), (), c1 - c0), pose((c0, 0, 0), (1, 0, 0), (0, 1, 0)))
