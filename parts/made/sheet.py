"""The plain sheet: panels, brackets' flats, shelves - a rectangle with holes, ports and whatever is cut out of it.

Owns how cutouts go with what is bored in its faces. Its faces are named as in `primitives`; what cutouts are, and what
they leave, is `cutouts`' work.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar

from pydantic import model_validator

from elbowroom.parts.made.primitives import EPS, PASS, WALL, Flat, Plain, block_flats
from elbowroom.parts.vocabulary.base import Box, Material, dim
from elbowroom.parts.vocabulary.contour import runs
from elbowroom.parts.vocabulary.cutouts import Cutout, contour_of, remaining, short_of
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import apply

if TYPE_CHECKING:
    from cadquery import Solid

_USER = "stated by the build"
_PRACTICE = "common practice, no source"


class PlainSheet(Plain):
    """A flat sheet: length along x, width along y, its underside in z = 0 and its top at the thickness.

    What `cutouts` take from it goes through the whole thickness; the names of its faces stay those of the blank.
    """

    family: ClassVar[str] = "sheet"

    material: Material = dim("aluminium", "What it is made of", source=_PRACTICE, mark="P")
    length: Mm = dim(Mm(200), "Length along x", source=_PRACTICE, mark="P", gt=0.1, le=2000)
    width: Mm = dim(Mm(100), "Width along y", source=_PRACTICE, mark="P", gt=0.1, le=2000)
    thickness: Mm = dim(Mm(2), "Thickness", source=_PRACTICE, mark="P", gt=0.05, le=50)
    cutouts: tuple[Cutout, ...] = dim(
        (), "Outlines cut right through, in x and y from its middle; over an edge: a notch",
        source=_USER, mark="V", max_length=64,
    )  # fmt: skip

    def left(self) -> Any:
        """What the cutouts leave of the outline, its holes aside: a shapely polygon in the sheet's x and y."""
        return remaining(self.length, self.width, tuple(contour_of(c) for c in self.cutouts))

    def box(self) -> Box:
        x, y = self.length / 2, self.width / 2
        x0, y0, x1, y1 = self.left().bounds if self.cutouts else (-x, -y, x, y)
        return Box((x0, y0, 0.0), (x1, y1, float(self.thickness)))

    @model_validator(mode="after")
    def _cut_soundly(self) -> PlainSheet:
        if self.cutouts:
            flats, left = self.flats(), self.left()
            for what, face, radius, ends, depth in self.bored():
                flat = flats[face]
                seen = apply(flat.pose, [(x, y, z) for x, y in ends for z in (0, -(depth or flat.depth))])
                short = short_of(left, (float(self.length), float(self.width)), seen[:, :2].tolist(), radius + WALL)
                if short > EPS:
                    raise ValueError(f"{what} in face '{face}' comes {short:.2f} mm too close to a cutout")
        return self

    def flats(self) -> MappingProxyType[str, Flat]:
        return block_flats(float(self.length), float(self.width), float(self.thickness))

    def _face_drawn(self) -> str | None:
        return "top"

    def _blank(self) -> Solid:
        from elbowroom.parts.vocabulary import draw

        whole = self._slab(self.flats()["top"])
        outlines = [draw.outline(runs(contour_of(c)), -PASS) for c in self.cutouts]
        return draw.cut(whole, *(draw.slab(o, (), self.thickness + 2 * PASS) for o in outlines))
