"""The nouns a part is declared in: evidence marks, fields, boxes, bodies, frames, holes, faults.

Owns those frozen values and no behaviour beyond looking things up. What a part must answer is `base`'s contract.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from pydantic import Field

from elbowroom.parts.vocabulary.pose import Pose

Mark = Literal["V", "C", "M", "P"]
MARKS: dict[str, str] = {
    "V": "read in a published document or reference data",
    "C": "transcribed from a standard by public code",
    "M": "from memory, unverified",
    "P": "common practice, no source",
}
SHORT_MARKS: dict[str, str] = {"V": "published", "C": "transcribed", "M": "memory", "P": "practice"}  # for tables
ASSUMED = frozenset("MP")  # marks whose values a finding must call assumed

NAME_PATTERN = r"^[^\W_][\w \-+]*$"  # of a piece: a letter or digit first, no dot or slash, which join names

FrameKind = Literal["face", "wall", "opening", "port", "slot", "socket", "exit", "axis"]
Material = Literal[
    "steel", "aluminium", "copper", "brass", "nickel", "acrylic", "glass", "pcb", "plastic", "rubber", "fins",
    "cable", "gasket", "mesh", "printed", "air",
]  # fmt: skip


def dim(
    default: Any,
    doc: str,
    *,
    source: str,
    mark: Mark,
    gt: float | None = None,
    ge: float | None = None,
    le: float | None = None,
    lt: float | None = None,
    **more: Any,
) -> Any:
    """A field of a part: what it means, its range, and the source and evidence mark its default rests on.

    The unit is the annotation's (`Mm`, `Deg`, `Ml` ...). `default=...` makes the field required.
    """
    return Field(
        default, description=doc, gt=gt, ge=ge, le=le, lt=lt, json_schema_extra={"source": source, "mark": mark}, **more
    )


@dataclass(frozen=True, slots=True)
class Box:
    """An axis-aligned box: `lo` and `hi` corners, mm."""

    lo: tuple[float, float, float]
    hi: tuple[float, float, float]

    @property
    def size(self) -> tuple[float, float, float]:
        return (self.hi[0] - self.lo[0], self.hi[1] - self.lo[1], self.hi[2] - self.lo[2])

    def corners(self) -> list[tuple[float, float, float]]:
        return [
            (x, y, z)
            for x in (self.lo[0], self.hi[0])
            for y in (self.lo[1], self.hi[1])
            for z in (self.lo[2], self.hi[2])
        ]


@dataclass(frozen=True, slots=True)
class Body:
    """One solid of a part, or one keep-out: a volume that must stay free.

    `keep_out` says in a few words why the volume must stay free; None for a real solid. `admits` lists families that
    may stand in it all the same (a cable in a plug's bend room).
    """

    name: str
    material: Material = "plastic"
    keep_out: str | None = None
    admits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """Where something of a part can meet something else. `pose` is in part coordinates, z out of the part.

    bodies: the part's bodies that may touch what is brought to this frame. size: footprint (x, y) about the origin, mm,
    where there is one. thread, depth, land: of a threaded port or hole (designation; mm bored inward; seal face
    diameter, mm). flow: sense of the coolant where the part has one.
    """

    name: str
    kind: FrameKind
    pose: Pose
    bodies: tuple[str, ...]
    size: tuple[float, float] | None = None
    thread: str | None = None
    depth: float | None = None
    land: float | None = None
    flow: Literal["in", "out"] | None = None


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole or slot in a pattern's plane: centre, width and, for a slot, the length between its end centres, mm.

    angle: direction of the slot from the pattern's x axis, degrees. thread: designation, None for a clearance hole.
    depth: mm a screw may go in from the face before it meets something; None for a through hole. threaded: mm of thread
    from the face; None: as deep as the hole. stop: what lies at the bottom, where a screw must not get to ("fins").
    under_head: mm of material under the head of a screw that is sunk in the hole's other end.
    """

    x: float
    y: float
    diameter: float
    slot: float = 0.0
    angle: float = 0.0
    thread: str | None = None
    depth: float | None = None
    threaded: float | None = None
    stop: str | None = None
    under_head: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class HolePattern:
    """Holes that are used together, in the plane of `pose` (z out of the part). `body` is the one they are bored in."""

    name: str
    pose: Pose
    holes: tuple[Hole, ...]
    body: str


@dataclass(frozen=True, slots=True, eq=False)
class Stud:
    """A threaded stud that stands `length` mm out of the face at `pose` (z out of the part), of one of its bodies."""

    name: str
    pose: Pose
    thread: str
    length: float
    body: str


@dataclass(frozen=True, slots=True)
class SetIn:
    """A thing that is bought and set into a part that is made: an insert, a nut in its pocket, a screw. length: of a
    screw, mm."""

    kind: Literal["insert", "nut", "screw"]
    thread: str
    length: float = 0.0


@dataclass(frozen=True, slots=True)
class Fault:
    """Something about a part alone that cannot be as its fields say, or works only so far: told as a finding.

    over: by how much, mm, where that is a number. at: where, in part coordinates. place: tells a part's faults apart.
    """

    text: str
    verdict: Literal["fail", "caution"] = "fail"
    over: float | None = None
    at: tuple[float, float, float] | None = None
    place: str = ""
    remedies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WallWindow:
    """A window in the wall a part is put on, in the coordinates of the frame it is put on by, of which x and y count.

    box: as it is cut. least: what goes through it, so that a wall that is open there needs no cut. what: its name.
    """

    box: Box
    least: Box
    what: str = "window"
