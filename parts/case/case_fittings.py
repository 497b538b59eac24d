"""What a case carries beside its panels: board seat, shroud, drive cage, cable openings, feet.

Owns the fields of these fittings and where they lie in case coordinates, and the cuts the board asks of the rear panel
and the tray. Leaves the power supply's seat and upright slots to `case_rear`, the panels and all drawing to `case` and
`case_panels`.
"""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from elbowroom.parts.case.case_openings import (
    AXIS_WALLS,
    FACE_AXES,
    Axis,
    Cut,
    Face,
    Spec,
    Spread,
    Wall,
    coordinate,
    distances_from,
)
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.base import Box, Hole, dim
from elbowroom.parts.vocabulary.board_standard import PRACTICE
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.threads import thread

TAIL_RELIEF = 3.0  # mm: notch in the tray's rear edge that card brackets' tails dip into; common practice (P)
TAB_SLIT = 5.0  # mm: height of the slit that brackets' bent tabs and their screws pass through; common practice (P)
SIDE_PLAY = 1.0  # mm: play of brackets along the row of slots, at each end; common practice (P)
LEAST_CUT = 2.0  # mm: a smaller opening is a drilled hole; common practice (P)
SIZE_ALONG: dict[Axis, Literal["depth", "width", "height"]] = {"x": "depth", "y": "width", "z": "height"}


class Interior(Spec):
    """Free size inside the panels."""

    depth: Mm = dim(Mm(430), "Rear wall to front wall (x)", source=PRACTICE, mark="P", ge=80, le=1200)
    width: Mm = dim(Mm(236), "Open side to tray (y)", source=PRACTICE, mark="P", ge=40, le=800)
    height: Mm = dim(Mm(452), "Floor to roof (z)", source=PRACTICE, mark="P", ge=60, le=1200)


class BoardAt(Spec):
    """Where the board's edges lie."""

    rear: Mm = dim(
        Mm(round(std.PANEL_BEHIND_EDGE, 2)), "Rear wall to the board's rear edge", source=std.TRANSCRIBED, mark="C",
        ge=0, le=300,
    )  # fmt: skip
    top: Mm = dim(Mm(38), "Roof to the board's top (CPU-side) edge", source=PRACTICE, mark="P", ge=0, le=900)


class BoardSeat(Spec):
    """Standoffs for the board; with it come the rear I/O cut-out and the slots. `form` sets where the top edge lies
    relative to the holes; `holes` names a pattern or lists [x, y] in board coordinates: from hole A toward the front,
    and toward the CPU side."""

    form: std.Form = dim("atx", "Form factor the case is made for", source=std.MICROATX, mark="V")
    holes: str | tuple[tuple[Mm, Mm], ...] | None = dim(
        None, "Hole pattern name, or a list of [x, y] from hole A, forward and toward the CPU; none: the form's own",
        source=std.TRANSCRIBED, mark="C",
    )  # fmt: skip
    at: BoardAt = dim(BoardAt(), "Position of the board's edges", source=PRACTICE, mark="P")
    standoff: Mm = dim(Mm(6.5), "Standoff height", source=PRACTICE, mark="P", ge=2, le=40)
    flats: Mm = dim(Mm(6), "Standoff width across flats", source=PRACTICE, mark="P", ge=4, le=12)
    thread: Literal["6-32", "M3"] = dim("6-32", "Thread of the standoffs", source="SSI EEB 3.0", mark="C")

    @model_validator(mode="after")
    def _known(self) -> BoardSeat:
        if self.form == "custom" and self.holes is None:
            raise ValueError("a board seat of form custom needs holes: a pattern name or a list of [x, y] in mm")
        holes = self.hole_centres()
        if not holes:
            raise ValueError("a board seat needs at least one hole")
        return self

    def hole_centres(self) -> tuple[tuple[str, float, float], ...]:
        """Name and centre of each standoff, board coordinates."""
        return std.pattern(std.FORMS[self.form].holes if self.holes is None else self.holes)

    def origin(self, interior: Interior) -> tuple[float, float, float]:
        """Case coordinates of the board's origin (rear row, hole-A column, underside) in a case of that size."""
        return (
            self.at.rear - std.REAR_EDGE,
            interior.width - self.standoff,
            interior.height - self.at.top - std.FORMS[self.form].top_edge,
        )

    def holes_in_frame(self) -> tuple[Hole, ...]:
        """Threaded holes in the case's board frame, whose x and y are the board's."""
        drill = thread(self.thread).bore
        return tuple(
            Hole(x, y, drill, thread=self.thread, depth=float(self.standoff)) for _, x, y in self.hole_centres()
        )

    def io_cut(self, interior: Interior) -> Cut:
        """The I/O cut-out, in rear-face coordinates (y, z)."""
        _, oy, oz = self.origin(interior)
        u = oy - std.PCB + std.IO_BELOW_TOP - std.IO_HEIGHT / 2
        v = oz + std.IO_Y + std.IO_WIDTH / 2
        return Cut(u, v, "rectangle", std.IO_HEIGHT, std.IO_WIDTH, radius=std.IO_RADIUS)

    def slot_cuts(self, interior: Interior, slots: int, bracket: std.BracketHeight) -> dict[str, Cut]:
        """Connector windows by frame name and, last, the slit for the brackets' tabs; rear-face coordinates."""
        _, oy, oz = self.origin(interior)
        surface = oy - std.PCB
        out = {
            f"rear-slot-{n}": Cut(
                surface - bracket.window_middle, oz + std.slot_y(n) + std.BRACKET_MIDDLE, "rectangle",
                bracket.window_height, std.WINDOW_WIDTH, radius=1.0,
            )
            for n in range(1, slots + 1)
        }  # fmt: skip
        if slots:
            lo, hi = self._slot_span(slots)
            out["bracket slit"] = Cut(
                surface - bracket.shelf - TAB_SLIT / 2 + std.BRACKET_THICKNESS / 2,
                oz + (lo + hi) / 2, "rectangle", TAB_SLIT, hi - lo, radius=1.0,
            )  # fmt: skip
        return out

    def tail_notch(self, interior: Interior, slots: int) -> tuple[float, float] | None:
        """Lower and upper z of the notch in the tray's rear edge; None without slots."""
        if not slots:
            return None
        lo, hi = self._slot_span(slots)
        oz = self.origin(interior)[2]
        return oz + lo, oz + hi

    @staticmethod
    def _slot_span(slots: int) -> tuple[float, float]:
        low = std.slot_y(slots) + std.TAB_CPU_SIDE - std.TAB_WIDTH
        low = min(low, std.slot_y(slots) + std.BRACKET_CPU_SIDE - std.BRACKET_WIDTH)
        return low - SIDE_PLAY, std.slot_y(1) + std.TAB_CPU_SIDE + SIDE_PLAY


class Cutout(Spec):
    """A rectangular opening of one's own in a panel, its corners rounded: for cables, an upright card, a tube."""

    face: Face = dim("tray", "Panel it is cut in", source=PRACTICE, mark="P")
    at: dict[Wall, Mm] = dim(
        ..., "Distances from two walls lying across the face to its nearer edges; behind: from the tray's far side",
        source="stated", mark="P",
    )  # fmt: skip
    size: dict[Literal["depth", "width", "height"], Mm] = dim(
        ..., "Its two edge lengths along the face", source="stated", mark="P"
    )
    radius: Mm = dim(Mm(5), "Corner radius", source=PRACTICE, mark="P", ge=0, le=60)
    to_cut: bool = dim(
        False, "Whether it is still to be cut: it may take in what is cut there already", source="stated", mark="P"
    )
    made_for: str | None = dim(None, "What it is cut for", source="stated", mark="P")

    @model_validator(mode="after")
    def _across(self) -> Cutout:
        axes = FACE_AXES[self.face]
        for axis in axes:
            low, high = AXIS_WALLS[axis]
            if distances_from(self.at, axis) != 1:
                raise ValueError(f"a cut-out in the {self.face} needs one distance from {low} or {high}")
            if self.size.get(SIZE_ALONG[axis], Mm(0)) < LEAST_CUT:
                raise ValueError(
                    f"a cut-out in the {self.face} needs a {SIZE_ALONG[axis]} of at least {LEAST_CUT:g} mm"
                )
        if len(self.at) != 2 or len(self.size) != 2:
            raise ValueError(f"a cut-out in the {self.face} has two distances and two sizes")
        return self

    def cut(self, face_size: Spread) -> Cut:
        """In face coordinates."""
        axes = FACE_AXES[self.face]
        sizes = [float(self.size[SIZE_ALONG[a]]) for a in axes]
        middle = [coordinate(self.at, a, n, face_size, s) for a, n, s in zip(axes, face_size, sizes, strict=True)]
        return Cut(middle[0], middle[1], "rectangle", sizes[0], sizes[1], radius=min(self.radius, min(sizes) / 2))


class PsuShroud(Spec):
    """A cover over the power supply: a plate the width of the case with a front and an open-side wall below it."""

    height: Mm = dim(Mm(95), "Free height under it", source=PRACTICE, mark="P", ge=20, le=400)
    depth: Mm = dim(Mm(230), "Rear wall to its front face", source=PRACTICE, mark="P", ge=40, le=1200)
    sheet: Mm = dim(Mm(1), "Sheet thickness", source=PRACTICE, mark="P", ge=0.4, le=6)

    def plates(self, interior: Interior) -> dict[str, Box]:
        """The plates it is made of, case coordinates; without a front wall where it reaches the front panel."""
        d, w, h, s = float(self.depth), float(interior.width), float(self.height), float(self.sheet)
        out = {"top": Box((0, 0, h), (d, w, h + s))}
        whole = d >= interior.depth
        if not whole:
            out["front"] = Box((d - s, 0, 0), (d, w, h))
        out["side"] = Box((0, 0, 0), (d if whole else d - s, s, h))
        return out


class CageAt(Spec):
    """Position on the floor."""

    rear: Mm = dim(..., "Rear wall to its rear face", source="stated", mark="P", ge=0)
    tray: Mm = dim(Mm(0), "Tray to its tray-side face", source=PRACTICE, mark="P", ge=0)
    floor: Mm = dim(Mm(0), "Floor to its underside", source=PRACTICE, mark="P", ge=0)


class CageSize(Spec):
    """Outer size. 3.5 in drives are 101.60 x 147 x 26.1 (SFF-8301)."""

    depth: Mm = dim(Mm(106), "Along x, across the drives", source="SFF-8301 and sheet", mark="C", ge=20)
    width: Mm = dim(Mm(150), "Along y, along the drives", source="SFF-8301 and sheet", mark="C", ge=20)
    height: Mm = dim(Mm(70), "Along z", source=PRACTICE, mark="P", ge=10)


class DriveCage(Spec):
    """A box of sheet open toward tray and open side, its bays divided by shelves."""

    at: CageAt = dim(..., "Where it stands", source="stated", mark="P")
    size: CageSize = dim(CageSize(), "Its outer size", source="SFF-8301 and sheet", mark="C")
    bays: int = dim(2, "Drive bays, one above the other", source=PRACTICE, mark="P", ge=1, le=12)
    sheet: Mm = dim(Mm(1), "Sheet thickness", source=PRACTICE, mark="P", ge=0.4, le=4)

    @model_validator(mode="after")
    def _room(self) -> DriveCage:
        if self.bay_height < 5:
            raise ValueError(
                f"{self.bays} bays in {self.size.height} mm leave {self.bay_height:.2f} mm a bay (least 5)"
            )
        return self

    @property
    def bay_height(self) -> float:
        return (self.size.height - (self.bays + 1) * self.sheet) / self.bays

    def box(self, interior: Interior) -> Box:
        """Where it stands in a case of that size, case coordinates."""
        x, y, z = float(self.at.rear), interior.width - self.at.tray, float(self.at.floor)
        return Box((x, y - self.size.width, z), (x + self.size.depth, y, z + self.size.height))


class Feet(Spec):
    """Four round feet under the floor."""

    height: Mm = dim(Mm(15), "Height", source=PRACTICE, mark="P", ge=1, le=120)
    diameter: Mm = dim(Mm(30), "Diameter at the floor", source=PRACTICE, mark="P", ge=5, le=100)
    inset: Mm = dim(Mm(30), "Case's outer faces to the feet's centres", source=PRACTICE, mark="P", ge=3, le=200)
