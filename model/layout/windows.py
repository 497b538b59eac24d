"""Windows that parts want in the wall they are put on: cut into the case, so that the model shows it as it will be.

Owns the way from a part's window to a cut-out of the case, measured from its nearest walls as one would mark it out,
to a tenth of a millimetre; and that nothing is cut where the wall is open already for what goes through it. Leaves what
it runs into to the case's own faults.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from elbowroom.model.layout.layout import Mate, Piece
from elbowroom.parts.card.gpu_mount import WINDOW_CORNER
from elbowroom.parts.case import case_cuts
from elbowroom.parts.case.case import BESIDE, FIELD, Case
from elbowroom.parts.case.case_fittings import LEAST_CUT, SIZE_ALONG, Cutout
from elbowroom.parts.case.case_openings import AXIS_WALLS, BEHIND, FACE_AXES, FACES, Face, Rect, Wall
from elbowroom.parts.vocabulary.base import Box, Frame, Part
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, inverse
from elbowroom.parts.vocabulary.tolerances import ALIKE

STEP = 0.1  # mm: windows are marked out to this, rounded outward
_SAME = 1e-6  # mm2 of sheet: less is rounding


def cut_windows(pieces: Sequence[Piece], mates: Sequence[Mate]) -> list[Piece]:
    """The pieces, the case with every window that a part on one of its walls wants and the wall has not got."""
    by_name = {p.name: p for p in pieces}
    new: dict[str, list[Cutout]] = {}
    for mate in mates:
        piece, to = by_name[mate.piece], by_name[mate.to_piece]
        wanted = piece.part.wall_windows().get(mate.frame) if isinstance(to.part, Case) else None
        if wanted is None or not isinstance(to.part, Case):
            continue
        frame = to.part.frame(mate.to_frame)
        face = _face(to.part, frame)
        if frame.kind == "wall" and face is not None:
            own = compose(inverse(to.pose), piece.frame_pose(mate.frame))
            if not _open(to.part, face, _rect(own, wanted.least, face)):
                rect = _outward(_rect(own, wanted.box, face))
                cutout = _cutout(to.part, face, rect, f"{wanted.what} for {piece.name}")
                new.setdefault(to.name, []).append(cutout)
    out = []
    for p in pieces:
        if p.name in new and isinstance(p.part, Case):
            wall = p.part.model_copy(update={"cutouts": (*p.part.cutouts, *new[p.name])})
            out.append(replace(p, part=wall))
        else:
            out.append(p)
    return out


def in_field(part: Part, own: Frame, field: Frame) -> tuple[float, float]:
    """How far along a slot field's x (up) and y (toward the open side) a part is slid so that its window stands in the
    field's corner away from the board; beside the field, so that it stands as low as the field does.

    own: the part's frame that is brought to the field's, origin to origin and x along x but for this.
    """
    window = part.wall_windows().get(own.name)
    if window is None or field.name not in (FIELD, BESIDE) or field.size is None:
        return 0.0, 0.0
    box, (tall, wide) = window.box, field.size
    # Brought together, the part's y runs against the field's.
    return -tall / 2 - box.lo[0], wide / 2 + box.lo[1] if field.name == FIELD else 0.0


def _face(case: Case, frame: Frame) -> Face | None:
    """The face of the case whose inside a frame lies on."""
    return next((f for f in FACES if case.panel(f) in frame.bodies and frame.bodies), None)


def _rect(at: Pose, box: Box, face: str) -> Rect:
    """The rectangle round a part's window, in face coordinates."""
    corners = apply(at, [(x, y, 0.0) for x in (box.lo[0], box.hi[0]) for y in (box.lo[1], box.hi[1])])
    u, v = ("xyz".index(a) for a in FACE_AXES[face])
    lo, hi = np.min(corners, axis=0), np.max(corners, axis=0)
    return Rect(float(lo[u]), float(lo[v]), float(hi[u]), float(hi[v]))


def _outward(r: Rect) -> Rect:
    """To whole steps, rounded outward; what is a hair off a step, by arithmetic alone, is that step."""
    u0, v0 = (math.floor(x / STEP + ALIKE) * STEP for x in (r.u0, r.v0))
    u1, v1 = (math.ceil(x / STEP - ALIKE) * STEP for x in (r.u1, r.v1))
    return Rect(u0, v0, u1, v1)


def _open(case: Case, face: str, rect: Rect) -> bool:
    """Whether there is no sheet in a rectangle of a face."""
    import shapely

    left = shapely.union_all(case_cuts.pieces_left(case, face))
    return float(shapely.intersection(left, shapely.box(rect.u0, rect.v0, rect.u1, rect.v1)).area) < _SAME


def _cutout(case: Case, face: Face, r: Rect, name: str) -> Cutout:
    """The window as a cut-out, by the distances from its nearest walls."""
    at: dict[Wall, Mm] = {}
    size = case.face_size(face)
    for axis, lo, hi, length in zip(FACE_AXES[face], (r.u0, r.v0), (r.u1, r.v1), size, strict=True):
        low, high = AXIS_WALLS[axis]
        if axis == "y" and lo > length:
            at[BEHIND] = Mm(round(lo - size.behind, 6))
        elif lo <= length - hi:
            at[low] = Mm(round(lo, 6))
        else:
            at[high] = Mm(round(length - hi, 6))
    sizes = {SIZE_ALONG[a]: Mm(round(max(n, LEAST_CUT), 6))
             for a, n in zip(FACE_AXES[face], (r.u1 - r.u0, r.v1 - r.v0), strict=True)}  # fmt: skip
    return Cutout(face=face, at=at, size=sizes, radius=Mm(WINDOW_CORNER), to_cut=True, made_for=name)
