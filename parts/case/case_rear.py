"""What a case's rear panel carries beside the board's cut-outs: the power supply's seat, and upright slots of its own.

Owns their fields, where they lie on the rear panel - before the tray or, for a supply, behind it - and what they cut.
Leaves the standards' sizes and holes to `board_standard` and the panel to `case`.
"""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from elbowroom.parts.case.case_fittings import SIDE_PLAY, TAB_SLIT
from elbowroom.parts.case.case_openings import (
    AXIS_WALLS,
    FACE_AXES,
    Cut,
    Rect,
    Spec,
    Spread,
    Wall,
    coordinate,
    distances_from,
)
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.base import Hole, dim
from elbowroom.parts.vocabulary.board_standard import PRACTICE
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.threads import thread

PSU_WINDOW_INSET = 11.0  # mm from a power supply's edges to the cut-out, clear of its screws; common practice (P)


class PsuAt(Spec):
    """Where a power supply stands against the rear panel."""

    floor: Mm = dim(Mm(0), "Floor to its lower face", source=PRACTICE, mark="P", ge=0)
    tray: Mm = dim(Mm(40), "Tray to its tray-side face", source=PRACTICE, mark="P", ge=0)
    behind: Mm | None = dim(
        None, "The tray's far side to its tray-side face: it stands behind the tray; none: before it",
        source=PRACTICE, mark="P", ge=0,
    )  # fmt: skip


# In rear-face coordinates (y, z), for each way the intake looks: the supply's own width and height axes, its height
# axis away from the intake and both right-handed with the way into the case.
_PSU_AXES: dict[str, tuple[tuple[int, int], tuple[int, int]]] = {
    "down": ((1, 0), (0, 1)), "up": ((-1, 0), (0, -1)), "back": ((0, 1), (-1, 0)), "tray": ((0, -1), (1, 0)),
}  # fmt: skip


class PsuSeat(Spec):
    """The rear panel's cut-out and screw holes for a power supply: lying on its long side, or standing on a short one,
    before the tray or behind it."""

    kind: Literal["atx", "sfx"] = dim("atx", "Power supply form", source=std.PSU_SOURCE, mark="V")
    at: PsuAt = dim(PsuAt(), "Where it stands", source=PRACTICE, mark="P")
    fan: Literal["down", "up", "back", "tray"] = dim(
        "down", "Way the intake faces; back and tray: standing, the intake away from the open side or toward it",
        source=PRACTICE, mark="P",
    )  # fmt: skip

    @property
    def width_axis(self) -> tuple[int, int, int]:
        """The supply's width axis in case coordinates."""
        y, z = _PSU_AXES[self.fan][0]
        return 0, y, z

    @property
    def footprint(self) -> tuple[float, float]:
        """Size of its rear face along y and z, mm."""
        w, h = std.PSU_FACE[self.kind]
        return (w, h) if self.fan in ("down", "up") else (h, w)

    def middle(self, rear: Spread) -> tuple[float, float]:
        """Centre of its rear face in rear-face coordinates (y, z), on a rear panel of that size."""
        across, up = self.footprint
        if self.at.behind is not None:
            return rear.behind + self.at.behind + across / 2, self.at.floor + up / 2
        return rear[0] - self.at.tray - across / 2, self.at.floor + up / 2

    def rect(self, rear: Spread) -> Rect:
        """Its rear face in rear-face coordinates."""
        (mu, mv), (a, b) = self.middle(rear), self.footprint
        return Rect(mu - a / 2, mv - b / 2, mu + a / 2, mv + b / 2)

    def holes(self) -> tuple[Hole, ...]:
        """Clearance holes from the face's centre, x along the supply's own width axis, y its height."""
        return tuple(Hole(x, y, thread("6-32").clearance["medium"]) for x, y in std.psu_holes(self.kind))

    def cuts(self, rear: Spread) -> list[Cut]:
        """Window and screw holes, rear-face coordinates."""
        (mu, mv), (a, b) = self.middle(rear), self.footprint
        (xu, xv), (yu, yv) = _PSU_AXES[self.fan]
        window = Cut(mu, mv, "rectangle", a - 2 * PSU_WINDOW_INSET, b - 2 * PSU_WINDOW_INSET, radius=3.0)
        holes = (
            Cut(mu + xu * o.x + yu * o.y, mv + xv * o.x + yv * o.y, "slot", o.diameter) for o in self.holes()
        )  # fmt: skip
        return [window, *holes]


class UprightSlots(Spec):
    """A field of slots of the case's own for a card that stands upright, beside the ordinary ones: connector windows
    side by side, slot 1 toward the tray, and over them the slit for the brackets' tabs."""

    slots: int = dim(3, "Slots side by side", source=PRACTICE, mark="P", ge=1, le=6)
    at: dict[Wall, Mm] = dim(
        ..., "Distances of its connector windows' nearer edges: from floor or roof, and from tray or open",
        source="stated", mark="P",
    )  # fmt: skip

    @model_validator(mode="after")
    def _across(self) -> UprightSlots:
        for axis in FACE_AXES["rear"]:
            if distances_from(self.at, axis) != 1:
                low, high = AXIS_WALLS[axis]
                raise ValueError(f"an upright field needs one distance from {low} or {high}")
        if len(self.at) != 2:
            raise ValueError(f"an upright field has two distances, got {', '.join(self.at)}")
        return self

    def _datum(self, rear: Spread) -> tuple[float, float]:
        """y and z of the key datum of slot 1, as `board_standard` places windows and tabs from it."""
        width, height = (self.slots - 1) * std.SLOT_PITCH + std.WINDOW_WIDTH, std.FULL_HEIGHT.window_height
        u, v = (
            coordinate(self.at, a, n, rear, size)
            for a, n, size in zip(FACE_AXES["rear"], rear, (width, height), strict=True)
        )
        return (
            u + (self.slots - 1) * std.SLOT_PITCH / 2 - std.BRACKET_MIDDLE,
            v - std.FULL_HEIGHT.window_middle,
        )

    def cuts(self, rear: Spread) -> dict[str, Cut]:
        """Connector windows by frame name and, last, the slit for the tabs; rear-face coordinates."""
        u, v = self._datum(rear)
        out = {
            f"upright-slot-{k + 1}": Cut(
                u + std.BRACKET_MIDDLE - k * std.SLOT_PITCH, v + std.FULL_HEIGHT.window_middle, "rectangle",
                std.WINDOW_WIDTH, std.FULL_HEIGHT.window_height, radius=1.0,
            )
            for k in range(self.slots)
        }  # fmt: skip
        hi = u + std.TAB_CPU_SIDE + SIDE_PLAY
        lo = u + std.TAB_CPU_SIDE - std.TAB_WIDTH - (self.slots - 1) * std.SLOT_PITCH - SIDE_PLAY
        out["upright slit"] = Cut(
            (lo + hi) / 2, v + std.FULL_HEIGHT.shelf + TAB_SLIT / 2 - std.BRACKET_THICKNESS / 2, "rectangle",
            hi - lo, TAB_SLIT, radius=1.0,
        )  # fmt: skip
        return out
