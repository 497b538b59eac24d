"""The typed build file: what may stand in it, apart from the fields of the parts themselves.

Owns the structure (case, stacks, parts, placement words, mates, gaps) as pydantic models, from which the JSON Schema
is made too. The fields of a part belong to its family and are merged in by `resolve`; what the words mean in space
belongs to `place` and `stacks`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from elbowroom.model.build.air_spec import AirSpec
from elbowroom.model.build.building_spec import BuildingSpec
from elbowroom.model.build.cut_spec import MAX_CUTS, CutSpec
from elbowroom.model.build.loop_spec import MAX_RUNS, CoolantSpec, FittingsSpec, LoopRun, Tube
from elbowroom.model.build.make_spec import MAX_ENTRIES, PrinterSpec
from elbowroom.model.build.screw_spec import ScrewsSpec
from elbowroom.model.build.template_spec import TemplatesSpec
from elbowroom.parts.vocabulary.base import NAME_PATTERN
from elbowroom.parts.vocabulary.measure import Deg, Mm

DEFAULT_GAP = 1.0  # mm: below it parts may touch once tolerances add up; common practice, no source (P)
FORMAT = 1  # version of the build file's own format
# Placed parts in one build: every two of them are one finding at least. Bound by choice, ten times a full tower; 800
# boxes in a pile take 21 s of computing time and 0.8 GB (measured), 2000 would take six times that.
MAX_PIECES = 800
MAX_NAMED = 2000  # entries of a list that names parts of the build; by choice
MAX_COUNT = 100  # copies made by one entry

LEAST_AXIS = 1e-6  # of an axis' largest number: far smaller or larger ones lose their direction in squares

Wall = Literal["rear", "front", "tray", "open", "floor", "roof"]
# Each wall: index of its axis in the case frame, and whether it is the far one.
WALLS: dict[str, tuple[int, bool]] = {
    "rear": (0, False), "front": (0, True), "tray": (1, True),
    "open": (1, False), "floor": (2, False), "roof": (2, True),
}  # fmt: skip

AXES = ("depth (rear or front)", "width (tray or open)", "height (floor or roof)")

Name = Annotated[str, Field(min_length=1, max_length=60, pattern=NAME_PATTERN)]


class _Spec(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class At(_Spec):
    """Measured distances to the part: from a named wall to its nearest point, or of its origin by case coordinate.

    Each axis is given once: depth by rear, front or x; width by tray, open, behind or y; height by floor, roof or z.
    """

    rear: Mm | None = Field(None, description="from the inside of the rear wall")
    front: Mm | None = Field(None, description="from the inside of the front wall")
    tray: Mm | None = Field(None, description="from the motherboard tray")
    open: Mm | None = Field(None, description="from the inside of the open (glass) side")
    behind: Mm | None = Field(None, description="from the tray's far side, for what stands behind the tray")
    floor: Mm | None = Field(None, description="from the inside of the floor")
    roof: Mm | None = Field(None, description="from the inside of the roof")
    x: Mm | None = Field(None, description="case coordinate of the part's origin, forward of the rear wall")
    y: Mm | None = Field(None, description="case coordinate of the part's origin, from the open side")
    z: Mm | None = Field(None, description="case coordinate of the part's origin, above the floor")
    of: str | None = Field(None, description="measure to the origin of this frame of the part instead")

    def axis(self, index: int) -> list[str]:
        """The keys given for one axis (0 depth, 1 width, 2 height)."""
        keys = (("rear", "front", "x"), ("tray", "open", "behind", "y"), ("floor", "roof", "z"))[index]
        return [k for k in keys if getattr(self, k) is not None]

    def faults(self, axes: Iterable[int] = range(3)) -> list[tuple[tuple[str, ...], str]]:
        """Axes that are not given, or given twice: the key at fault (none for a missing one) and what is wrong."""
        found: list[tuple[tuple[str, ...], str]] = []
        for i in axes:
            keys = self.axis(i)
            if not keys:
                found.append(((), f"the {AXES[i]} is not given"))
            elif len(keys) > 1:
                found.append(((keys[1],), f"the {AXES[i]} is given twice: by {' and '.join(keys)}"))
        return found


class Turn(_Spec):
    """One turn, degrees by the right-hand rule: about a case axis, or about any `axis` given as a direction."""

    x: Deg | None = None
    y: Deg | None = None
    z: Deg | None = None
    axis: tuple[float, float, float] | None = None
    by: Deg | None = None

    @model_validator(mode="after")
    def _one(self) -> Turn:
        about_case = [k for k in "xyz" if getattr(self, k) is not None]
        if len(about_case) + (self.axis is not None) != 1 or (self.axis is None) != (self.by is None):
            raise ValueError(
                "one turn says one of x, y, z, or an axis and by how many degrees: {axis: [1, 0, 1], by: 30}"
            )
        if self.axis is not None and not any(self.axis):
            raise ValueError("the axis of a turn cannot be zero")
        if self.axis is not None and not LEAST_AXIS <= max(map(abs, self.axis)) <= 1 / LEAST_AXIS:
            raise ValueError(
                f"the axis of a turn is a direction such as [1, 0, 1]: its largest number must be {LEAST_AXIS:g} to "
                f"{1 / LEAST_AXIS:g}"
            )
        return self


class Placement(_Spec):
    """How one part gets its place: brought together with a frame (`on`), or by measured distances (`at`)."""

    at: At | None = Field(None, description="measured distances from named walls")
    on: str | list[str] | None = Field(
        None, description="frame or frames it is brought to, piece.frame; * stands for any run of characters"
    )
    by: str | None = Field(None, description="the part's own frame that meets it; the family's seat where left out")
    turn: list[Turn] = Field(default_factory=list, description="turns about case axes, in order; only with at")
    clock: Deg = Field(Deg(0), description="turn about the axis of the frame it is on, degrees")
    flip: bool = Field(False, description="turned over: the two frames look the same way instead of at each other")
    offset: tuple[Mm, Mm] = Field((Mm(0), Mm(0)), description="slide along the target frame's x and y, mm")
    lift: Mm = Field(Mm(0), description="mm off the target frame along its axis; a lifted part claims no contact")
    contact: bool = Field(True, description="whether the two frames' faces are meant to meet")
    outside: bool = Field(False, description="meant to stand outside the case")

    @field_validator("turn", mode="before", json_schema_input_type=Turn | list[Turn])
    @classmethod
    def _one_or_more(cls, value: Any) -> Any:
        return [value] if isinstance(value, dict) else value


class Layering(_Spec):
    """How one layer of a stack lies: how many side by side, which way, and where along the row."""

    count: int | None = Field(None, ge=1, le=MAX_COUNT, description="how many side by side; fans: as many as the row")
    name: Name | None = Field(None, description="the piece's name; numbered where there are several")
    slide: Mm = Field(Mm(0), description="along the row, mm, from the middle")
    aside: Mm = Field(Mm(0), description="across the row, mm, from the middle")
    clock: Deg | None = Field(None, description="turn about the stack's axis, degrees")
    flip: bool = Field(False, description="turned over: its other face toward the panel")
    flow: Literal["in", "out"] | None = Field(
        None, description="air into or out of the case, where the stack's differs"
    )
    cable_to: list[Wall] | None = Field(None, description="the corner a fan's cable leaves toward: two walls")
    ports_to: Wall | None = Field(None, description="the wall a radiator's port end points to")

    @field_validator("cable_to", mode="before", json_schema_input_type=str | list[Wall] | None)
    @classmethod
    def _words(cls, value: Any) -> Any:
        return value.split() if isinstance(value, str) else value


class Stack(_Spec):
    """Layers screwed to one opening, from the panel inward, and those outside it, from the panel outward."""

    opening: str | None = Field(None, description="the case opening; the one of the stack's own name where left out")
    flow: Literal["in", "out"] | None = Field(None, description="air into or out of the case")
    layers: list[Any] = Field(default_factory=list, max_length=MAX_COUNT)
    outside: list[Any] = Field(default_factory=list, max_length=MAX_COUNT)


class Between(_Spec):
    families: tuple[str, str]
    gap: Mm = Field(ge=0)


class GapsSpec(_Spec):
    """Wanted gaps; the largest that applies to a pair wins."""

    default: Mm = Field(Mm(DEFAULT_GAP), ge=0, le=100, description="for every pair, mm")
    between: list[Between] = Field(default_factory=list, max_length=MAX_COUNT, description="for pairs of families")
    parts: dict[str, Mm] = Field(
        default_factory=dict, max_length=MAX_NAMED, description="for one part against all others, mm"
    )


class BuildSpec(_Spec):
    """One build file."""

    format: Literal[1] = Field(1, description="version of this file format")
    title: str = Field(min_length=1, max_length=120, description="what the build is called")
    note: str | None = Field(None, max_length=4000, description="anything worth keeping with the build")
    case: dict[str, Any] | None = Field(None, description="fields of the case, or {like: catalogue name, ...}")
    stacks: dict[Name, Stack] = Field(
        default_factory=dict, max_length=MAX_COUNT, description="what is screwed to the case's openings"
    )
    parts: dict[Name, Any] = Field(default_factory=dict, max_length=MAX_PIECES, description="everything else, by name")
    mates: list[tuple[str, str]] = Field(
        default_factory=list, max_length=MAX_NAMED, description="further pairs of frames whose faces are meant to meet"
    )
    gaps: GapsSpec = GapsSpec()
    loop: list[LoopRun] = Field(default_factory=list, max_length=MAX_RUNS, description="the coolant's way, run by run")
    tube: Tube | None = Field(None, description="the tube of every run: a stock's name, or its own sizes")
    fittings: FittingsSpec = FittingsSpec()
    coolant: CoolantSpec = CoolantSpec()
    air: AirSpec = AirSpec()
    cut: list[CutSpec] = Field(default_factory=list, max_length=MAX_CUTS, description="sheets cut to clear other parts")
    screws: ScrewsSpec = ScrewsSpec()
    templates: TemplatesSpec = TemplatesSpec()
    building: BuildingSpec = BuildingSpec()
    make: list[Any] = Field(default_factory=list, max_length=MAX_ENTRIES, description="parts to print, beside the rest")
    printer: PrinterSpec = PrinterSpec()
