"""Round holes of one's own in a case's panels: those that are there, and those that are to be drilled.

Owns their declaration, their place on a panel, and the sheet they must keep to everything else that is cut there.
Leaves openings, cut-outs and drawing to the case.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

from pydantic import model_validator

from elbowroom.parts.case.case_openings import (
    AXIS_WALLS,
    EXACT,
    FACE_AXES,
    LEAST_WEB,
    Cut,
    Face,
    Spec,
    Spread,
    Wall,
    coordinate,
    cut_called,
    distances_from,
)
from elbowroom.parts.vocabulary.base import Hole, HolePattern, dim
from elbowroom.parts.vocabulary.measure import Mm

if TYPE_CHECKING:
    from elbowroom.parts.case.case import Case


class CaseHole(Spec):
    """A round hole in a panel, by the distances of its centre from two walls."""

    face: Face | Literal["shroud"] = dim(
        ...,
        "Panel it is drilled in; shroud: the cover over the power supply, seen from above",
        source="stated",
        mark="P",
    )
    at: dict[Wall, Mm] = dim(
        ..., "Distances of its centre from two walls lying across the face", source="stated", mark="P"
    )
    diameter: Mm = dim(Mm(4.5), "Diameter", source="ISO 273, medium for M4", mark="V", ge=1, le=60)

    to_drill: bool = dim(False, "Whether it is still to be drilled: templates show it so", source="stated", mark="P")

    @model_validator(mode="after")
    def _across(self) -> CaseHole:
        for axis in self.axes:
            low, high = AXIS_WALLS[axis]
            if distances_from(self.at, axis) != 1:
                raise ValueError(f"a hole in the {self.face} needs one distance from {low} or {high}")
        if len(self.at) != 2:
            raise ValueError(f"a hole in the {self.face} has two distances, got {', '.join(self.at)}")
        return self

    @property
    def axes(self) -> tuple[str, str]:
        """The case axes its face runs along."""
        return FACE_AXES["floor" if self.face == "shroud" else self.face]

    def centre(self, face_size: Spread) -> tuple[float, float]:
        """In face coordinates, mm."""
        u, v = (coordinate(self.at, a, n, face_size) for a, n in zip(self.axes, face_size, strict=True))
        return u, v

    def cut(self, face_size: Spread) -> Cut:
        return Cut(*self.centre(face_size), "slot", float(self.diameter))


def sheet_left(hole: Cut, cut: Cut) -> float:
    """mm of sheet between a round hole and another cut; negative where they run into each other."""
    if cut.kind == "rectangle":
        r = cut.rect
        du = max(r.u0 - hole.u, hole.u - r.u1, 0.0)
        dv = max(r.v0 - hole.v, hole.v - r.v1, 0.0)
        inside = min(hole.u - r.u0, r.u1 - hole.u, hole.v - r.v0, r.v1 - hole.v)
        away = -inside if inside > 0 else math.hypot(du, dv)
        return away - hole.width / 2
    along, across = hole.u - cut.u, hole.v - cut.v
    if cut.along_v:
        along, across = across, along
    return math.hypot(max(abs(along) - cut.length / 2, 0.0), across) - cut.width / 2 - hole.width / 2


def too_near(hole: Cut, others: Iterable[tuple[str, Cut]], size: Spread, along: tuple[str, str]) -> str | None:
    """What a hole comes too near to on a face of that size, in words; None where there is sheet all round."""
    worst: tuple[float, str] | None = None
    for name, cut in others:
        left = sheet_left(hole, cut)
        if left < LEAST_WEB - EXACT and (worst is None or left < worst[0]):
            worst = (left, name)
    # Where an axis runs on behind the tray, a hole there has the tray and the back side for edges.
    ends = [(s, s - n) for s, n, a in zip((hole.u, hole.v), size, along, strict=True) if not (a == "y" and s > n)]
    ends += [(s - size.behind, s - size.back) for s, n, a in zip((hole.u, hole.v), size, along, strict=True)
             if a == "y" and s > n]  # fmt: skip
    edge = min(min(low, -high) for low, high in ends) - hole.width / 2
    if edge < LEAST_WEB - EXACT and (worst is None or edge < worst[0]):
        worst = (edge, "the panel's edge")
    if worst is None:
        return None
    left, name = worst
    return f"runs into {name}" if left < 0 else f"leaves {left:.2f} mm of sheet to {name}, and {LEAST_WEB:g} is wanted"


def sheet_size(case: Case, face: str) -> Spread | None:
    """Size of the sheet that holes of a face are drilled in, mm; None where there is none, or it is glass."""
    if face == "shroud":
        w = case.size[1]
        return None if case.psu_shroud is None else Spread(float(case.psu_shroud.depth), w, w, w)
    return None if face == "open" and case.open_side != "sheet" else case.face_size(face)


def drilled(case: Case, face: str) -> list[Cut]:
    """The round holes of a face, in face coordinates."""
    size = sheet_size(case, face)
    return [] if size is None else [h.cut(size) for h in case.holes if h.face == face]


def fault(case: Case, hole: CaseHole, beside: Iterable[CaseHole] = ()) -> str | None:
    """Why a hole cannot be drilled as the case stands, beside holes that are there; None where it can."""
    size = sheet_size(case, hole.face)
    if size is None:
        return _without_sheet(case, hole)
    others = [(f"opening {n}", c) for n, o in case.openings.items() if o.face == hole.face for c in o.cuts(size)]
    if hole.face != "shroud":
        others += [(cut_called(name), c) for name, group in case.fixed_cuts(hole.face).items() for c in group]
        for name, r in case.solid_spots(hole.face).items():
            middle = ((r.u0 + r.u1) / 2, (r.v0 + r.v1) / 2)
            others.append((name, Cut(*middle, "rectangle", r.u1 - r.u0, r.v1 - r.v0)))
    others += [("another hole", h.cut(size)) for h in beside if h.face == hole.face]
    return too_near(hole.cut(size), others, size, hole.axes)


def _without_sheet(case: Case, hole: CaseHole) -> str:
    return f"has no sheet: the open side is {case.open_side}" if hole.face == "open" else "has no cover to be in"


def problems(case: Case) -> list[str]:
    """Which of a case's own holes are in a sheet that it does not have."""
    return [
        f"hole {i} in the {h.face} {_without_sheet(case, h)}"
        for i, h in enumerate(case.holes, 1)
        if sheet_size(case, h.face) is None
    ]


def faults(case: Case) -> list[tuple[CaseHole, str]]:
    """The holes that run into something, or leave too little sheet, and what is wrong with each in words."""
    found = [(h, fault(case, h, case.holes[:i])) for i, h in enumerate(case.holes)]
    return [(h, f"hole {i} in the {h.face} {said}") for i, (h, said) in enumerate(found, 1) if said is not None]


def patterns(case: Case) -> list[HolePattern]:
    """A case's own holes, face by face, in the planes of its walls' frames."""
    out = []
    for face, drill in dict.fromkeys((h.face, h.to_drill) for h in case.holes):
        wall = case.frame(f"{face}-wall").pose
        # The frame's x is the face's first axis; its y runs along the second or against it, as the wall looks inward.
        up = 1.0 if float(wall[:3, 1].sum()) > 0 else -1.0
        cuts = [
            h.cut(size)
            for h in case.holes
            if (h.face, h.to_drill) == (face, drill) and (size := sheet_size(case, face))
        ]
        holes = tuple(Hole(c.u, up * c.v, c.width) for c in cuts)
        name = f"{'to-drill' if drill else 'holes'}-{face}"
        out.append(HolePattern(name, wall, holes, face if face == "shroud" else case.panel(face) or face))
    return out
