"""A memory module: board with its key notch, bare with its chips or under a heat spreader.

Owns the module's fields and its lower edge, which stands on the floor of a board socket's groove. Leaves the socket to
`motherboard`. Coordinates: origin at the middle of the lower edge; x along the module, y through it, z up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from pydantic import model_validator

from elbowroom.parts.vocabulary.base import Body, Box, Frame, Part, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import pose

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"
_KEY = (3.0, 5.5, 4.5)  # mm: key notch from and to along x, and its depth; from memory (M)
_CHIP = (8.0, 11.0, 1.1)  # mm: a memory chip's width, height, thickness; from memory (M)
_CHIPS, _CHIP_Z = 8, 12.0  # chips on each bare side, and their lower edge above the module's, mm; from memory (M)
_BEVEL = 1.0  # mm: bevel along the top of a heat spreader; common practice (P)


class Memory(Part):
    """A memory module."""

    family: ClassVar[str] = "memory"
    seat: ClassVar[str | None] = "edge"

    length: Mm = dim(Mm(133.35), "Length", source="JEDEC MO-309", mark="M", ge=60, le=170)
    board_height: Mm = dim(Mm(31.25), "Height of the bare module", source="JEDEC MO-309", mark="M", ge=15, le=60)
    thickness: Mm = dim(Mm(1.4), "Thickness of its board", source="JEDEC MO-309", mark="M", ge=0.8, le=1.6)
    height: Mm | None = dim(
        None, "Top of the heat spreader above the lower edge; none: a bare module", source=_PRACTICE, mark="P",
        ge=16, le=80,
    )  # fmt: skip
    spreader: Mm = dim(Mm(7.2), "Thickness over the heat spreader", source=_PRACTICE, mark="P", ge=2.5, le=20)
    spreader_from: Mm = dim(
        Mm(8), "Lower edge of the heat spreader above the module's", source=_PRACTICE, mark="P", ge=4, le=30
    )

    @model_validator(mode="after")
    def _consistent(self) -> Memory:
        if self.height is not None:
            if self.height < self.board_height + 0.5:
                raise ValueError(
                    f"a heat spreader of height {self.height} does not cover the module ({self.board_height} + 0.5); "
                    "leave height out for a bare module"
                )
            if self.spreader < self.thickness + 1:
                raise ValueError(f"a heat spreader {self.spreader} thick leaves no metal beside {self.thickness}")
            if self.spreader_from > self.board_height - 5:
                raise ValueError(f"spreader_from {self.spreader_from} leaves no spreader on {self.board_height}")
        elif self.board_height < _CHIP_Z + _CHIP[1] or self.length < _CHIPS * (_CHIP[0] + 1):
            raise ValueError(f"a bare module of {self.length} x {self.board_height} has no room for its chips")
        return self

    @property
    def overall(self) -> float:
        """Thickness over everything, mm."""
        return float(self.spreader) if self.height is not None else self.thickness + 2 * _CHIP[2]

    def box(self) -> Box:
        a, b = self.length / 2, self.overall / 2
        return Box((-a, -b, 0.0), (a, b, float(self.board_height if self.height is None else self.height)))

    def bodies(self) -> tuple[Body, ...]:
        out = [Body("module", "pcb")]
        if self.height is not None:
            out.append(Body("spreader", "aluminium"))
        return tuple(out)

    def frames(self) -> tuple[Frame, ...]:
        at = pose((0, 0, 0), (0, 0, -1), (1, 0, 0))
        return (
            Frame(
                "edge",
                "socket",
                at,
                tuple(b.name for b in self.bodies()),
                size=(float(self.length), float(self.thickness)),
            ),
        )

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        a, t, h = self.length / 2, self.thickness / 2, float(self.board_height)
        k0, k1, deep = _KEY
        outline = [(-a, 0), (k0, 0), (k0, deep), (k1, deep), (k1, 0), (a, 0), (a, h), (-a, h)]
        module: Shape = draw.baked(draw.slab(draw.polygon(outline), (), 2 * t), pose((0, t, 0), (0, -1, 0), (1, 0, 0)))
        if self.height is None:
            pitch = self.length / _CHIPS
            w, high, thick = _CHIP
            xs = [-a + (i + 0.5) * pitch for i in range(_CHIPS)]
            chips = [
                draw.box((x - w / 2, y, _CHIP_Z), (x + w / 2, y + thick, _CHIP_Z + high))
                for x in xs
                for y in (t, -t - thick)
            ]
            return {"module": draw.fuse(module, *chips)}
        s, z0, top = self.spreader / 2, float(self.spreader_from), float(self.height)
        b = min(_BEVEL, (top - h) / 2, (s - t) / 2)
        shell = [(-s, z0), (-t, z0), (-t, h), (t, h), (t, z0), (s, z0), (s, top - b), (s - b, top), (b - s, top),
                 (-s, top - b)]  # fmt: skip
        spreader = draw.slab(draw.polygon(shell), (), 2 * a)
        return {"module": draw.one(module), "spreader": draw.baked(spreader, pose((-a, 0, 0), (1, 0, 0), (0, 1, 0)))}
