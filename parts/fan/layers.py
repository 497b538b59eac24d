"""Thin layers of a stack: dust filter, gasket and washer.

Owns their declaration and drawing. A dust filter and a gasket lie over a row of fan positions like a radiator: origin
at the centre of the holes, x along the row, face `b` at z = 0 and face `a` at z = thickness, and one more face for each
fan (`a-1` ..., numbered from -x). A washer is one washer, axis along z, with the same two faces.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar, Self

from pydantic import model_validator

from elbowroom.parts.fan.fan_field import FanField
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Material, Part, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import pose

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"
RIM = 1.5  # mm of frame around a screw hole; P
ROUND_HEADS, CLEARANCE = 9.0, 4.5  # mm: holes that a filter lies round the heads by, and that screws pass; P
EDGE = 0.5  # mm, least width of a frame or a ring; P
# Windows of a filter's mesh are drawn coarser than they are woven: a sheet that stays a sheet, in bounded detail. P
WINDOWS = 6  # along each edge of a fan's opening
STRAND = 1.2  # mm of mesh between two drawn windows

# Plain washers, ISO 7089: (d1, d2, nominal h), mm. d1, d2: C (transcribed by public code); h: M.
ISO_7089: dict[str, tuple[float, float, float]] = {
    "M2.5": (2.7, 6.0, 0.5),
    "M3": (3.2, 7.0, 0.5),
    "M3.5": (3.7, 8.0, 0.5),
    "M4": (4.3, 9.0, 0.8),
    "M5": (5.3, 10.0, 1.0),
}
_ISO_7089 = "ISO 7089 (transcribed by public code)"


class FanLayer(Part):
    """What a dust filter and a gasket share: a flat outline with screw holes and openings over a row of fans."""

    seat: ClassVar[str | None] = "b"
    body: ClassVar[tuple[str, Material]]  # the body that the outline is, and what it is made of

    fans: int = dim(1, "Number of fans in a row", source=_PRACTICE, mark="P", ge=1, le=4)
    fan_size: Mm = dim(Mm(120), "Edge of the fans", source=_PRACTICE, mark="P", ge=30, le=230)
    hole_pitch: Mm | None = dim(
        None, "Distance between a fan's hole centres; left out: the trade's pitch for the fan size",
        source="fan hole pitches as drawn", mark="C", ge=20, le=220,
    )  # fmt: skip
    gap: Mm | None = dim(
        None, "Gap between adjacent fans' hole squares; left out: fans touch (15 for 120, 15.5 for 140)",
        source=_PRACTICE, mark="P", ge=0, le=100,
    )  # fmt: skip
    length: Mm | None = dim(
        None, "Overall length; left out: that of the row of fans", source=_PRACTICE, mark="P", ge=30, le=1200
    )
    width: Mm | None = dim(None, "Overall width; left out: that of the fans", source=_PRACTICE, mark="P", ge=30, le=300)
    thickness: Mm = dim(Mm(2), "Overall thickness", source=_PRACTICE, mark="P", ge=0.3, le=30)
    hole: Mm = dim(Mm(4.5), "Diameter of the screw holes", source=_PRACTICE, mark="P", ge=2, le=10)
    border: Mm = dim(Mm(4), "From a fan's edge to the opening", source=_PRACTICE, mark="P", ge=1, le=40)
    corner: Mm = dim(Mm(3), "Radius of the outer corners", source=_PRACTICE, mark="P", ge=0, le=30)

    @model_validator(mode="after")
    def _fits(self) -> Self:
        field = self.field
        holes, opening = self._nominal + 2 * RIM, field.size - 2 * self.border
        for name, size, least in (
            ("length", self._length, max(field.row + holes, field.length - field.size + opening + 2 * EDGE)),
            ("width", self._width, max(field.hole_pitch + holes, opening + 2 * EDGE)),
        ):
            if size < least - TOUCH:
                raise ValueError(
                    f"{name} {size:g} is {least - size:g} mm short: holes and openings need {least:g} with their rims"
                )
        if 2 * self.corner > min(self._length, self._width):
            raise ValueError(f"corner {self.corner} is more than half of the outline")
        self._openings()
        return self

    @property
    def field(self) -> FanField:
        """The fan positions, with what the fields leave out filled in."""
        return FanField.of(self.fans, self.fan_size, self.hole_pitch, self.gap)

    @property
    def _length(self) -> float:
        return self.field.length if self.length is None else float(self.length)

    @property
    def _width(self) -> float:
        return self.field.size if self.width is None else float(self.width)

    @property
    def _nominal(self) -> float:
        """Diameter of the screw holes as designed, mm."""
        return float(self.hole)

    @property
    def _hole(self) -> float:
        """Diameter the screw holes are drawn with, mm."""
        return self._nominal

    def _openings(self) -> tuple[tuple[tuple[float, float], ...], ...]:
        return self.field.opening(float(self.border), self._nominal / 2 + RIM)

    def box(self) -> Box:
        x, y = self._length / 2, self._width / 2
        return Box((-x, -y, 0.0), (x, y, float(self.thickness)))

    def bodies(self) -> tuple[Body, ...]:
        return (Body(*self.body),)

    def frames(self) -> tuple[Frame, ...]:
        return self.field.frames(
            float(self.thickness), 0.0, tuple(b.name for b in self.bodies()), (self._length, self._width)
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        holes = self.field.holes(self._hole)
        return tuple(HolePattern(name, self.frame(name).pose, holes, self.body[0]) for name in ("a", "b"))

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        x, y, _ = self.box().hi
        inner = [draw.polygon(o) for o in self._openings()]
        inner += [draw.circle(hx, hy, self._hole) for hx, hy in self.field.points]
        return {self.body[0]: draw.slab(draw.rectangle(-x, -y, x, y, self.corner), inner, self.thickness)}


class DustFilter(FanLayer):
    """A dust filter: a frame with a sheet of mesh in each opening."""

    family: ClassVar[str] = "dust-filter"
    filters_dust: ClassVar[bool] = True
    loose_layer: ClassVar[bool] = True
    body: ClassVar[tuple[str, Material]] = ("frame", "plastic")

    hole: Mm | None = dim(  # type: ignore[assignment]
        None, "Diameter of the screw holes; left out: 9, round the heads, so that the filter comes off without the "
        "screws and is held by magnets or clips of its own, or what its frame has room for", source=_PRACTICE, mark="P",
        ge=2, le=10,
    )  # fmt: skip
    mesh: Mm = dim(Mm(0.5), "Thickness of the mesh, halfway up the frame", source=_PRACTICE, mark="P", ge=0.1, le=5)

    @property
    def _nominal(self) -> float:
        field = self.field
        room = min(self._length - field.row, self._width - field.hole_pitch) - 2 * RIM
        return float(self.hole) if self.hole is not None else min(ROUND_HEADS, max(CLEARANCE, room))

    @model_validator(mode="after")
    def _mesh_fits(self) -> Self:
        if self.mesh > self.thickness:
            raise ValueError(f"mesh {self.mesh} is thicker than the filter ({self.thickness})")
        return self

    def bodies(self) -> tuple[Body, ...]:
        return (*super().bodies(), *(Body(f"mesh-{i}", "mesh") for i in range(1, self.fans + 1)))

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        out = super().solids()
        z = (self.thickness - self.mesh) / 2
        # Half the opening, and half of what its cut corners leave of an edge.
        half, reach = self.field.size / 2 - self.border, self._openings()[0][1][0] - self.field.centres[0]
        # |x| + |y| up to which a window may reach: the cut corner of the opening, less a strand square to it.
        corner = half + reach - STRAND * math.sqrt(2)
        across = max(1, min(WINDOWS, int(half / STRAND)))
        cell = (2 * half - STRAND) / across
        starts = [-half + STRAND + i * cell for i in range(across)]
        side = cell - STRAND
        cells = [
            (x, y) for x in starts for y in starts if max(abs(x), abs(x + side)) + max(abs(y), abs(y + side)) <= corner
        ]
        for i, (centre, opening) in enumerate(zip(self.field.centres, self._openings(), strict=True), 1):
            windows = [draw.rectangle(centre + x, y, centre + x + side, y + side, z=z) for x, y in cells]
            out[f"mesh-{i}"] = draw.slab(draw.polygon(opening, z), windows, self.mesh)
        return out


class Gasket(FanLayer):
    """A soft frame between a fan and what it is screwed to; `thickness` is the squeezed one."""

    family: ClassVar[str] = "gasket"
    loose_layer: ClassVar[bool] = True
    body: ClassVar[tuple[str, Material]] = ("gasket", "gasket")

    thickness: Mm = dim(Mm(1), "Thickness when squeezed", source=_PRACTICE, mark="P", ge=0.3, le=30)


class Washer(Part):
    """A plain washer; its axis is z, face `b` at z = 0 and face `a` at z = thickness."""

    family: ClassVar[str] = "washer"
    loose_layer: ClassVar[bool] = True
    small: ClassVar[bool] = True
    seat: ClassVar[str | None] = "b"

    inner: Mm = dim(Mm(ISO_7089["M4"][0]), "Diameter of the hole", source=_ISO_7089, mark="C", ge=1, le=40)
    outer: Mm = dim(Mm(ISO_7089["M4"][1]), "Outer diameter", source=_ISO_7089, mark="C", ge=2, le=80)
    thickness: Mm = dim(
        Mm(ISO_7089["M4"][2]), "Thickness", source="ISO 7089, nominal, from memory", mark="M", ge=0.2, le=10
    )

    @model_validator(mode="after")
    def _ring(self) -> Self:
        if self.inner + 2 * EDGE > self.outer:
            raise ValueError(f"hole {self.inner} leaves less than {EDGE:g} mm of ring in a diameter of {self.outer}")
        return self

    def box(self) -> Box:
        r = self.outer / 2
        return Box((-r, -r, 0.0), (r, r, float(self.thickness)))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("washer", "steel"),)

    def frames(self) -> tuple[Frame, ...]:
        size = (float(self.outer), float(self.outer))
        return (
            Frame("a", "face", pose((0, 0, self.thickness), (0, 0, 1), (1, 0, 0)), ("washer",), size=size),
            Frame("b", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("washer",), size=size),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        hole = (Hole(0.0, 0.0, float(self.inner)),)
        return tuple(HolePattern(f.name, f.pose, hole, "washer") for f in self.frames())

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        return {"washer": draw.slab(draw.circle(0, 0, self.outer), [draw.circle(0, 0, self.inner)], self.thickness)}
