"""A power supply of ATX or SFX form: case with rear socket, switch, vents and screw holes, fan recess and grille.

Owns its fields, its faces and the room its cables and its intake need. Leaves the standards' sizes and holes to
`board_standard`. Coordinates, right-handed: origin at the lower right corner of the rear face as seen from outside with
the intake below; x to the left of that view, y up, z inward from the rear face to the cables. So the fan draws through
the face y = 0, and a supply brought to a case's `psu` frame stands with its intake the way that frame says.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from pydantic import model_validator

from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Part, dim
from elbowroom.parts.vocabulary.board_standard import PRACTICE
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import pose, shift
from elbowroom.parts.vocabulary.threads import thread

if TYPE_CHECKING:
    from cadquery import Shape

_SCREW_DEPTH = 6.0  # mm: depth of the rear screw holes, and of the recesses beside them; common practice (P)
_GRILLE = 1.2  # mm: thickness of the fan grille; common practice (P)
_RECESS = 4.0  # mm: depth of the fan's recess behind the grille's outer face; common practice (P)
_SPOKES, _SPOKE_GAP, _HUB = 16, 5.0, 0.3  # grille windows, their width (mm), hub as a share of the diameter (P)
_SOCKET, _SWITCH = (27.5, 20.0), (12.0, 19.0)  # mm: recesses of the mains socket and the switch; from memory (M)
_OUTLET = (70.0, 28.0)  # mm: recess the cables leave from; common practice (P)
_OUTLET_DEPTH = 3.0  # mm (P)
_DEPTH = {"atx": (140.0, 120.0), "sfx": (100.0, 80.0)}  # mm: usual depth (V) and fan (P) of each form


class Psu(Part):
    """A power supply."""

    family: ClassVar[str] = "psu"
    heavy: ClassVar[bool] = True
    seat: ClassVar[str | None] = "rear"

    kind: Literal["atx", "sfx"] = dim("atx", "Form: sets rear face and screw holes", source=std.PSU_SOURCE, mark="V")
    width: Mm = dim(Mm(150), "Width of the rear face (x)", source=std.PSU_SOURCE, mark="V", ge=80, le=200)
    height: Mm = dim(Mm(86), "Height of the rear face (y)", source=std.PSU_SOURCE, mark="V", ge=40, le=120)
    depth: Mm = dim(Mm(140), "Depth behind the rear face (z)", source=std.PSU_SOURCE, mark="V", ge=60, le=300)
    fan: Mm = dim(Mm(120), "Diameter of the fan's opening", source=PRACTICE, mark="P", ge=30, le=180)
    cable_room: Mm = dim(Mm(60), "Room for plugs and bends at the cable side", source=PRACTICE, mark="P", ge=0, le=200)
    intake_room: Mm = dim(
        Mm(12.7), "Free space before the intake", source="ATX12V Power Supply Design Guide 0.9, p. 23", mark="V",
        ge=0, le=100,
    )  # fmt: skip
    intake_through_panel: bool = dim(
        False, "The intake draws through an opening of the panel before it, so the case may stand in that space",
        source=PRACTICE, mark="P",
    )  # fmt: skip

    @model_validator(mode="before")
    @classmethod
    def _usual_for_kind(cls, data: Any) -> Any:
        """Sizes a build leaves out, as the stated kind has them."""
        kind = data.get("kind") if isinstance(data, dict) else None
        if not isinstance(kind, str) or kind not in std.PSU_FACE:
            return data
        (w, h), (deep, fan) = std.PSU_FACE[kind], _DEPTH[kind]
        return {"width": w, "height": h, "depth": deep, "fan": fan, **data}

    @model_validator(mode="after")
    def _consistent(self) -> Psu:
        room = min(float(self.width), self.depth - _SCREW_DEPTH - _OUTLET_DEPTH) - 4
        if self.fan > room:
            raise ValueError(f"a fan opening of {self.fan} is {self.fan - room:.2f} mm too wide for its face")
        w, h = std.PSU_FACE[self.kind]
        if self.width < w - 2 or self.height < h - 2:
            raise ValueError(f"a rear face of {self.width} x {self.height} has no room for the {self.kind} screw holes")
        return self

    @property
    def _fan_z(self) -> float:
        """Distance of the fan's axis from the rear face, mm: the middle of what lies between the end recesses."""
        return (_SCREW_DEPTH + self.depth - _OUTLET_DEPTH) / 2

    def box(self) -> Box:
        return Box((0.0, 0.0, 0.0), (float(self.width), float(self.height), float(self.depth)))

    def bodies(self) -> tuple[Body, ...]:
        out = [Body("body", "steel"), Body("grille", "steel")]
        if self.cable_room > 0:
            out.append(Body("cable-room", "air", "plugs and bends of the cables", ("cable",)))
        if self.intake_room > 0:
            admits = ("dust-filter", "case") if self.intake_through_panel else ("dust-filter",)
            out.append(Body("intake-room", "air", "free air before the intake", admits))
        return tuple(out)

    def frames(self) -> tuple[Frame, ...]:
        w, h, d = float(self.width), float(self.height), float(self.depth)
        return (
            Frame("rear", "face", pose((w / 2, h / 2, 0), (0, 0, -1), (1, 0, 0)), ("body",), size=(w, h)),
            Frame("cables", "exit", pose((w / 2, h / 2, d), (0, 0, 1), (1, 0, 0)), ("body",), size=_OUTLET),
            Frame("intake", "face", pose((w / 2, 0, d / 2), (0, -1, 0), (1, 0, 0)), ("body", "grille"), size=(w, d)),
            Frame("back", "face", pose((w / 2, h, d / 2), (0, 1, 0), (1, 0, 0)), ("body",), size=(w, d)),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        """The rear screw holes, threaded."""
        bore = thread("6-32").bore
        holes = tuple(
            Hole(x, -y, bore, thread="6-32", depth=_SCREW_DEPTH, stop="inside") for x, y in std.psu_holes(self.kind)
        )
        return (HolePattern("rear", self.frame("rear").pose, holes, "body"),)

    def air_flow(self) -> tuple[float, float, float] | None:
        """Out through the rear face; the air comes in through the face y = 0."""
        return (0.0, 0.0, -1.0)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        w, h, d, z = float(self.width), float(self.height), float(self.depth), self._fan_z
        face = draw.rectangle(0, 0, w, h)
        rear = draw.slab(face, self._rear_wires(), _SCREW_DEPTH)
        ow, oh = min(_OUTLET[0], w - 8) / 2, min(_OUTLET[1], h - 8) / 2
        outlet = draw.rectangle(w / 2 - ow, h / 2 - oh, w / 2 + ow, h / 2 + oh, 3.0)
        front = draw.baked(draw.slab(face, [outlet], _OUTLET_DEPTH), shift(z=d - _OUTLET_DEPTH))
        middle = draw.box((0, 0, _SCREW_DEPTH), (w, h, d - _OUTLET_DEPTH))
        middle = draw.cut(middle, draw.cylinder(self.fan, _RECESS, (w / 2, 0, z), (0, 1, 0)))
        out: dict[str, Shape] = {"body": draw.fuse(rear, middle, front), "grille": self._grille()}
        if self.cable_room > 0:
            out["cable-room"] = draw.box((8, 6, d), (w - 8, h - 6, d + self.cable_room))
        if self.intake_room > 0:
            r = self.fan / 2
            out["intake-room"] = draw.box((w / 2 - r, -self.intake_room, z - r), (w / 2 + r, 0, z + r))
        return out

    def _rear_wires(self) -> list[Any]:
        """Outlines of the rear face's recesses: screw holes, mains socket, switch, vent slots."""
        from elbowroom.parts.vocabulary import draw

        w, h = float(self.width), float(self.height)
        bore = thread("6-32").bore
        wires = [draw.circle(w / 2 + x, h / 2 + y, bore) for x, y in std.psu_holes(self.kind)]
        for middle, (a, b) in ((30, _SOCKET), (54, _SWITCH)):  # at the right, seen from outside (P)
            wires.append(draw.rectangle(middle - a / 2, (h - b) / 2, middle + a / 2, (h + b) / 2, 1.0))
        count = int((w - 64 - 16) // 7)
        wires += [draw.slot(w - 16 - 7 * i, h / 2, 4.0, h - 40, 90.0) for i in range(count)]
        return wires

    def _grille(self) -> Shape:
        """A spoked disc filling the mouth of the fan's recess, its outer face flush with the supply's."""
        from elbowroom.parts.vocabulary import draw

        r = self.fan / 2
        inner, outer = r * _HUB + _SPOKE_GAP, r - 2.5 - _SPOKE_GAP / 2
        spokes = min(_SPOKES, int(2 * math.pi * inner / (_SPOKE_GAP + 1.5)))
        middle, length = (inner + outer) / 2, outer - inner
        windows = []
        for i in range(spokes):
            a = 2 * math.pi * i / spokes
            windows.append(draw.slot(middle * math.cos(a), middle * math.sin(a), _SPOKE_GAP, length, math.degrees(a)))
        disc = draw.slab(draw.circle(0, 0, self.fan), windows, _GRILLE)
        return draw.baked(disc, pose((self.width / 2, 0, self._fan_z), (0, 1, 0), (1, 0, 0)))
