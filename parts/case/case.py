"""A case: six panels round a free interior, with openings for fans, a board seat, slots and what else is built in.

Owns the case's fields, the names they may have, its frames and hole patterns. The interior is the box from (0, 0, 0) to
(depth, width, height), right-handed: x toward the front, y from the open side toward the motherboard tray (the left of
someone sitting in the case and facing its front), z up; every panel lies outside it.
Behind the tray lies a chamber, `cable_space` deep, which a supply, drives and radiators may stand in. Leaves openings
to `case_openings`, the built-in fittings to `case_fittings` and `case_rear`, what is wrong with them to `case_faults`
and drawing to `case_panels`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from pydantic import PrivateAttr, model_validator

from elbowroom.parts.case import case_faults, case_holes, case_refit
from elbowroom.parts.case.case_fittings import (
    TAIL_RELIEF,
    BoardSeat,
    Cutout,
    DriveCage,
    Feet,
    Interior,
    PsuShroud,
)
from elbowroom.parts.case.case_holes import CaseHole
from elbowroom.parts.case.case_openings import AXIS_WALLS, FACE_AXES, FACES, Cut, Opening, Rect, Spread
from elbowroom.parts.case.case_rear import PsuSeat, UprightSlots
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.base import Body, Box, Fault, Frame, HolePattern, Material, Part, dim
from elbowroom.parts.vocabulary.board_standard import PRACTICE
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import Pose, compose, pose, shift

if TYPE_CHECKING:
    from cadquery import Shape

_INWARD: dict[str, tuple[int, int, int]] = {
    "floor": (0, 0, 1), "roof": (0, 0, -1), "rear": (1, 0, 0), "front": (-1, 0, 0), "tray": (0, -1, 0),
    "open": (0, 1, 0),
}  # fmt: skip
_UNIT: dict[str, tuple[int, int, int]] = {"x": (1, 0, 0), "y": (0, 1, 0), "z": (0, 0, 1)}
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_NUMBERED = re.compile(r".*-\d+")
FIELD, BESIDE = "slots", "beside-slots"  # frames: the field of slots, and what is between it and the open side
_TAKEN = re.compile(r".*-(wall|outside)|board|psu|slots|beside-slots|(rear|upright)-slot-\d+")


class Case(Part):
    """A case. Openings, standoffs, slots and cut-outs are given by distances a person can measure from named walls."""

    family: ClassVar[str] = "case"
    members: ClassVar[Mapping[str, str]] = MappingProxyType({"openings": "face"})

    interior: Interior = dim(Interior(), "Free inner size", source=PRACTICE, mark="P")
    sheet: Mm = dim(Mm(1.0), "Panel thickness", source=PRACTICE, mark="P", ge=0.4, le=30)
    openings: dict[str, Opening] = dim(
        {}, "Where fans and radiators can be screwed on, by name", source=PRACTICE, mark="P"
    )
    board: BoardSeat | None = dim(BoardSeat(), "Standoffs, I/O cut-out and slots", source=std.MICROATX, mark="V")
    slots: int = dim(7, "Expansion slots in the rear panel", source=std.MICROATX, mark="V", ge=0, le=12)
    low_profile: bool = dim(False, "Slots for low-profile brackets", source=PRACTICE, mark="P")
    upright: UprightSlots | None = dim(
        None, "Slots of its own for an upright card, beside the others", source=PRACTICE, mark="P"
    )
    cutouts: tuple[Cutout, ...] = dim((), "Rectangular openings of one's own", source=PRACTICE, mark="P")
    holes: tuple[CaseHole, ...] = dim((), "Round holes of one's own", source=PRACTICE, mark="P", max_length=400)
    cable_space: Mm = dim(
        Mm(20), "Depth of the room behind the tray, closed by a side panel; 0: the tray is the side", source=PRACTICE,
        mark="P", ge=0, le=400,
    )  # fmt: skip
    psu: PsuSeat | None = dim(None, "Rear cut-out for a power supply", source=std.PSU_SOURCE, mark="V")
    psu_shroud: PsuShroud | None = dim(None, "Cover over the power supply", source=PRACTICE, mark="P")
    drive_cage: DriveCage | None = dim(None, "Drive cage", source=PRACTICE, mark="P")
    open_side: Literal["glass", "sheet", "none"] = dim("glass", "What closes the open side", source=PRACTICE, mark="P")
    glass: Mm = dim(Mm(4), "Thickness of the glass", source=PRACTICE, mark="P", ge=1, le=20)
    feet: Feet | None = dim(Feet(), "Feet under the floor", source=PRACTICE, mark="P")

    _notes: tuple[str, ...] = PrivateAttr(())

    @model_validator(mode="after")
    def _consistent(self) -> Case:
        problems = [*self._name_problems(), *case_holes.problems(self)]
        if problems:
            raise ValueError("; ".join(problems))
        return self

    @property
    def notes(self) -> tuple[str, ...]:
        """What was changed to make the case from a catalogue row and other sizes, a sentence each."""
        return self._notes

    def noted(self, notes: tuple[str, ...]) -> Case:
        """The case with such notes."""
        made = self.model_copy()
        made._notes = notes
        return made

    def adapted(self, base: Mapping[str, Any], given: Mapping[str, Any]) -> Case:
        return case_refit.refit(self, base, given)

    def faults(self) -> tuple[Fault, ...]:
        return case_faults.faults(self)

    # -- sizes ---------------------------------------------------------------------------------------------------

    @property
    def size(self) -> tuple[float, float, float]:
        """Interior depth, width, height, mm."""
        return float(self.interior.depth), float(self.interior.width), float(self.interior.height)

    @property
    def interior_box(self) -> Box:
        """The free interior."""
        return Box((0.0, 0.0, 0.0), self.size)

    @property
    def tray_back(self) -> float:
        """y of the tray's far side, mm."""
        return self.size[1] + self.sheet

    @property
    def back(self) -> float:
        """y to which floor, roof, front and rear run behind the tray, mm."""
        return self.tray_back + self.cable_space

    @property
    def side_thickness(self) -> float:
        """Thickness of whatever closes the open side, mm; 0 for none."""
        return {"glass": float(self.glass), "sheet": float(self.sheet), "none": 0.0}[self.open_side]

    @property
    def chamber_box(self) -> Box | None:
        """The room behind the tray; None where the tray is the side."""
        if self.cable_space <= 0:
            return None
        d, _, h = self.size
        return Box((0.0, self.tray_back, 0.0), (d, self.back, h))

    def face_size(self, face: str) -> Spread:
        """Size of a face along its two axes, mm."""
        a, b = ("xyz".index(axis) for axis in FACE_AXES[face])
        return Spread(self.size[a], self.size[b], self.tray_back, self.back)

    def box(self) -> Box:
        t, (d, _, h) = float(self.sheet), self.size
        back = self.back + (t if self.cable_space > 0 else 0.0)
        foot = float(self.feet.height) if self.feet else 0.0
        return Box((-t, -self.side_thickness, -t - foot), (d + t, back, h + t))

    # -- names ---------------------------------------------------------------------------------------------------

    def panel(self, face: str) -> str | None:
        """Name of the body that closes a face; None where the open side has none."""
        if face != "open":
            return face
        return {"glass": "glass", "sheet": "open-side", "none": None}[self.open_side]

    def standoffs(self) -> tuple[str, ...]:
        n = len(self.board.hole_centres()) if self.board else 0
        return tuple(f"standoff-{i}" for i in range(1, n + 1))

    def bodies(self) -> tuple[Body, ...]:
        out = [Body(f, "steel") for f in FACES if f != "open"]
        if self.cable_space > 0:
            out.append(Body("back-side", "steel"))
        side = self.panel("open")
        if side is not None:
            glass: Material = "glass" if side == "glass" else "steel"
            out.append(Body(side, glass))
        out += [Body(n, "brass") for n in self.standoffs()]
        out += [Body(f"{n}-mesh", "mesh") for n, o in self.openings.items() if o.air == "mesh"]
        if self.psu_shroud:
            out.append(Body("shroud", "steel"))
        if self.drive_cage:
            out.append(Body("drive-cage", "steel"))
        if self.feet:
            out += [Body(f"foot-{i}", "rubber") for i in range(1, 5)]
        return tuple(out)

    # -- cuts and rules ------------------------------------------------------------------------------------------

    @property
    def bracket(self) -> std.BracketHeight:
        """Heights of the card brackets the slots are made for."""
        return std.LOW_PROFILE if self.low_profile else std.FULL_HEIGHT

    def slot_cuts(self) -> dict[str, Cut]:
        return self.board.slot_cuts(self.interior, self.slots, self.bracket) if self.board else {}

    def fixed_cuts(self, face: str) -> dict[str, list[Cut]]:
        """Cuts of a face that are not openings, by what they are for."""
        out: dict[str, list[Cut]] = {}
        size = self.face_size(face)
        if face == "rear":
            if self.board:
                out["I/O cut-out"] = [self.board.io_cut(self.interior)]
            out.update({name: [cut] for name, cut in self.slot_cuts().items()})
            if self.psu:
                out["psu cut-out"] = self.psu.cuts(size)
            if self.upright:
                out.update({name: [cut] for name, cut in self.upright.cuts(size).items()})
        out.update({n: [c.cut(size)] for n, c in self.named_cutouts().items() if c.face == face})
        return out

    def named_cutouts(self) -> dict[str, Cutout]:
        """The openings of one's own, by number, or by what they are made for."""
        out: dict[str, Cutout] = {}
        for i, c in enumerate(self.cutouts, 1):
            out[c.made_for if c.made_for and c.made_for not in out else f"cut-out {i}"] = c
        return out

    def _name_problems(self) -> list[str]:
        out = []
        for name, o in self.openings.items():
            if not _NAME.fullmatch(name):
                out.append(f"opening {name!r}: a name is lower-case words joined by hyphens")
            elif _NUMBERED.fullmatch(name):
                out.append(f"opening {name!r}: a name cannot end in a number; its fans are numbered so")
            elif _TAKEN.fullmatch(name):
                out.append(f"opening {name!r}: the case has a frame of that name")
            if o.face == "open" and self.open_side != "sheet":
                out.append(f"opening {name}: the open side is {self.open_side}; openings need open_side: sheet")
        if any(c.face == "open" for c in self.cutouts) and self.open_side != "sheet":
            out.append(f"a cut-out in the open side, which is {self.open_side}, needs open_side: sheet")
        return out

    def solid_spots(self, face: str) -> dict[str, Rect]:
        """Places of the tray that must stay uncut, or are notched from the edge: standoffs and the brackets' notch."""
        if face != "tray" or self.board is None:
            return {}
        ox, _, oz = self.board.origin(self.interior)
        r = self.board.flats / 3**0.5
        spots = {
            f"standoff {name}": Rect(ox + x - r, oz + y - r, ox + x + r, oz + y + r)
            for name, x, y in self.board.hole_centres()
        }
        notch = self.board.tail_notch(self.interior, self.slots)
        if notch is not None:
            spots["bracket notch"] = Rect(0.0, notch[0], TAIL_RELIEF, notch[1])
        return spots

    # -- frames --------------------------------------------------------------------------------------------------

    def face_point(self, face: str, u: float, v: float, out: float = 0.0) -> tuple[float, float, float]:
        """Case coordinates of a point of a face, `out` mm outside its inner surface."""
        point: dict[str, float] = dict(zip(FACE_AXES[face], (u, v), strict=True))
        axis = next(a for a in "xyz" if a not in point)
        at_low = face == AXIS_WALLS[axis][0]
        point[axis] = -out if at_low else self.size["xyz".index(axis)] + out
        return point["x"], point["y"], point["z"]

    def thickness(self, face: str) -> float:
        return self.side_thickness if face == "open" else float(self.sheet)

    def _opening_poses(self, o: Opening) -> tuple[Pose, Pose]:
        """Frame on the inner face, z into the case, and on the outer face, z outward; x along the row in both."""
        u, v = o.middle(self.face_size(o.face))
        inward, row = _INWARD[o.face], _UNIT[o.axis]
        return (
            pose(self.face_point(o.face, u, v), inward, row),
            pose(self.face_point(o.face, u, v, self.thickness(o.face)), tuple(-i for i in inward), row),
        )

    def frames(self) -> tuple[Frame, ...]:
        out: list[Frame] = []
        for face in FACES:
            panel, size = self.panel(face), self.face_size(face)
            along = _UNIT[FACE_AXES[face][0]]
            at = pose(self.face_point(face, 0.0, 0.0), _INWARD[face], along)
            out.append(Frame(f"{face}-wall", "wall", at, (panel,) if panel else (), size=size))
        if (room := self.chamber_box) is not None:
            across, far = self.face_size("tray"), (0.0, room.hi[1], 0.0)
            out += [
                Frame("tray-back-wall", "wall", pose(room.lo, (0, 1, 0), (1, 0, 0)), ("tray",), size=across),
                Frame("back-side-wall", "wall", pose(far, (0, -1, 0), (1, 0, 0)), ("back-side",), size=across),
            ]
        for name, o in self.openings.items():
            inner, outer = self._opening_poses(o)
            touching = (self.panel(o.face) or o.face, *((f"{name}-mesh",) if o.air == "mesh" else ()))
            for side, at in ((name, inner), (f"{name}-outside", outer)):
                out.append(Frame(side, "opening", at, touching, size=o.row))
                for i in range(o.count):  # each fan of the row, as a radiator numbers its own
                    place = compose(at, shift((i - (o.count - 1) / 2) * o.fan_pitch))
                    out.append(Frame(f"{side}-{i + 1}", "opening", place, touching, size=(float(o.size),) * 2))
        if self.board:
            at = pose(self.board.origin(self.interior), (0, -1, 0), (1, 0, 0))
            out.append(Frame("board", "socket", at, self.standoffs()))
        for name, cut in self.slot_cuts().items():
            if name.startswith("rear-slot"):
                at = pose(self.face_point("rear", cut.u, cut.v), (1, 0, 0), (0, -1, 0))
                out.append(Frame(name, "slot", at, ("rear",), size=(cut.width, cut.length)))
        out += self._upright_frames()
        if self.psu:
            at = pose(self.face_point("rear", *self.psu.middle(self.face_size("rear"))), (1, 0, 0), self.psu.width_axis)
            out.append(Frame("psu", "face", at, ("rear",), size=std.PSU_FACE[self.psu.kind]))
        if self.psu_shroud:
            top = float(self.psu_shroud.height + self.psu_shroud.sheet)
            cover = (float(self.psu_shroud.depth), self.size[1])
            out.append(Frame("shroud-wall", "wall", pose((0, 0, top), (0, 0, 1), (1, 0, 0)), ("shroud",), size=cover))
        return tuple(out)

    def _upright_frames(self) -> list[Frame]:
        """Where upright cards and their mounts go: x up, so that a mount stands with its card's cooler to the glass."""
        out = []
        cuts = list(self.slot_cuts().values())
        if cuts:
            field = case_faults.extent(cuts)
            u, v = (field.u0 + field.u1) / 2, (field.v0 + field.v1) / 2
            tall = field.v1 - field.v0
            for name, middle, width in ((FIELD, u, field.u1 - field.u0), (BESIDE, field.u0 / 2, field.u0)):
                at = pose(self.face_point("rear", middle, v), (1, 0, 0), (0, 0, 1))
                out.append(Frame(name, "wall", at, ("rear",), size=(tall, width)))
        for name, cut in (self.upright.cuts(self.face_size("rear")) if self.upright else {}).items():
            if name.startswith("upright-slot"):
                at = pose(self.face_point("rear", cut.u, cut.v), (1, 0, 0), (0, 0, 1))
                out.append(Frame(name, "slot", at, ("rear",), size=(cut.length, cut.width)))
        return out

    def patterns(self) -> tuple[HolePattern, ...]:
        """Slots of every opening, inside and outside; the standoffs' threads; the power supply's screw holes."""
        out: list[HolePattern] = []
        for name, o in self.openings.items():
            inner, outer = self._opening_poses(o)
            panel = self.panel(o.face) or o.face
            out += [HolePattern(name, inner, o.holes(), panel), HolePattern(f"{name}-outside", outer, o.holes(), panel)]
        if self.board:
            out.append(HolePattern("board", self.frame("board").pose, self.board.holes_in_frame(), "standoff-1"))
        out += case_holes.patterns(self)
        if self.psu:
            out.append(HolePattern("psu", self.frame("psu").pose, self.psu.holes(), "rear"))
        return tuple(out)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.case import case_panels

        return case_panels.draw_case(self)
