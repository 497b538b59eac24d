"""What a distribution plate is told piece by piece: its ports, its mounting holes, its pump bay.

Owns these fields and where the bay's screws stand. Leaves how they fit the plate and each other to
`water.plate`.
"""

from __future__ import annotations

import math
from typing import Literal

from pydantic import BaseModel, ConfigDict

from elbowroom.parts.vocabulary.base import dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.ports import Port
from elbowroom.parts.vocabulary.threads import ThreadName
from elbowroom.parts.water.channels import Point2

_PRACTICE = "common practice, no source"
_USER = "stated by the build"

PlateFace = Literal["front", "back", "left", "right", "top", "bottom"]


class PlatePort(Port):
    """A port on one face. `at` is (x, y) on front and back, (y, z) on left and right, (x, z) on top and bottom; x and y
    count from the plate's centre, z from its back face."""

    face: PlateFace = dim("front", "Face the port opens on", source=_PRACTICE, mark="P")
    at: tuple[Mm, Mm] = dim(..., "Where on its face the axis stands", source=_USER, mark="V")


class _Stated(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)


class PlateHole(_Stated):
    """A mounting hole through the plate."""

    at: tuple[Mm, Mm] = dim(..., "Centre (x, y) from the plate's centre", source=_USER, mark="V")
    diameter: Mm = dim(Mm(4.5), "Diameter", source=_PRACTICE, mark="P", ge=1, le=30)


class PumpBay(_Stated):
    """A round recess that a pump closes."""

    at: tuple[Mm, Mm] = dim((Mm(0), Mm(0)), "Centre (x, y) from the plate's centre", source=_USER, mark="V")
    face: Literal["front", "back"] = dim("back", "Face it opens on", source=_PRACTICE, mark="P")
    diameter: Mm = dim(Mm(62), "Diameter", source=_PRACTICE, mark="P", ge=10, le=150)
    depth: Mm = dim(Mm(8), "Depth", source=_PRACTICE, mark="P", ge=1, le=60)
    bolt_circle: Mm | None = dim(
        None, "Diameter of the circle of screws around it; left out: none", source=_PRACTICE, mark="P", ge=12, le=200
    )
    bolts: int = dim(4, "Number of screws, the first at 45 degrees", source=_PRACTICE, mark="P", ge=2, le=12)
    thread: ThreadName = dim("M4", "Thread of the screws", source=_PRACTICE, mark="P")
    thread_depth: Mm = dim(Mm(8), "Depth of the screws' holes", source=_PRACTICE, mark="P", ge=2, le=40)

    @property
    def screws(self) -> tuple[Point2, ...]:
        """Screw centres from the middle of the bay, in the plate's x and y."""
        if self.bolt_circle is None:
            return ()
        angles = (math.pi / 4 + 2 * math.pi * i / self.bolts for i in range(self.bolts))
        return tuple((self.bolt_circle / 2 * math.cos(a), self.bolt_circle / 2 * math.sin(a)) for a in angles)
