"""Openings of a case panel: rows of fan patterns with their slots and air holes, and every cut as a rectangle.

Owns where an opening lies on its face and what it cuts there. Face coordinates are two case axes: x and y on floor and
roof, y and z on front and rear, x and z on tray and open side. Leaves drawing to `case_panels`, and what is wrong
between the cuts of a face to `case_faults`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pydantic import BaseModel, ConfigDict, model_validator

from elbowroom.parts.fan.fan import HOLE_PITCH
from elbowroom.parts.vocabulary.base import Hole, dim
from elbowroom.parts.vocabulary.board_standard import PRACTICE
from elbowroom.parts.vocabulary.measure import Mm

Face = Literal["floor", "roof", "front", "rear", "tray", "open"]
Axis = Literal["x", "y", "z"]

FACE_AXES: dict[str, tuple[Axis, Axis]] = {
    "floor": ("x", "y"), "roof": ("x", "y"), "front": ("y", "z"), "rear": ("y", "z"), "tray": ("x", "z"),
    "open": ("x", "z"),
}  # fmt: skip
# Wall at the low and at the high end of each case axis.
AXIS_WALLS: dict[str, tuple[Face, Face]] = {"x": ("rear", "front"), "y": ("open", "tray"), "z": ("floor", "roof")}

FACES: tuple[Face, ...] = ("floor", "roof", "front", "rear", "tray", "open")
BEHIND: Literal["behind"] = "behind"  # measured from the tray's far side, away from it: for what stands behind the tray
Wall = Face | Literal["behind"]

LEAST_WEB = 1.0  # mm of sheet left between two cuts and at a face's edge: less is not a panel; common practice (P)
WINDOW_MARGIN = 4.0  # mm of sheet between a full air window and the screw slots; common practice (P)
WINDOW_END = 6.0  # mm between a full air window and the ends of the row of fans; common practice (P)
BORE_WALL = 2.0  # mm: a round air hole is the fan's edge less this each side, as in the fan's own frame (P)
# What the cuts of a rear panel are called; their own names are in frames and finding ids.
_CALLED = (
    ("rear-slot-", "expansion slot opening "), ("upright-slot-", "vertical slot opening "),
    ("bracket slit", "the gap for the screw tabs of the card brackets"),
    ("upright slit", "the gap for the screw tabs of vertical cards' brackets"),
    ("psu cut-out", "power supply cut-out"),
)  # fmt: skip
EXACT = 1e-6  # mm: sums of decimal dimensions agree to this; smaller differences are rounding, not geometry


class Spec(BaseModel):
    """A nested group of fields: frozen, and closed to unknown names."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)


def cut_called(name: str) -> str:
    """A cut as a builder calls it."""
    return next((said + name[len(own) :] for own, said in _CALLED if name.startswith(own)), name)


class Spread(tuple[float, float]):
    """Size of a face's inside along its two axes, mm. What runs along y goes on behind the tray: from `behind` to
    `back`, y of the tray's far side and of the back side's inside."""

    behind: float
    back: float

    def __new__(cls, u: float, v: float, behind: float, back: float) -> Spread:
        made = super().__new__(cls, (u, v))
        made.behind, made.back = behind, back
        return made


def walls_along(axis: str) -> tuple[Wall, ...]:
    """The walls that a distance along a case axis may be measured from."""
    return (*AXIS_WALLS[axis], BEHIND) if axis == "y" else AXIS_WALLS[axis]


def distances_from(given: Mapping[Wall, Mm], axis: str) -> int:
    """How many of the distances given lie along a case axis."""
    return sum(w in given for w in walls_along(axis))


def coordinate(given: Mapping[Wall, Mm], axis: str, length: float, size: Spread, across: float = 0.0) -> float:
    """Along a case axis of that inner length: the middle of something `across` wide whose nearer edge is at the
    distance given."""
    low, high = AXIS_WALLS[axis]
    if low in given:
        return float(given[low]) + across / 2
    if high in given:
        return length - float(given[high]) - across / 2
    return size.behind + float(given[BEHIND]) + across / 2


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle in a face's coordinates, mm."""

    u0: float
    v0: float
    u1: float
    v1: float

    def overlap(self, other: Rect, apart: float = 0.0) -> float:
        """mm by which two rectangles must move to be `apart`; 0 or less where they already are."""
        du = min(self.u1, other.u1) - max(self.u0, other.u0)
        dv = min(self.v1, other.v1) - max(self.v0, other.v0)
        return min(du, dv) + apart

    def joined(self, other: Rect) -> Rect:
        return Rect(min(self.u0, other.u0), min(self.v0, other.v0), max(self.u1, other.u1), max(self.v1, other.v1))

    def sticks_out(self, size: Spread, face: str, margin: float = 0.0) -> list[tuple[str, float]]:
        """(wall, mm) of every wall this rectangle comes nearer to than `margin`, on a face of that size.

        A rectangle whose middle lies behind the tray is held against the room there.
        """
        out: list[tuple[str, float]] = []
        for axis, lo, hi, length in zip(FACE_AXES[face], (self.u0, self.v0), (self.u1, self.v1), size, strict=True):
            (low, high), start, end = AXIS_WALLS[axis], 0.0, length
            if axis == "y" and (lo + hi) / 2 > (length + size.behind) / 2:
                low, high, start, end = "tray", "back side", size.behind, size.back  # type: ignore[assignment]
            out += [(w, by) for w, by in ((low, margin + start - lo), (high, hi - (end - margin))) if by > EXACT]
        return out


@dataclass(frozen=True, slots=True)
class Cut:
    """One hole through a panel, in face coordinates: a slot (its length between end centres along u or v), a circle
    (length 0), or a rectangle."""

    u: float
    v: float
    kind: Literal["slot", "rectangle"]
    width: float  # slot: across it; rectangle: along u
    length: float = 0.0  # slot: between end centres; rectangle: along v
    along_v: bool = False
    radius: float = 0.0

    @property
    def rect(self) -> Rect:
        if self.kind == "rectangle":
            a, b = self.width / 2, self.length / 2
        else:
            a, b = (self.width + self.length) / 2, self.width / 2
            if self.along_v:
                a, b = b, a
        return Rect(self.u - a, self.v - b, self.u + a, self.v + b)


class Opening(Spec):
    """A place where fans, or a radiator behind them, can be screwed to a panel: a row of fan patterns."""

    face: Face = dim(..., "Panel the opening is in", source="stated", mark="P")
    size: Mm = dim(Mm(120), "Fan size (edge of the fan's frame)", source=PRACTICE, mark="P", ge=30, le=230)
    count: int = dim(1, "Fans in the row", source=PRACTICE, mark="P", ge=1, le=8)
    gap: Mm | None = dim(
        None, "Gap between adjacent hole patterns; none: frames touch", source=PRACTICE, mark="P", ge=0, le=120
    )
    pitch: Mm | None = dim(
        None, "Hole pitch of one fan; none: the size's own", source="fan hole pitches as drawn", mark="C", ge=20, le=220
    )
    slot: Mm = dim(Mm(0), "Slot length between end centres; 0: round holes", source=PRACTICE, mark="P", ge=0, le=80)
    slot_width: Mm = dim(Mm(4.5), "Width of slots and holes", source=PRACTICE, mark="P", ge=2, le=12)
    centre: dict[Wall, Mm] = dim(
        ..., "Distance of the row's centre from two walls lying across the face; behind: from the tray's far side",
        source="stated", mark="P",
    )  # fmt: skip
    along: Axis | None = dim(
        None, "Case axis the row runs along; none: z on front and rear, else x", source=PRACTICE, mark="P"
    )
    air: Literal["round", "full", "mesh"] = dim(
        "round", "Air hole: a bore a fan, one window, or one window closed by mesh", source=PRACTICE, mark="P"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Opening:
        axes = FACE_AXES[self.face]
        if self.along is not None and self.along not in axes:
            raise ValueError(f"a row on the {self.face} runs along {axes[0]} or {axes[1]}, not {self.along}")
        for axis in axes:
            if distances_from(self.centre, axis) != 1:
                low, high = AXIS_WALLS[axis]
                raise ValueError(f"centre on the {self.face} needs one distance from {low} or {high}")
        if len(self.centre) != 2:
            raise ValueError(f"centre on the {self.face} takes two distances, got {', '.join(self.centre)}")
        if self.pitch is None and float(self.size) not in HOLE_PITCH:
            known = ", ".join(str(s) for s in HOLE_PITCH)
            raise ValueError(f"no hole pitch known for a {self.size} mm fan; give pitch, or a size of {known}")
        return self

    def faults(self) -> list[tuple[str, float]]:
        """What is wrong with the opening by itself, and by how many mm."""
        out = []
        by = self.hole_pitch + self.slot_width + 2 * LEAST_WEB - self.size
        if by > EXACT:
            out.append((f"hole pitch {self.hole_pitch:g} does not fit a {self.size} mm fan", by))
        if self.count > 1 and self.fan_pitch < self.size - EXACT:
            by = self.size - self.fan_pitch
            out.append((f"gap {self.gap} makes the fans overlap by {by:.2f} mm", by))
        # Screw slots must leave sheet between them and the air hole.
        p, w = self.hole_pitch / 2, self.slot_width / 2
        if self.air == "round":
            reach = math.hypot(max(0.0, p - self.slot / 2), p) - w - self.bore / 2
        else:
            reach = p - w - self.window[1] / 2
            if (short := 2 * LEAST_WEB - min(self._window)) > EXACT:
                out.append((f"no room for an air window between the screw holes of a {self.size} mm fan", short))
        if reach < LEAST_WEB - EXACT:
            by = LEAST_WEB - reach
            out.append((f"screw slots run into the air hole by {by:.2f} mm (web {LEAST_WEB:g} mm)", by))
        return out

    @property
    def axis(self) -> Axis:
        """Case axis the row runs along."""
        return self.along or ("z" if self.face in ("front", "rear") else "x")

    @property
    def hole_pitch(self) -> float:
        return float(self.pitch) if self.pitch is not None else HOLE_PITCH[int(self.size)]

    @property
    def fan_pitch(self) -> float:
        """Distance between the centres of adjacent fans, mm: hole pitch plus gap."""
        return float(self.size) if self.gap is None else self.hole_pitch + self.gap

    @property
    def row(self) -> tuple[float, float]:
        """Length of the row of fans and its width, mm."""
        return (self.count - 1) * self.fan_pitch + self.size, float(self.size)

    @property
    def bore(self) -> float:
        return self.size - 2 * BORE_WALL

    @property
    def _window(self) -> tuple[float, float]:
        return self.row[0] - 2 * WINDOW_END, self.hole_pitch - self.slot_width - 2 * WINDOW_MARGIN

    @property
    def window(self) -> tuple[float, float]:
        """Air window along and across the row, mm; the least that can be cut where there is no room for one."""
        a, b = self._window
        return max(a, 2 * LEAST_WEB), max(b, 2 * LEAST_WEB)

    def fans(self) -> tuple[float, ...]:
        """Fan centres along the row, from its middle, mm."""
        first = -(self.count - 1) * self.fan_pitch / 2
        return tuple(first + i * self.fan_pitch for i in range(self.count))

    def holes(self) -> tuple[Hole, ...]:
        """Screw slots in the opening's frame: x along the row."""
        p, s, w = self.hole_pitch / 2, float(self.slot), float(self.slot_width)
        return tuple(Hole(u + a, b, w, s) for u in self.fans() for b in (-p, p) for a in (-p, p))

    def middle(self, size: Spread) -> tuple[float, float]:
        """Centre in face coordinates, on a face of that size."""
        u, v = (coordinate(self.centre, a, n, size) for a, n in zip(FACE_AXES[self.face], size, strict=True))
        return u, v

    def cuts(self, size: Spread) -> list[Cut]:
        """Every hole the opening makes, in face coordinates; slots of adjacent fans that would meet are one slot."""
        mu, mv = self.middle(size)
        upright = self.axis == FACE_AXES[self.face][1]

        def at(along: float, across: float) -> tuple[float, float]:
            return (mu + across, mv + along) if upright else (mu + along, mv + across)

        p, w = self.hole_pitch / 2, float(self.slot_width)
        spans: list[list[float]] = []
        for c in sorted(u + a for u in self.fans() for a in (-p, p)):
            lo, hi = c - self.slot / 2, c + self.slot / 2
            if spans and lo - spans[-1][1] < w + LEAST_WEB:
                spans[-1][1] = hi
            else:
                spans.append([lo, hi])
        out = [
            Cut(*at((lo + hi) / 2, across), "slot", w, hi - lo, along_v=upright)
            for lo, hi in spans
            for across in (-p, p)
        ]
        if self.air == "round":
            return out + [Cut(*at(u, 0.0), "slot", self.bore) for u in self.fans()]
        return [*out, self.window_cut(size)]

    def window_cut(self, size: Spread) -> Cut:
        """The air window, in face coordinates."""
        a, b = self.window if self.axis == FACE_AXES[self.face][0] else self.window[::-1]
        return Cut(*self.middle(size), "rectangle", a, b, radius=3.0)

    def footprint(self, size: Spread) -> Rect:
        """The row of fans as a rectangle in face coordinates."""
        mu, mv = self.middle(size)
        a, b = self.row if self.axis == FACE_AXES[self.face][0] else self.row[::-1]
        return Rect(mu - a / 2, mv - b / 2, mu + a / 2, mv + b / 2)

    def cut_extent(self, size: Spread) -> Rect:
        """The rectangle round everything the opening cuts."""
        rects = [c.rect for c in self.cuts(size)]
        whole = rects[0]
        for r in rects[1:]:
            whole = whole.joined(r)
        return whole
