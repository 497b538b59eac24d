"""Distribution plates: a slab with threaded ports on any face, mounting holes, a pump bay and milled channels.

Owns the plate's declaration and drawing. Origin at the centre of the back face, x along the length (`right` is +x), y
along the width (`top` is +y), z toward the front. Where there is a front plate (`cover`) the channels are grooves in
the slab that it closes; without one they are hollows halfway through the slab. How much wall a port should keep is a
build check's business: here a port must only lie on its face, and no two bores may run into each other.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar, Literal, Self

from pydantic import model_validator

from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Part, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import (
    TOUCH,
    Bore,
    beyond_outline,
    bore_of,
    overlap,
    port_frame,
    refuse_meeting_bores,
    refuse_outside,
    refuse_repeated_names,
    straight_bore,
)
from elbowroom.parts.vocabulary.pose import Pose, pose
from elbowroom.parts.vocabulary.threads import thread
from elbowroom.parts.water import channels
from elbowroom.parts.water.channels import Channel, Point2
from elbowroom.parts.water.plate_fields import PlateHole, PlatePort, PumpBay
from elbowroom.parts.water.plate_ways import Groove, joined

if TYPE_CHECKING:
    from cadquery import Shape, Solid

_PRACTICE = "common practice, no source"
_USER = "stated by the build"
SKIN = 0.2  # mm of material around and behind a hole: the least that is still drawn as a hole in a face; P
BAY = "pump-bay"


class DistributionPlate(Part):
    """A distribution plate: ports and channels in one block."""

    family: ClassVar[str] = "plate"
    heavy: ClassVar[bool] = True
    states_channels: ClassVar[bool] = True
    seat: ClassVar[str | None] = "back"

    length: Mm = dim(Mm(240), "Length, along x", source=_PRACTICE, mark="P", ge=20, le=1000)
    width: Mm = dim(Mm(120), "Width, along y", source=_PRACTICE, mark="P", ge=20, le=1000)
    thickness: Mm = dim(
        Mm(20), "Overall thickness, front and back plate included", source=_PRACTICE, mark="P", ge=5, le=120
    )
    cover: Mm = dim(Mm(0), "Thickness of a front plate; 0: none", source=_PRACTICE, mark="P", ge=0, le=40)
    backing: Mm = dim(Mm(0), "Thickness of a back plate; 0: none", source=_PRACTICE, mark="P", ge=0, le=40)
    corner: Mm = dim(Mm(3), "Radius of the outline's corners", source=_PRACTICE, mark="P", ge=0, le=100)
    material: Literal["acrylic", "aluminium", "brass", "plastic", "glass"] = dim(
        "acrylic", "What it is made of", source=_PRACTICE, mark="P"
    )
    ports: tuple[PlatePort, ...] = dim((), "The threaded ports", source=_USER, mark="V", max_length=60)
    hole: Mm = dim(Mm(4.5), "Diameter of the corner holes", source=_PRACTICE, mark="P", ge=1, le=30)
    inset: Mm | None = dim(
        Mm(10), "Distance of four corner holes from both edges; null: no corner holes", source=_PRACTICE, mark="P",
        ge=1, le=400,
    )  # fmt: skip
    holes: tuple[PlateHole, ...] = dim(
        (), "Mounting holes one by one, instead of the corner holes", source=_USER, mark="V", max_length=60
    )
    head: Mm = dim(Mm(12), "Diameter of the riser or washer that bears on each mounting hole", source=_PRACTICE,
                   mark="P", ge=2, le=60)  # fmt: skip
    bay: PumpBay | None = dim(None, "A pump bay", source=_USER, mark="V")
    channels: tuple[Channel, ...] = dim((), "The channels", source=_USER, mark="V", max_length=40)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if 2 * self.corner > min(self.length, self.width):
            raise ValueError(f"corner {self.corner} is more than half of the outline")
        if self.thickness - self.cover - self.backing < 2:
            raise ValueError(f"cover {self.cover} and backing {self.backing} leave no slab in {self.thickness}")
        refuse_repeated_names([p.name for p in self.ports])
        ports = [bore_of(self._port_frame(p)) for p in self.ports]
        for port, bore in zip(self.ports, ports, strict=True):
            refuse_outside(bore, SKIN, self.box(), ("length", "width", "thickness"))
            self._check_corners(port, bore)
        mounts, bolts = self._mount_bores(), self._bolt_bores()
        for bore in (*mounts, *bolts):
            self._check_outline(bore.name, (bore.start[0], bore.start[1]), bore.diameter / 2)
        refuse_meeting_bores((*ports, *mounts, *bolts))
        self._check_bay((*mounts, *bolts))
        for i, channel in enumerate(self.channels, 1):
            self._check_channel(f"channel {i}", channel, ports, (*mounts, *bolts))
        return self

    def _check_outline(self, name: str, at: Point2, radius: float) -> None:
        """ValueError where a round thing leaves the rounded outline, saying by how much."""
        over = beyond_outline(at, radius + SKIN, (self.length / 2, self.width / 2), float(self.corner))
        if over > TOUCH:
            raise ValueError(f"{name} leaves the outline of the plate by {over:.2f} mm")

    def _check_corners(self, port: PlatePort, bore: Bore) -> None:
        if port.face in ("front", "back"):
            self._check_outline(f"port '{port.name}'", (bore.start[0], bore.start[1]), bore.diameter / 2)
            return
        flat = (self.width if port.face in ("left", "right") else self.length) / 2 - self.corner
        over = abs(port.at[0]) + bore.diameter / 2 + SKIN - flat
        if over > TOUCH:
            raise ValueError(f"port '{port.name}' leaves the flat of the {port.face} edge by {over:.2f} mm")

    def _check_bay(self, others: tuple[Bore, ...]) -> None:
        bay = self._bay_bore()
        if bay is None:
            return
        self._check_outline(BAY, (bay.start[0], bay.start[1]), bay.diameter / 2)
        if bay.length + SKIN > self.thickness:
            raise ValueError(f"{BAY} {bay.length:g} deep goes through a plate of {self.thickness}")
        met = [f"'{b.name}' by {overlap(bay, b):.2f} mm" for b in others if overlap(bay, b) > TOUCH]
        if met:
            raise ValueError(f"{BAY} runs into " + "; ".join(met))

    def _check_channel(self, name: str, channel: Channel, ports: list[Bore], others: tuple[Bore, ...]) -> None:
        points, (low, high) = channel.points(self._places()), self._channel_z(channel)
        slab = self._layers()["plate"]
        floor = min(low - slab[0], SKIN if self.cover else slab[1] - high)
        if floor < SKIN - TOUCH:
            raise ValueError(f"{name} {channel.depth} deep does not fit in a slab of {slab[1] - slab[0]:g}")
        for p in points:
            self._check_outline(name, p, channel.width / 2)
        for bore in others:
            short = bore.diameter / 2 + channel.width / 2 + SKIN
            short -= channels.distance(points, (bore.start[0], bore.start[1]))
            if short > 0 and _reach(bore)[0] < high and _reach(bore)[1] > low:
                raise ValueError(f"{name} runs into '{bore.name}': {short:.2f} mm too near")
        bay = self._bay_bore()
        for bore in (*ports, *((bay,) if bay else ())):
            if bore.name in channel.path:
                reach = _reach(bore)
                short = max(low - reach[1], reach[0] - high)
                if short >= 0:
                    raise ValueError(f"{name} does not meet '{bore.name}': {short:.2f} mm apart in depth")

    def _layers(self) -> dict[str, tuple[float, float]]:
        """The plates from back to front: name to (z of its back, z of its front)."""
        b, f, t = float(self.backing), float(self.thickness - self.cover), float(self.thickness)
        layers = {"back-plate": (0.0, b), "plate": (b, f), "cover": (f, t)}
        return {name: z for name, z in layers.items() if z[1] > z[0]}

    def _crossed(self, low: float, high: float) -> tuple[str, ...]:
        return tuple(name for name, z in self._layers().items() if z[0] < high and z[1] > low)

    def _channel_z(self, channel: Channel) -> tuple[float, float]:
        """Bottom and top of a channel, mm above the back face."""
        low, high = self._layers()["plate"]
        top = high if self.cover else (low + high + channel.depth) / 2
        return (top - channel.depth, top)

    def _places(self) -> dict[str, Point2]:
        """Where a channel meets each port (the bottom of its bore) and the pump bay."""
        bores = [bore_of(self._port_frame(p)) for p in self.ports]
        out = {b.name: (b.bottom[0], b.bottom[1]) for b in bores}
        if self.bay is not None:
            out[BAY] = (float(self.bay.at[0]), float(self.bay.at[1]))
        return out

    def _face(self, face: str, x: float, y: float) -> Pose:
        up = 1 if face == "front" else -1
        return pose((x, y, self.thickness if up > 0 else 0), (0, 0, up), (1, 0, 0))

    def _mounts(self) -> tuple[tuple[float, float, float], ...]:
        """(x, y, diameter) of each mounting hole."""
        if self.holes or self.inset is None:
            return tuple((float(h.at[0]), float(h.at[1]), float(h.diameter)) for h in self.holes)
        x, y = self.length / 2 - self.inset, self.width / 2 - self.inset
        return tuple((sx * x, sy * y, float(self.hole)) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)))

    def _mount_bores(self) -> tuple[Bore, ...]:
        deep = float(self.thickness)
        return tuple(
            straight_bore(f"mount-{i}", self._face("back", x, y), deep, d)
            for i, (x, y, d) in enumerate(self._mounts(), 1)
        )

    def _bay_bore(self) -> Bore | None:
        if self.bay is None:
            return None
        at = self._face(self.bay.face, *self.bay.at)
        return straight_bore(BAY, at, float(self.bay.depth), float(self.bay.diameter))

    def _bolt_bores(self) -> tuple[Bore, ...]:
        if (bay := self.bay) is None:
            return ()
        return tuple(
            straight_bore(
                f"{BAY} screw {i}", self._face(bay.face, bay.at[0] + x, bay.at[1] + y), float(bay.thread_depth),
                thread(bay.thread).bore,
            )
            for i, (x, y) in enumerate(bay.screws, 1)
        )  # fmt: skip

    def box(self) -> Box:
        x, y = self.length / 2, self.width / 2
        return Box((-x, -y, 0.0), (x, y, float(self.thickness)))

    def bodies(self) -> tuple[Body, ...]:
        return tuple(Body(name, self.material) for name in self._layers())

    def frames(self) -> tuple[Frame, ...]:
        t, size, head = float(self.thickness), (float(self.length), float(self.width)), (float(self.head),) * 2
        sides = {"back": self._crossed(0, TOUCH), "front": self._crossed(t - TOUCH, t)}
        out = [Frame(name, "face", self._face(name, 0, 0), sides[name], size=size) for name in ("back", "front")]
        for face, prefix in (("back", "mount"), ("front", "front-mount")):
            out += [
                Frame(f"{prefix}-{i}", "face", self._face(face, x, y), sides[face], size=head)
                for i, (x, y, _) in enumerate(self._mounts(), 1)
            ]
        if (bay := self.bay) is not None:
            wide = (float(bay.diameter),) * 2
            out.append(Frame(BAY, "face", self._face(bay.face, *bay.at), sides[bay.face], size=wide))
        return (*out, *(self._port_frame(p) for p in self.ports))

    def _port_frame(self, port: PlatePort) -> Frame:
        u, v = float(port.at[0]), float(port.at[1])
        x, y, t = self.length / 2, self.width / 2, float(self.thickness)
        origin, out, along = {
            "front": ((u, v, t), (0, 0, 1), (1, 0, 0)),
            "back": ((u, v, 0), (0, 0, -1), (1, 0, 0)),
            "right": ((x, u, v), (1, 0, 0), (0, 1, 0)),
            "left": ((-x, u, v), (-1, 0, 0), (0, 1, 0)),
            "top": ((u, y, v), (0, 1, 0), (1, 0, 0)),
            "bottom": ((u, -y, v), (0, -1, 0), (1, 0, 0)),
        }[port.face]
        frame = port_frame(port, origin, out, along, ())
        low, high = _reach(bore_of(frame))
        return port_frame(port, origin, out, along, self._crossed(low, high))

    def patterns(self) -> tuple[HolePattern, ...]:
        t, out = float(self.thickness), []
        first = {"back": self._crossed(0, TOUCH)[0], "front": self._crossed(t - TOUCH, t)[0]}
        # Seen from behind, y runs the other way.
        turn = {"back": -1.0, "front": 1.0}
        for face in ("back", "front"):
            holes = tuple(Hole(x, turn[face] * y, d) for x, y, d in self._mounts())
            if holes:
                out.append(HolePattern(face, self._face(face, 0, 0), holes, first[face]))
        if (bay := self.bay) is not None and bay.screws:
            screw = (thread(bay.thread).bore, bay.thread, float(bay.thread_depth))
            holes = tuple(Hole(x, turn[bay.face] * y, screw[0], thread=screw[1], depth=screw[2]) for x, y in bay.screws)
            out.append(HolePattern(BAY, self._face(bay.face, *bay.at), holes, first[bay.face]))
        return tuple(out)

    def coolant_ml(self) -> float | None:
        """What channels and pump bay hold; fittings fill the bores. None for a plate with neither."""
        if not self.channels and self.bay is None:
            return None
        places = self._places()
        total = sum(channels.area(c.points(places), c.width) * c.depth for c in self.channels)
        if self.bay is not None:
            total += math.pi * self.bay.diameter**2 / 4 * self.bay.depth
        return total / 1000.0

    def waterways(self) -> tuple[tuple[str, ...], ...]:
        """Ports joined by channels, by bores that meet, and by the pump bay; all of them where no channel is stated."""
        groups = (tuple(n for n in g if n != BAY) for g in self._joined())
        return tuple(g for g in groups if g)

    def pumped_ports(self) -> tuple[str, ...]:
        """Ports whose channels end in the pump bay."""
        return tuple(n for g in self._joined() if self.bay is not None and BAY in g for n in g if n != BAY)

    def _joined(self) -> tuple[tuple[str, ...], ...]:
        places, bay = self._places(), self._bay_bore()
        bores = [*(bore_of(self._port_frame(p)) for p in self.ports), *((bay,) if bay else ())]
        if not self.channels:
            return (tuple(b.name for b in bores),)
        grooves = [Groove(c.points(places), float(c.width), *self._channel_z(c)) for c in self.channels]
        return joined(bores, grooves)

    def waterways_known(self) -> bool:
        return bool(self.channels)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        x, y, _ = self.box().hi
        bay = self._bay_bore()
        bores = [*(bore_of(self._port_frame(p)) for p in self.ports), *self._bolt_bores(), *((bay,) if bay else ())]
        out: dict[str, Shape] = {}
        for name, (low, high) in self._layers().items():
            holes = [draw.circle(hx, hy, d, low) for hx, hy, d in self._mounts()]
            layer = draw.slab(draw.rectangle(-x, -y, x, y, self.corner, low), holes, high - low)
            tools = [b.solid() for b in bores if name in self._crossed(*_reach(b))]
            if name == "plate":
                tools += self._channel_tools()
            out[name] = draw.cut(layer, *tools)
        return out

    def _channel_tools(self) -> list[Solid]:
        places, out = self._places(), []
        for c in self.channels:
            low, _ = self._channel_z(c)
            out += channels.tools(c.points(places), float(c.width), low, float(c.depth))
        return out


def _reach(bore: Bore) -> tuple[float, float]:
    """Lowest and highest z of a bore, mm."""
    room = bore.room(0.0)
    return (room.lo[2], room.hi[2])
