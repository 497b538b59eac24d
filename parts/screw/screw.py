"""Screws and hexagon nuts, drawn so that they can stand in the holes they are meant for.

Owns their declaration and drawing. A screw's origin is the centre of the plane under its head, the head toward +z and
the shank toward -z. No thread is drawn. What of the shank passes through clearance holes (`plain`) has the major
diameter; what stands in a threaded bore (`bored` long from there) is drawn `ROOT_LESS` thinner than the thread's basic
minor diameter, at which threaded bores are drawn: a screw in its bore then stands clear of it by more than the meshes'
error, where thread and bore really overlap. What comes out of the bore again has the major diameter. A head is drawn as
the cylinder that holds it, without the recess for the driver; the tip is flat. A nut's
axis is z, face `b` at z = 0 and face `a` at z = height; its bore is drawn `ROOT_LESS` wider than the major diameter.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, ClassVar, Self

from pydantic import AfterValidator, Field, model_validator

from elbowroom.parts.screw.screw_tables import (
    NUTS,
    ROOT_LESS,
    SCREW_THREADS,
    Style,
    designation,
    head,
    shank,
)
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Part, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import pose

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"
RIM = 0.25  # mm a head reaches over the shank at least, and a nut's wall at least; P
_STEP = 1e-6  # mm: shorter edges are left out of the drawing; the kernel's vertices are 1e-7 apart at least


def _known(name: str) -> str:
    try:
        shank(name)
    except KeyError as e:
        raise ValueError(e.args[0]) from None
    return name


ScrewThread = Annotated[str, AfterValidator(_known), Field(json_schema_extra={"enum": list(SCREW_THREADS)})]
"""A field that holds the thread of a screw: a standard one, or `fan-screw`."""


class Screw(Part):
    """A machine screw, or the thread-forming screw of fans (`thread: fan-screw`)."""

    family: ClassVar[str] = "screw"
    small: ClassVar[bool] = True
    seat: ClassVar[str | None] = "seat"

    thread: ScrewThread = dim("M3", "Thread, or fan-screw for the one that forms its own", source=_PRACTICE, mark="P")
    length: Mm = dim(Mm(30), "Length below the head", source=_PRACTICE, mark="P", ge=2, le=120)
    head: Style = dim("pan", "cap: socket (ISO 4762), pan: ISO 7045, button: ISO 7380-1", source=_PRACTICE, mark="P")
    plain: Mm = dim(
        Mm(0), "Length below the head drawn at the major diameter; what stands in a threaded bore is drawn clear of it",
        source="the layers the screw passes through", mark="V", ge=0, le=120,
    )  # fmt: skip
    bored: Mm | None = dim(
        None, "Length of the threaded bore it stands in, from the end of `plain`; left out: it ends in it",
        source="the bore the screw is driven into", mark="V", ge=0, le=1000,
    )  # fmt: skip
    head_diameter: Mm | None = dim(
        None, "Diameter of the head; left out: the standard's", source="standard of the head", mark="V", ge=2, le=30
    )
    head_height: Mm | None = dim(
        None, "Height of the head; left out: the standard's", source="standard of the head", mark="V", ge=0.5, le=20
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.head_diameter is None or self.head_height is None:
            try:
                head(self.head, self.thread)
            except KeyError as e:
                raise ValueError(f"{e.args[0]}; or give head_diameter and head_height") from None
        if self.plain > self.length:
            over = self.plain - self.length
            raise ValueError(f"plain {self.plain} is {over:g} mm more than the length of {self.length}")
        least = shank(self.thread).major + 2 * RIM
        if self.head_size[0] < least:
            raise ValueError(
                f"a head {self.head_size[0]:g} across holds nothing over a {self.thread} shank; at least {least:g}"
            )
        return self

    @property
    def head_size(self) -> tuple[float, float]:
        """Diameter and height of the head, mm."""
        if self.head_diameter is not None and self.head_height is not None:
            return float(self.head_diameter), float(self.head_height)
        own = head(self.head, self.thread)
        return float(self.head_diameter or own.diameter), float(self.head_height or own.height)

    @property
    def called(self) -> str | None:
        """How the screw is asked for, such as "M3 x 30 pan head"."""
        return f"{designation(self.thread, float(self.length))} {self.head} head"

    def box(self) -> Box:
        diameter, height = self.head_size
        return Box((-diameter / 2, -diameter / 2, -float(self.length)), (diameter / 2, diameter / 2, height))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("screw", "steel"),)

    def frames(self) -> tuple[Frame, ...]:
        """`seat`: the flat ring under the head, looking along the shank. `shank`: the axis, from the same point."""
        under, across = pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), self.head_size[0]
        return (
            Frame("seat", "face", under, ("screw",), size=(across, across)),
            Frame("shank", "axis", under, ("screw",)),
        )

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        own, (diameter, height) = shank(self.thread), self.head_size
        out, thick, thin = diameter / 2, own.major / 2, own.drawn / 2
        length, plain = float(self.length), float(self.plain)
        bored = length if self.bored is None else min(plain + float(self.bored), length)
        below: list[tuple[float, float]] = []
        for radius, start, end in ((thick, 0.0, plain), (thin, plain, bored), (thick, bored, length)):
            if end - start >= _STEP:
                below += [(radius, -start), (radius, -end)]
        return {"screw": draw.turned([(0.0, height), (out, height), (out, 0.0), *below, (0.0, -length)])}


def _standard_thread(name: str) -> str:
    _known(name)
    if name not in NUTS:
        raise ValueError(f"there is no nut for a {name}; known: {', '.join(NUTS)}")
    return name


class Nut(Part):
    """A hexagon nut; two of its corners lie on the x axis, so that it is `across` wide in y."""

    family: ClassVar[str] = "nut"
    small: ClassVar[bool] = True
    seat: ClassVar[str | None] = "b"

    thread: Annotated[str, AfterValidator(_standard_thread), Field(json_schema_extra={"enum": list(NUTS)})] = dim(
        "M3", "Thread", source=_PRACTICE, mark="P"
    )
    height: Mm | None = dim(
        None, "Height; left out: the standard's", source="ISO 4032; 6-32: ASME B18.6.3 from memory", mark="M",
        ge=0.5, le=20,
    )  # fmt: skip
    across: Mm | None = dim(
        None, "Width across the flats; left out: the standard's", source="ISO 4032; 6-32: ASME B18.6.3 from memory",
        mark="M", ge=2, le=30,
    )  # fmt: skip

    @model_validator(mode="after")
    def _walled(self) -> Self:
        least = self._bore + 2 * RIM
        if self.hexagon[1] < least:
            raise ValueError(
                f"{self.hexagon[1]:g} across leaves no wall around a {self.thread} bore; at least {least:g}"
            )
        return self

    @property
    def _bore(self) -> float:
        return shank(self.thread).major + ROOT_LESS

    @property
    def hexagon(self) -> tuple[float, float]:
        """Height and width across the flats, mm."""
        own = NUTS[self.thread]
        return float(self.height or own.height), float(self.across or own.across)

    def box(self) -> Box:
        height, across = self.hexagon
        x, y = across / math.sqrt(3), across / 2
        return Box((-x, -y, 0.0), (x, y, height))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("nut", "steel"),)

    def frames(self) -> tuple[Frame, ...]:
        height, across = self.hexagon
        size = (across, across)
        return (
            Frame("a", "face", pose((0, 0, height), (0, 0, 1), (1, 0, 0)), ("nut",), size=size),
            Frame("b", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("nut",), size=size),
        )

    def patterns(self) -> tuple[HolePattern, ...]:
        """The bore as it is drawn, seen from either face."""
        hole = (Hole(0.0, 0.0, self._bore, thread=self.thread, threaded=self.hexagon[0]),)
        return tuple(HolePattern(f.name, f.pose, hole, "nut") for f in self.frames())

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        height, across = self.hexagon
        x, y = across / math.sqrt(3), across / 2
        outline = draw.polygon([(x, 0), (x / 2, y), (-x / 2, y), (-x, 0), (-x / 2, -y), (x / 2, -y)])
        return {"nut": draw.slab(outline, [draw.circle(0, 0, self._bore)], height)}
