"""An angle bracket for a pump: its upright carries the pump, its foot has slots for a fan opening, or plain ones.

Owns which holes it has; flanges, stiffening and drawing are `made.bracket`'s. The face fits a pump's foot
(a square of holes) or the slots of its own bracket behind (two columns and two rows, with slots that run upward, so
that the height can be set).
"""

from __future__ import annotations

from typing import ClassVar

from elbowroom.parts.fan.fan_field import FanField
from elbowroom.parts.made.bracket import AngleBracket, clearance, row
from elbowroom.parts.vocabulary.base import Hole, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.printing import PRACTICE
from elbowroom.parts.vocabulary.threads import ThreadName


class PumpBracket(AngleBracket):
    """A bracket that stands on a fan opening, or on any panel, and carries a pump."""

    family: ClassVar[str] = "pump-bracket"

    width: Mm = dim(Mm(124), "Width of both flanges, along x", source=PRACTICE, mark="P", ge=20, le=400)
    foot: Mm = dim(Mm(40), "Length of the foot, outside", source=PRACTICE, mark="P", ge=12, le=300)
    upright: Mm = dim(Mm(134), "Height of the upright, outside", source=PRACTICE, mark="P", ge=12, le=400)
    thickness: Mm = dim(Mm(5), "Thickness of both flanges", source=PRACTICE, mark="P", ge=2, le=20)
    fan_size: Mm | None = dim(
        Mm(120), "Fan whose opening the foot stands on; none: plain slots foot_pitch apart", source=PRACTICE, mark="P",
        ge=30, le=230,
    )  # fmt: skip
    foot_thread: ThreadName = dim("M4", "Screws of the foot", source=PRACTICE, mark="P")
    foot_pitch: Mm | None = dim(
        None, "Distance between the foot's slots; left out: the hole pitch of the fan",
        source="fan hole pitches as drawn", mark="C", ge=10, le=300,
    )  # fmt: skip
    foot_rows: int = dim(
        1, "1: two slots, the opening's near holes; 2: four, all of the opening's holes", source=PRACTICE, mark="P",
        ge=1, le=2,
    )  # fmt: skip
    foot_slot: Mm = dim(
        Mm(8), "Length between a slot's end centres, square to the upright; 0: round holes", source=PRACTICE, mark="P",
        ge=0, le=100,
    )  # fmt: skip
    foot_centre: Mm | None = dim(
        None, "From the upright's outer face to the middle of the slots; left out: the middle of what is free",
        source=PRACTICE, mark="P", ge=0, le=300,
    )  # fmt: skip
    face_thread: ThreadName = dim("M4", "Screws of the pump", source=PRACTICE, mark="P")
    face_pitch: tuple[Mm, Mm] = dim(
        (Mm(105), Mm(105)), "Distance of the pump's holes, across and upward (105: slots of a pump's own bracket)",
        source=PRACTICE, mark="P",
    )  # fmt: skip
    face_slot: Mm = dim(
        Mm(0), "Length between end centres, for slots that run upward; 0: round holes", source=PRACTICE, mark="P", ge=0,
        le=100,
    )  # fmt: skip
    face_centre: Mm | None = dim(
        None, "Height of the middle of the pump's holes; left out: the middle of what is free", source=PRACTICE,
        mark="P", ge=0, le=400,
    )  # fmt: skip

    def _screws(self) -> tuple[str, str]:
        return (self.foot_thread, self.face_thread)

    def _pitch(self) -> float:
        """Distance of the foot's slots, mm."""
        if self.fan_size is not None:
            return FanField.of(1, self.fan_size, self.foot_pitch, None).hole_pitch
        if self.foot_pitch is None:
            raise ValueError("plain slots need foot_pitch; or state fan_size, the fan whose opening the foot stands on")
        return float(self.foot_pitch)

    def _holes(self) -> tuple[tuple[Hole, ...], tuple[Hole, ...]]:
        across, upward = (float(v) for v in self.face_pitch)
        if min(across, upward) <= 0:
            raise ValueError(f"face_pitch {across:g}, {upward:g} must be above 0 both ways")
        y = (self._inside + self.foot) / 2 if self.foot_centre is None else float(self.foot_centre)
        z = (self._inside + self.upright) / 2 if self.face_centre is None else float(self.face_centre)
        pitch, wide, length = self._pitch(), clearance(self.foot_thread), float(self.foot_slot)
        foot = tuple(
            Hole(x, y + v, wide, length, 90.0 if length else 0.0)
            for v in row(self.foot_rows, pitch)
            for x in row(2, pitch)
        )
        hole, upward_slot = clearance(self.face_thread), float(self.face_slot)
        face = tuple(
            Hole(x, z + v, hole, upward_slot, 90.0 if upward_slot else 0.0)
            for v in row(2, upward)
            for x in row(2, across)
        )
        return foot, face
