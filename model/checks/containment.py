"""Question 1d: does every piece stand inside the case?

A piece can stand partly or wholly outside without meeting a panel: through an opening, or past a side that has none.
Interference is silent about that, so it is asked here, from the meshes' own extents. What counts as inside:

- the free interior, and the walls round it as far as the case's own outermost faces (and what lies behind the tray):
  a card's bracket, sockets and a supply's rear face stand in the thickness of a panel. Whether they go through its
  opening or through its sheet is a question of interference.
- the room behind the tray, for what stands in it wholly, in the same way.
- farther out on a side, only what is fixed there: a piece that a mate joins to a frame of the case lying in that wall
  and looking through it, or to a piece that is fixed there itself (a card on its mount); and at the rear,
  `SOCKET_REACH` more, since sockets of boards and cards stand proud.

Pieces marked as outside, and the case itself, are not asked. A piece with no point in the interior is always wrong.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.checks.wordings import assumed_by, tenths
from elbowroom.model.findings import Basis, Finding, Point
from elbowroom.model.layout import Layout, Piece
from elbowroom.model.scene import Scene, Solid
from elbowroom.model.tolerances import CONTACT_MM, FLAT_ANGLE_RAD
from elbowroom.parts.case import Case

Array = NDArray[np.float64]
SOCKET_REACH = 5.0  # mm that sockets at the rear may stand proud of the panel; common practice, no source (P)
_SIDES = (
    (0, -1, "rear"), (0, 1, "front"), (1, -1, "open side"), (1, 1, "tray side"), (2, -1, "floor"), (2, 1, "roof"),
)  # fmt: skip


def check(scene: Scene) -> list[Finding]:
    """A finding for each piece and side where it stands out of the case."""
    layout = scene.layout
    if layout.interior is None:
        return []
    inner = np.array([layout.interior.lo, layout.interior.hi])
    outer = inner.copy()
    rooms = [box for p in layout.pieces if isinstance(p.part, Case) and (box := p.part.chamber_box) is not None]
    behind = np.array([rooms[0].lo, rooms[0].hi]) if rooms else None
    bodies: dict[str, list[Solid]] = {}
    for solid in scene.solids:
        if solid.body.keep_out is not None:
            continue
        if solid.piece.part.family == "case":
            outer = np.array([np.minimum(outer[0], solid.lo), np.maximum(outer[1], solid.hi)])
        elif not solid.piece.outside:
            bodies.setdefault(solid.piece.name, []).append(solid)
    found: list[Finding] = []
    for solids in bodies.values():
        there = behind is not None and min(float(s.lo[1]) for s in solids) >= behind[0, 1] - CONTACT_MM
        found += _piece(layout, solids[0].piece, solids, behind if there and behind is not None else inner, outer)
    return found


def _piece(layout: Layout, piece: Piece, solids: list[Solid], inner: Array, outer: Array) -> list[Finding]:
    faults = [s for s in solids if s.mesh.fault is not None]
    if faults:
        why = faults[0].mesh.fault
        text = f"unknown whether {piece.name} stands inside the case; a mesh is not sound: {why}"
        return [Finding("containment", "unknown", (piece.name,), text, basis=Basis("none", 0.0, assumed_by(piece)))]
    box = np.array([np.min([s.lo for s in solids], axis=0), np.max([s.hi for s in solids], axis=0)])
    bound = max(s.mesh.bound for s in solids)
    found = []
    for axis, sign, side in _SIDES:
        end = 0 if sign < 0 else 1
        out = float(sign * (box[end, axis] - inner[end, axis]))
        wall = float(sign * (outer[end, axis] - inner[end, axis]))
        wholly = float(sign * (box[1 - end, axis] - inner[end, axis])) >= -CONTACT_MM
        reach = wall + (SOCKET_REACH if side == "rear" else 0.0)
        within = out <= reach + CONTACT_MM or _fixed(layout, piece, axis, sign, inner, outer)
        if out <= CONTACT_MM or (within and not wholly):
            continue
        text = (
            f"{piece.name} stands {tenths(out)} out of the case through the {side}, {tenths(out - wall)} past its panel"
        )
        if wholly:
            text = f"{piece.name} stands wholly outside the case, beyond the {side}, up to {tenths(out)} out"
        found.append(
            Finding(
                "containment", "fail", (piece.name,), text, (), out, "mm", reach, out - bound, out + bound,
                (_farthest(solids, axis, sign),), Basis("mesh" if bound else "exact", bound, assumed_by(piece)),
                place=side.replace(" ", "-"),
            )
        )  # fmt: skip
    return found


def _fixed(layout: Layout, piece: Piece, axis: int, sign: int, inner: Array, outer: Array) -> bool:
    """Whether mates join the piece, itself or through others, to a frame of the case lying in and through this wall."""
    end = 0 if sign < 0 else 1
    lo, hi = sorted((float(inner[end, axis]), float(outer[end, axis])))
    joined, ask = {piece.name}, [piece.name]
    while ask:
        own = ask.pop()
        for mate in layout.mates:
            if own not in (mate.piece, mate.to_piece):
                continue
            other, frame = (mate.to_piece, mate.to_frame) if own == mate.piece else (mate.piece, mate.frame)
            if layout.piece(other).part.family != "case":
                if other not in joined:
                    joined.add(other)
                    ask.append(other)
                continue
            pose = layout.piece(other).frame_pose(frame)
            across = abs(abs(float(pose[axis, 2])) - 1.0) < FLAT_ANGLE_RAD
            if across and lo - CONTACT_MM <= pose[axis, 3] <= hi + CONTACT_MM:
                return True
    return False


def _farthest(solids: list[Solid], axis: int, sign: int) -> Point:
    """The piece's point farthest out on a side, in case coordinates."""
    points = np.concatenate([s.mesh.vertices @ s.pose[:3, :3].T + s.pose[:3, 3] for s in solids])
    p = points[int(np.argmax(sign * points[:, axis]))]
    return (float(p[0]), float(p[1]), float(p[2]))
