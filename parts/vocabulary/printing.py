"""Parts one prints or cuts: what they are made of, how much wider their holes are drawn, and the rules of printing.

Owns the fields and the methods that all such families share, and the least wall, hole and pin. Leaves the shapes to the
families, their holes to `vocabulary.webs`, and the printer itself (bed, layer, nozzle) to `elbowroom.model`.
Walls and holes are judged by their nominal sizes: a hole that is drawn wider because the printer makes it narrower ends
up with the wall it was given.
"""

from __future__ import annotations

from typing import Literal, Self

from elbowroom.parts.vocabulary.base import Part, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose

PRACTICE = "common practice, no source"
PRINT_WALL = 1.2  # mm, least wall: three lines of a 0.4 nozzle; V, guides of printing services
LEAST_HOLE = 2.0  # mm, least hole that prints open; V, guides of printing services
LEAST_PIN = 3.0  # mm, least diameter of a pin that stands; V, guides of printing services
BRIDGE = 10.0  # mm, longest ceiling printed over air without remark; sources disagree (5, 25, 60), choice P
WIDEST = 1.0  # mm, most a hole may be drawn wider: two of them still leave a wall of PRINT_WALL 0.2 thick

Made = Literal["printed", "plastic", "acrylic", "aluminium", "brass", "steel"]


class MadePart(Part):
    """A part one makes. Printed, it has a pose to be printed in, and holes that can be drawn wider."""

    material: Made = dim("printed", "What it is made of", source=PRACTICE, mark="P")
    hole_allowance: Mm = dim(
        Mm(0), "Added to the width of every hole, pocket and slot, for a printer that prints them narrow",
        source="compensation is a printer's own, none by default", mark="P", ge=-0.5, le=WIDEST,
    )  # fmt: skip

    def print_pose(self) -> Pose | None:
        return self._lying() if self.material == "printed" else None

    def _lying(self) -> Pose:
        """The pose it is printed in; here as it stands, resting on z = 0."""
        return IDENTITY

    def compensated(self, wider: float) -> Self:
        """The part with its holes, pockets and slots `wider` mm wider; a part that is not printed stays as it is.

        ValueError where they would be more than 1 mm wider, or 0.5 mm narrower, than stated.
        """
        if self.material != "printed":
            return self
        fields = {name: getattr(self, name) for name in type(self).model_fields}
        return type(self)(**{**fields, "hole_allowance": Mm(self.hole_allowance + wider)})

    def _wide(self, width: float) -> float:
        """The width a hole, pocket or slot is drawn with, mm."""
        return width + self.hole_allowance


def refuse_thin(what: str, wall: float, least: float = PRINT_WALL) -> None:
    """ValueError where a wall is thinner than `least` mm, saying by how much."""
    if wall < least - TOUCH:
        raise ValueError(f"{what} is {wall:.2f} mm: {least - wall:.2f} mm short of the least wall, {least:g}")


def refuse_small(what: str, width: float) -> None:
    """ValueError where a hole or slot is too small to print open."""
    if width < LEAST_HOLE - TOUCH:
        short = LEAST_HOLE - width
        raise ValueError(f"{what} is {width:g} wide: {short:.2f} mm less than prints open ({LEAST_HOLE:g})")
