"""Runs of tube: a round tube along a centre line of straights and bends, from one fitting's mouth to another's.

Owns the run's fields, its frames and its drawing. Leaves bend arithmetic to `bends`, which tube bends how tightly to
`tube_stock`, and finding a way for a run to `elbowroom.model`, which also judges a radius under the tube's least.

Points are in part coordinates, which a build keeps the same as the case's. The first and the last point lie on the
fittings' mouths; the tube goes on past them, straight, by the inserted lengths.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Annotated, ClassVar

from pydantic import Field, model_validator

from elbowroom.parts.tube.tube_stock import TubeKind
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Material, Part, dim
from elbowroom.parts.vocabulary.bends import Arc, Run, bend_run, volume_ml
from elbowroom.parts.vocabulary.centre_line import self_gap, tube_box
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import pose

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"
_DRAWN = "drawn by the build or planned"
# A sweep whose bend is as tight as the tube's own radius has a sharp inner edge; this much more keeps a face there.
INNER_EDGE = 0.1  # mm
FARTHEST = 10_000.0  # mm from the origin that a corner may lie: ten times any case
STEP_MM = 1.0  # mm between the points a run is tested on for meeting itself: overstates a gap by 1/(4 od) at most

_MATERIAL: dict[TubeKind, Material] = {"soft": "rubber", "petg": "acrylic", "acrylic": "acrylic", "copper": "copper"}
Corner = tuple[Mm, Mm, Mm]
Radius = Annotated[Mm, Field(ge=1, le=1000)]


class TubeRun(Part):
    """A run of tube. Its sizes are the tube that is sold, named under `tube` in a build."""

    family: ClassVar[str] = "tube"
    led: ClassVar[bool] = True
    seat: ClassVar[str | None] = "start"

    kind: TubeKind = dim("petg", "Kind of tube", source=_PRACTICE, mark="P")
    points: tuple[Corner, ...] = dim(
        ((Mm(0), Mm(0), Mm(0)), (Mm(100), Mm(0), Mm(0)), (Mm(100), Mm(150), Mm(0))),
        "First end, the corners of the centre line, last end", source=_DRAWN, mark="V", min_length=2, max_length=64,
    )  # fmt: skip
    radius: Radius | tuple[Radius, ...] = dim(
        Mm(28), "Centre-line radius of all bends, or of each corner in turn", source=_PRACTICE, mark="P"
    )
    od: Mm = dim(Mm(14), "Outer diameter", source=_PRACTICE, mark="P", ge=3, le=60)
    id: Mm = dim(Mm(10), "Inner diameter", source=_PRACTICE, mark="P", ge=1, le=58)
    insertion_start: Mm = dim(Mm(0), "Length inside the first fitting", source=_PRACTICE, mark="P", ge=0, le=60)
    insertion_end: Mm = dim(Mm(0), "Length inside the last fitting", source=_PRACTICE, mark="P", ge=0, le=60)

    @model_validator(mode="after")
    def _consistent(self) -> TubeRun:
        if self.id > self.od - 1.0:
            raise ValueError(
                f"id {self.id:g} leaves a wall of {(self.od - self.id) / 2:g} in od {self.od:g}; 0.5 needed"
            )
        if any(abs(c) > FARTHEST for p in self.points for c in p):
            raise ValueError(f"a corner lies more than {FARTHEST / 1000:g} m from the origin")
        run = self.run
        for i, b in enumerate(run.bends, 1):
            if b.radius < self.od / 2 + INNER_EDGE:
                short = self.od / 2 + INNER_EDGE - b.radius
                raise ValueError(f"bend {i}: radius {b.radius:g} is {short:.2f} mm under half the tube's diameter")
        gap = self_gap(run, max(STEP_MM, run.cut_length / 1500))
        if gap < self.od:
            raise ValueError(
                f"the run meets itself: its centre lines come within {gap:.2f} mm, {self.od - gap:.2f} short"
            )
        return self

    @cached_property
    def run(self) -> Run:
        """The bent centre line: straights, bends from the cut end, cut length. Rotations as `bends` defines them."""
        # A measured ± belongs to the fields, not to the arithmetic: the run is made of plain numbers.
        points = [tuple(float(c) for c in p) for p in self.points]
        radius = [float(r) for r in self.radius] if isinstance(self.radius, tuple) else float(self.radius)
        return bend_run(points, radius, insertion=(float(self.insertion_start), float(self.insertion_end)))

    @property
    def cut_length(self) -> float:
        """Length of straight tube to cut, mm: along the centre line, both insertions included."""
        return self.run.cut_length

    def tube_size(self) -> tuple[float, float]:
        """Outer and inner diameter, mm."""
        return (float(self.od), float(self.id))

    def box(self) -> Box:
        return tube_box(self.run, float(self.od))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("tube", _MATERIAL[self.kind]),)

    def frames(self) -> tuple[Frame, ...]:
        """The mouths, z along the tube and out of it; the tube itself goes on past each by the inserted length."""
        size, run = (float(self.od),) * 2, self.run
        back = tuple(-c for c in run.direction_start)
        return (
            Frame("start", "exit", pose(run.points[0], back), ("tube",), size=size),
            Frame("end", "exit", pose(run.points[-1], run.direction_end), ("tube",), size=size),
        )

    def coolant_ml(self) -> float | None:
        """What the tube holds over its whole cut length, ml; a stem inside its end is not taken off."""
        return volume_ml(float(self.id), self.cut_length)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        path = draw.smooth_path(
            (p.start, p.middle, p.end) if isinstance(p, Arc) else (p.start, p.end) for p in self.run.whole
        )
        return {"tube": draw.hose(path, float(self.od), float(self.id))}
