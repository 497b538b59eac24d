"""Where a point is in the case, as one says it to someone who looks in: near the roof at the front, by the tray.

Owns those words, the distances a person with a tape finds the point by, and which way the face of a joint looks, since
patterns of holes go by letters. Directions are `directions`' work.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from elbowroom.model.build.spec import WALLS
from elbowroom.model.layout.directions import OPEN_SIDE, open_side_of, sides, toward
from elbowroom.model.layout.layout import Layout
from elbowroom.model.told.findings import Finding, Point
from elbowroom.model.told.particulars import AtJoint
from elbowroom.parts.vocabulary.base import Box

THIRD = 1 / 3  # of the case along an axis: nearer to a wall than that is told, what lies between is not
PANEL_MM = 10.0  # what lies no farther out stands in a panel or is fixed to it: common practice, no source (P)
_WORDS = ((2, "near the {}"), (0, "at the {}"), (1, "by the {}"))  # height first: it is what one sees first


def place(point: Point, interior: Box, open_side: str = OPEN_SIDE) -> str:
    """The third of the case a point lies in along each axis; beyond which sides it lies, where it is outside."""
    out, within = [], []
    for axis, words in _WORDS:
        size = interior.hi[axis] - interior.lo[axis]
        share = (point[axis] - interior.lo[axis]) / size
        low, high = sides(open_side)[axis]
        if not -PANEL_MM <= share * size <= size + PANEL_MM:
            out.append(f"beyond the {high if share > 1 else low}")
        elif not THIRD <= share <= 1 - THIRD:
            within.append(words.format(high if share > 0.5 else low))
    if out:
        return "outside the case, " + " and ".join(out)
    return " ".join(within) or "in the middle of the case"


def located(findings: Sequence[Finding], layout: Layout) -> list[Finding]:
    """The same findings, each with where it is in words (`spot`), where there is a case and a point, and those about a
    joint with where the face its screws go into looks (`joint_face`).
    """
    side, faces, out = open_side_of(layout), dict[str, str | None](), []
    for f in findings:
        spot = place(f.where[0], layout.interior, side) if layout.interior is not None and f.where else ""
        face = None
        if isinstance(f.about, AtJoint):
            if f.about.joint not in faces:
                faces[f.about.joint] = _face(layout, f.about, side)
            face = faces[f.about.joint]
        out.append(replace(f, spot=spot, joint_face=face) if spot or face is not None else f)
    return out


def _face(layout: Layout, at: AtJoint, side: str) -> str | None:
    """Where the face of a joint looks, in words; None where no piece has that pattern."""
    for piece in layout.pieces:
        if piece.name == at.piece:
            for p in piece.part.patterns():
                if p.name == at.pattern:
                    out = piece.pose[:3, :3] @ p.pose[:3, 2]
                    return toward([float(c) for c in out], side)
    return None


def distances(point: Point, interior: Box) -> str:
    """Whole millimetres from the rear, the tray and the floor: enough to find a place, exact ones are in the JSON."""
    told = []
    for wall in ("rear", "tray", "floor"):
        axis, far = WALLS[wall]
        away = interior.hi[axis] - point[axis] if far else point[axis] - interior.lo[axis]
        told.append(f"{wall} {round(away) + 0:d}")
    return ", ".join(told)
