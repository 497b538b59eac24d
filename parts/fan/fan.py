"""Axial fans, 40 to 200 mm: frame with open or closed flange, corner pads by side, hub and blade disc, cable exit.

Origin at the centre of the intake side of the bare frame; x and y along the frame's edges; z is the way the air goes,
so the intake frame faces -z and the exhaust frame +z. Pads add to the stack, each on its own side.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar, Literal

from pydantic import model_validator

from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Part, dim
from elbowroom.parts.vocabulary.measure import M3h, Mm
from elbowroom.parts.vocabulary.pose import pose, shift

if TYPE_CHECKING:
    from cadquery import Shape

# Hole pitch by frame size, mm. 120: read in makers' drawings (V); the others transcribed by public code (C).
HOLE_PITCH: dict[int, float] = {40: 32.0, 60: 50.0, 80: 71.5, 92: 82.5, 120: 105.0, 140: 124.5, 200: 154.0}
_PRACTICE = "common practice, no source"

Corner = Literal["+x+y", "-x+y", "-x-y", "+x-y"]


class Fan(Part):
    """An axial fan."""

    family: ClassVar[str] = "fan"
    seat: ClassVar[str | None] = "intake"

    size: Mm = dim(Mm(120), "Edge of the square frame", source=_PRACTICE, mark="P", ge=30, le=230)
    depth: Mm = dim(Mm(25), "Depth of the frame without pads", source=_PRACTICE, mark="P", ge=6, le=60)
    hole_pitch: Mm = dim(
        Mm(105), "Distance between hole centres", source="fan hole pitches as drawn", mark="V", ge=20, le=220
    )
    hole: Mm = dim(Mm(4.3), "Diameter of the screw holes", source=_PRACTICE, mark="P", ge=2, le=8)
    flange: Mm = dim(
        Mm(4), "Thickness of each corner flange of an open frame", source=_PRACTICE, mark="P", ge=1.5, le=60
    )
    closed: bool = dim(False, "Corners closed over the full depth", source=_PRACTICE, mark="P")
    intake_pad: Mm = dim(Mm(0), "Height of the corner pads on the intake side", source=_PRACTICE, mark="P", ge=0, le=10)
    exhaust_pad: Mm = dim(
        Mm(0), "Height of the corner pads on the exhaust side", source=_PRACTICE, mark="P", ge=0, le=10
    )
    hub: Mm = dim(Mm(40), "Diameter of the hub", source=_PRACTICE, mark="P", ge=8, le=120)
    recess: Mm = dim(
        Mm(1.5), "How far the blades stand back from both faces of the frame", source=_PRACTICE, mark="P", ge=0.2, le=15
    )
    free_flow: M3h | None = dim(
        None, "Air it moves with nothing before or behind it, as its maker states it; none is assumed",
        source="stated by the build", mark="V", gt=0, le=2000,
    )  # fmt: skip
    cable_corner: Corner = dim(
        "+x+y", "Corner the cable leaves from, in the fan's own axes", source=_PRACTICE, mark="P"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Fan:
        if self.hole_pitch + self.hole + 2 > self.size:
            raise ValueError(f"hole_pitch {self.hole_pitch} leaves no material at the edge of a {self.size} mm frame")
        if 2 * self.recess + 2 > self.depth:
            raise ValueError(f"recess {self.recess} leaves no room for the blades in a depth of {self.depth}")
        if not self.closed and 2 * self.flange > self.depth:
            raise ValueError(f"two flanges of {self.flange} are deeper than the frame ({self.depth}); set closed: true")
        if self.hub + 10 > self.bore:
            raise ValueError(f"hub {self.hub} leaves no blades in a bore of {self.bore:g}")
        return self

    def unused_fields(self) -> frozenset[str]:
        return frozenset({"free_flow"}) if self.free_flow is None else frozenset()

    @property
    def bore(self) -> float:
        """Diameter of the air passage, mm: the frame's edge less a 2 mm wall each side."""
        return self.size - 4.0

    @property
    def pad(self) -> float:
        """Edge of the square corner pads, mm, centred on the screw holes."""
        return min(self.size - self.hole_pitch, 2.2 * self.hole + 4)

    def box(self) -> Box:
        h = self.size / 2
        return Box((-h, -h, -self.intake_pad), (h, h, self.depth + self.exhaust_pad))

    def bodies(self) -> tuple[Body, ...]:
        out = [Body("frame", "plastic"), Body("blades", "plastic")]
        for side, height in (("intake", self.intake_pad), ("exhaust", self.exhaust_pad)):
            if height > 0:
                out += [Body(f"{side}-pad-{i}", "rubber") for i in range(1, 5)]
        return tuple(out)

    def _touching(self, side: str, height: float) -> tuple[str, ...]:
        return tuple(f"{side}-pad-{i}" for i in range(1, 5)) if height > 0 else ("frame",)

    def frames(self) -> tuple[Frame, ...]:
        s, h = float(self.size), self.size / 2
        sx, sy = (1 if self.cable_corner[0] == "+" else -1), (1 if self.cable_corner[2] == "+" else -1)
        return (
            Frame("intake", "face", pose((0, 0, -self.intake_pad), (0, 0, -1), (1, 0, 0)),
                  self._touching("intake", self.intake_pad), size=(s, s)),
            Frame("exhaust", "face", pose((0, 0, self.depth + self.exhaust_pad), (0, 0, 1), (1, 0, 0)),
                  self._touching("exhaust", self.exhaust_pad), size=(s, s)),
            *(
                Frame(f"side-{i}", "face", pose((h * x, h * y, self.depth / 2), (x, y, 0), (0, 0, 1)), ("frame",),
                      size=(float(self.depth), s))
                for i, (x, y) in enumerate(((1, 0), (0, 1), (-1, 0), (0, -1)), 1)
            ),
            Frame("cable", "exit", pose((sx * h, sy * (h - 10), self.depth / 2), (sx, 0, 0)), ("frame",)),
        )  # fmt: skip

    def patterns(self) -> tuple[HolePattern, ...]:
        p = self.hole_pitch / 2
        holes = tuple(Hole(x, y, float(self.hole)) for x in (-p, p) for y in (-p, p))
        return tuple(
            HolePattern(f.name, f.pose, holes, "frame") for f in self.frames() if f.name in ("intake", "exhaust")
        )

    def air_flow(self) -> tuple[float, float, float] | None:
        return (0.0, 0.0, 1.0)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        h, p, r = self.size / 2, self.hole_pitch / 2, self.size * 0.06
        corners = [(x, y) for x in (-p, p) for y in (-p, p)]
        holes = [draw.circle(x, y, self.hole) for x, y in corners]
        square = draw.rectangle(-h, -h, h, h, r)
        if self.closed:
            frame = draw.slab(square, [draw.circle(0, 0, self.bore), *holes], self.depth)
        else:
            flange = draw.slab(square, [draw.circle(0, 0, self.bore), *holes], self.flange)
            # The barrel is the square with its corners cut off square to the diagonals, clear of the screws' path.
            c = h - (math.sqrt(2) * (h - p) + self.hole / 2 + 2.5) / math.sqrt(2) * 2
            c = max(c, self._least_chamfer())
            barrel = draw.slab(
                draw.polygon([(-c, -h), (c, -h), (h, -c), (h, c), (c, h), (-c, h), (-h, c), (-h, -c)]),
                [draw.circle(0, 0, self.bore)],
                self.depth - 2 * self.flange,
            )
            frame = draw.fuse(
                flange, draw.baked(barrel, shift(z=self.flange)), draw.baked(flange, shift(z=self.depth - self.flange))
            )
        out: dict[str, Shape] = {"frame": frame, "blades": self._blades()}
        for side, height, z in (
            ("intake", self.intake_pad, -self.intake_pad), ("exhaust", self.exhaust_pad, float(self.depth))
        ):  # fmt: skip
            if height > 0:
                a = self.pad / 2
                for i, (x, y) in enumerate(corners, 1):
                    out[f"{side}-pad-{i}"] = draw.slab(
                        draw.rectangle(x - a, y - a, x + a, y + a, 1.0, z), [draw.circle(x, y, self.hole, z)], height
                    )
        return out

    def _least_chamfer(self) -> float:
        """Half-length of the barrel's flat that still keeps 1 mm of wall around the bore on the diagonal, mm."""
        return (self.bore / 2 + 1.0) * math.sqrt(2) - self.size / 2

    def _blades(self) -> Shape:
        """Hub and swept disc of the turning blades as one body: nothing may enter the disc, so it is drawn full."""
        from elbowroom.parts.vocabulary import draw

        z0, z1, r, hub = float(self.recess), float(self.depth - self.recess), self.bore / 2 - 1.0, self.hub / 2
        m = min(2.0, (z1 - z0) / 6)
        return draw.turned(
            [(0, z0), (hub, z0), (hub, z0 + m), (r, z0 + m), (r, z1 - m), (hub, z1 - m), (hub, z1), (0, z1)]
        )
