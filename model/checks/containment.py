"""Does every piece stand inside the case?

A piece can stand partly or wholly outside without meeting a panel: through an opening, or past a side that has none.
Interference is silent about that, so it is asked here, from the bodies' own extents: those of their meshes, and where
what a mesh cuts off its curved faces would decide, the true ones. What counts as inside:

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

from elbowroom.model.checks.unsound import boxed
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.told.findings import Basis, Finding, Point, Verdict
from elbowroom.model.told.wordings import assumed_by, tenths
from elbowroom.model.tolerances import CONTACT_MM, FLAT_ANGLE_RAD
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary.arrays import Floats

SOCKET_REACH = 5.0  # mm that sockets at the rear may stand proud of the panel; common practice, no source (P)
_SIDES = (
    (0, -1, "rear"), (0, 1, "front"), (1, -1, "open side"), (1, 1, "tray side"), (2, -1, "floor"), (2, 1, "roof"),
)  # fmt: skip


def check(scene: Scene, checker: Checker) -> list[Finding]:
    """A finding for each piece and side where it stands out of the case, or may."""
    layout = scene.layout
    if layout.interior is None:
        return []
    inner = np.array([layout.interior.lo, layout.interior.hi])
    outer = inner.copy()
    rooms = [box for p in layout.pieces if isinstance(p.part, Case) and (box := p.part.chamber_box) is not None]
    behind = np.array([rooms[0].lo, rooms[0].hi]) if rooms else None
    bodies: dict[str, list[int]] = {}
    for k, solid in enumerate(scene.solids):
        if solid.body.keep_out is not None:
            continue
        if solid.piece.part.encloses:
            outer = np.array([np.minimum(outer[0], solid.lo), np.maximum(outer[1], solid.hi)])
        elif not solid.piece.outside:
            bodies.setdefault(solid.piece.name, []).append(k)
    found: list[Finding] = []
    for own in bodies.values():
        solids = [scene.solids[k] for k in own]
        there = behind is not None and min(float(s.lo[1]) for s in solids) >= behind[0, 1] - CONTACT_MM
        found += _piece(checker, own, behind if there and behind is not None else inner, outer)
    return found


def _piece(checker: Checker, own: list[int], inner: Floats, outer: Floats) -> list[Finding]:
    solids = [checker.scene.solids[k] for k in own]
    layout, piece = checker.scene.layout, solids[0].piece
    faults = [s for s in solids if s.mesh.fault is not None and not (boxed(s, checker.store) and _within(s, inner))]
    if faults:
        why = faults[0].mesh.fault
        text = f"unknown whether {piece.name} stands inside the case; a mesh is not sound: {why}"
        return [Finding("containment", "unknown", (piece.name,), text, basis=Basis("none", 0.0, assumed_by(piece)))]
    found = []
    for axis, sign, side in _SIDES:
        end = 0 if sign < 0 else 1
        face = float(sign * inner[end, axis])
        wall = float(sign * outer[end, axis]) - face
        reach = wall + (SOCKET_REACH if side == "rear" else 0.0)
        # How far its farthest point stands out, and its nearest: negative where that is inside.
        out = _extent(checker, own, axis, sign, face, (0.0, reach))
        if out[1] <= CONTACT_MM:
            continue
        fixed = _fixed(layout, piece, axis, sign, inner, outer)
        last = _extent(checker, own, axis, -sign, -face, (0.0,))
        near = (-last[1], -last[0])
        within = fixed or out[1] <= reach + CONTACT_MM
        if within and near[1] < -CONTACT_MM:
            continue
        said = tenths(out[0] if out[0] > 0 else out[1])
        verdict: Verdict = "fail"
        if near[0] >= -CONTACT_MM:
            text = f"{piece.name} stands wholly outside the case, beyond the {side}, up to {said} out"
        elif out[0] > reach + CONTACT_MM and not fixed:
            text = (
                f"{piece.name} stands {said} out of the case through the {side}, {tenths(out[0] - wall)} past its panel"
            )
        else:
            verdict = "unknown"
            text = f"unknown whether {piece.name} stands inside the case at the {side}: how far its curved faces reach "
            text += f"there is known to {tenths(max(out[1] - out[0], near[1] - near[0]))} only"
        bound = out[1] - out[0]
        found.append(
            Finding(
                "containment", verdict, (piece.name,), text, (), out[0], "mm", reach, *out,
                (_farthest(solids, axis, sign),),
                Basis("mesh" if bound > CONTACT_MM else "exact", bound, assumed_by(piece)),
                place=side.replace(" ", "-"),
            )
        )  # fmt: skip
    return found


def _within(solid: Solid, inner: Floats) -> bool:
    """Whether a body's box, its bound included, lies in the free interior."""
    bound = solid.mesh.bound
    return bool((solid.lo - bound >= inner[0]).all() and (solid.hi + bound <= inner[1]).all())


def _extent(
    checker: Checker, own: list[int], axis: int, sign: int, face: float, limits: tuple[float, ...]
) -> tuple[float, float]:
    """How far the bodies stand past a face of the case (sign times its coordinate), mm, at least and at most.

    Known better than by the meshes' bounds where one of the limits, mm, lies between.
    """
    along = np.zeros(3)
    along[axis] = sign
    both = []
    for k in own:
        s = checker.scene.solids[k]
        far = float(max(sign * s.lo[axis], sign * s.hi[axis])) - face
        rough = (far, far + s.mesh.bound)
        if any(rough[0] <= m + CONTACT_MM < rough[1] for m in limits):
            rough = checker.reach(k, along, tuple(face + m + CONTACT_MM for m in limits))
            rough = (rough[0] - face, rough[1] - face)
        both.append(rough)
    return max(b[0] for b in both), max(b[1] for b in both)


def _fixed(layout: Layout, piece: Piece, axis: int, sign: int, inner: Floats, outer: Floats) -> bool:
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
            if not layout.piece(other).part.encloses:
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
