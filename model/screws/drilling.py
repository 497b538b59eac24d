"""Holes still to be drilled: put into the walls they are for, so that the model shows the case as it will be.

Owns the way from an axis that meets a bare wall to a hole of the case, by the distances someone would mark it out with,
and why a hole cannot be drilled where it would have to be.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from elbowroom.model.layout.layout import Piece
from elbowroom.model.screws.joints import Joint
from elbowroom.model.screws.lines import Passed
from elbowroom.parts.case import case_holes
from elbowroom.parts.case.case import Case
from elbowroom.parts.case.case_holes import CaseHole
from elbowroom.parts.case.case_openings import AXIS_WALLS, FACE_AXES, FACES, Face
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import apply, inverse
from elbowroom.parts.vocabulary.threads import THREADS

_SAME = 0.5  # mm: a wall's plane is found by this; panels are farther apart


def drill_size(joint: Joint) -> float:
    """Diameter a wall is drilled to for a joint's screws, mm: the medium clearance hole, ISO 273."""
    found = THREADS.get(joint.thread)
    return found.clearance["medium"] if found is not None else math.ceil(joint.diameter + 0.5)


def drill(pieces: Sequence[Piece], joints: Sequence[Joint]) -> tuple[list[Piece], dict[tuple[str, int], str]]:
    """The pieces with the case drilled wherever a joint asks for it, and why not where it cannot be."""
    holes: list[CaseHole] = []
    faults: dict[tuple[str, int], str] = {}
    case = next((p for p in pieces if isinstance(p.part, Case)), None)
    if case is None or not isinstance(case.part, Case):
        return list(pieces), {}
    for joint in joints:
        for i in joint.drilled:
            for wall in joint.axes[i].passed:
                if wall.pattern is None and wall.piece is case:
                    hole = _hole(case, case.part, wall, drill_size(joint))
                    fault = (
                        "has no sheet there" if hole is None or wall.thickness is None
                        else case_holes.fault(case.part, hole, (*case.part.holes, *holes))
                    )  # fmt: skip
                    if fault is not None or hole is None:
                        faults[joint.name, i] = fault or ""
                    else:
                        holes.append(hole)
    if not holes:
        return list(pieces), faults
    bored = case.part.model_copy(update={"holes": (*case.part.holes, *holes)})
    drilled = replace(case, part=bored)
    return [drilled if p is case else p for p in pieces], faults


def _hole(piece: Piece, case: Case, wall: Passed, diameter: float) -> CaseHole | None:
    """The hole on whichever of the case's sheets the axis meets."""
    x, y, z = (float(v) for v in apply(inverse(piece.pose), wall.near))
    point = {"x": x, "y": y, "z": z}
    walls: list[tuple[Face | str, Mapping[str, float]]] = [(face, _wall(case, face)) for face in FACES]
    if case.psu_shroud is not None:
        walls.append(("shroud", {"z": float(case.psu_shroud.height + case.psu_shroud.sheet)}))
    for face, plane in walls:
        (axis, at), *_ = plane.items()
        if abs(point[axis] - at) <= _SAME:
            along = FACE_AXES["floor" if face == "shroud" else face]
            # To a hundredth, as anyone marks out; from the walls at the low ends of the axes.
            at_walls = {AXIS_WALLS[a][0]: Mm(round(point[a], 2)) for a in along}
            return CaseHole.model_validate({"face": face, "at": at_walls, "diameter": diameter, "to_drill": True})
    return None


def _wall(case: Case, face: str) -> dict[str, float]:
    """The case axis a face lies across, and where its inner surface lies on it."""
    (axis,) = {"x", "y", "z"} - set(FACE_AXES[face])
    low = AXIS_WALLS[axis][0] == face
    return {axis: 0.0 if low else case.size["xyz".index(axis)]}
