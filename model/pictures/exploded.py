"""The build pulled apart, each item with its number in the parts list and the list beside it.

Owns how far every piece is moved - out of the middle, what lies in layers at a wall farther from layer to layer, screws
and fittings out of what they are screwed into - and the numbers. Number 1 is the first row of `bom.csv`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.identity import Fitted, Screwed
from elbowroom.model.layout.layout import Piece
from elbowroom.model.pictures.balloons import RADIUS, balloon, has_room
from elbowroom.model.pictures.camera import camera, fit
from elbowroom.model.pictures.cut import corners
from elbowroom.model.pictures.hidden import Placed, draw
from elbowroom.model.pictures.sheet import HEIGHT, INK, MARGIN, SMALL, WIDTH, Picture, Sheet, fitted
from elbowroom.model.pictures.view import before
from elbowroom.model.screws.joints import Joint
from elbowroom.parts.vocabulary.arrays import Floats, Vector

LIST = 318.0  # px at the right, for the list
LINE_PX = 21.0
APART = 0.85  # share of its way from the middle that a piece is moved farther out. By choice
LAYERS_MM, SPREAD = 80.0, 1.7  # what stands this near to a wall is spread by so much more, so that layers part
OUT_MM = 34.0  # mm that screws and fittings stand out of what they are screwed into


def picture(scene: Scene, joints: Sequence[Joint], items: Sequence[tuple[str, list[Piece]]]) -> Picture:
    """items: the parts list, each with its label and pieces, in its order."""
    title = f"{scene.layout.title}, pulled apart"
    high = max(HEIGHT, 110 + LINE_PX * (len(items) + 1) + 30)
    sheet = Sheet(title, "numbered as the rows of the parts list, bom.csv", height=high)
    x0, y0, x1, y1 = sheet.room
    room = (x0, y0, x1 - LIST, y1 + 40)
    eye = camera("corner")
    moves = _moves(scene, joints)
    away = {id(s) for s in before(scene, eye.toward)}
    solids = [s for s in scene.solids if s.body.keep_out is None and id(s) not in away]
    placed = [Placed(s, moves[s.name if s.piece.part.encloses else s.piece.name]) for s in solids]
    ends = np.concatenate([corners(p.solid.lo + p.move, p.solid.hi + p.move) @ eye.axes for p in placed])
    put = fit(ends.min(axis=0), ends.max(axis=0), (room[0] + 16, room[1] + 16, room[2] - 16, room[3] - 16))
    drawn = draw(sheet, placed, eye, put, room)
    numbers = {p.name: n for n, (_, pieces) in enumerate(items, 1) for p in pieces}
    _balloons(sheet, placed, drawn.spots(), numbers, room)
    _list(sheet, items, x1 - LIST + 24, y0 + 12)
    return sheet.finished("exploded")


def _moves(scene: Scene, joints: Sequence[Joint]) -> dict[str, Vector]:
    """How far each piece is moved, and of a case each wall, by name."""
    boxes: dict[str, Floats] = {}
    for s in scene.solids:
        name = s.name if s.piece.part.encloses else s.piece.name
        known = boxes.get(name)
        now = np.array([s.lo, s.hi])
        boxes[name] = now if known is None else np.array([np.minimum(now[0], known[0]), np.maximum(now[1], known[1])])
    inner = scene.layout.interior
    lo = np.array(inner.lo) if inner is not None else np.min([b[0] for b in boxes.values()], axis=0)
    hi = np.array(inner.hi) if inner is not None else np.max([b[1] for b in boxes.values()], axis=0)
    middle, half = (lo + hi) / 2, (hi - lo) / 2
    by_name = {j.name: j for j in joints}
    out: dict[str, Vector] = {}

    def outward(box: Floats) -> Vector:
        off, thick = box.mean(axis=0) - middle, box[1] - box[0]
        beyond = np.maximum(np.abs(off) - (half - LAYERS_MM), 0.0)
        layer = (np.arange(3) == int(np.argmin(thick))) & (thick < LAYERS_MM)
        found: Vector = APART * off + SPREAD * np.sign(off) * beyond * layer
        return found

    def moved(piece: Piece) -> Vector:
        if piece.name in out:
            return out[piece.name]
        out[piece.name] = np.zeros(3)  # what is screwed into itself goes nowhere
        who = piece.identity
        if piece.name not in boxes:
            return out[piece.name]
        if isinstance(who, Screwed) and who.joint in by_name:
            axis = by_name[who.joint].axes[who.row]
            last = axis.passed[-1].piece if axis.passed else axis.piece
            out[piece.name] = moved(last) + OUT_MM * np.array(axis.out)
        elif isinstance(who, Fitted):
            host = scene.layout.piece(who.port.piece)
            out[piece.name] = moved(host) + OUT_MM * (1 + who.link) * host.frame_pose(who.port.frame)[:3, 2]
        else:
            out[piece.name] = outward(boxes[piece.name])
        return out[piece.name]

    for p in scene.layout.pieces:
        moved(p)
    out.update({s.name: outward(boxes[s.name]) for s in scene.solids if s.piece.part.encloses})
    return out


def _balloons(
    sheet: Sheet,
    placed: Sequence[Placed],
    spots: Mapping[int, tuple[float, float, int]],
    numbers: Mapping[str, int],
    room: tuple[float, float, float, float],
) -> None:
    """A number for each item, at the piece of it that is seen best, as near to it as the others leave room."""
    best: dict[int, tuple[float, float, int]] = {}
    for k, found in spots.items():
        n = numbers.get(placed[k].solid.piece.name)
        if n is not None and found[2] > best.get(n, (0.0, 0.0, 0))[2]:
            best[n] = found
    for n, (x, y, area) in sorted(best.items(), key=lambda b: b[1][2]):
        inside = area > 40 * RADIUS**2
        for far in (0.0, 34.0, 60.0, 90.0, 130.0) if inside else (30.0, 48.0, 70.0, 100.0, 140.0):
            ways = [(np.cos(a), np.sin(a)) for a in np.arange(-0.75, 5.5, np.pi / 6)] if far else [(0.0, 0.0)]
            at = next(
                (p for c, s in ways if has_room(sheet, p := (x + far * c, y + far * s), room)),
                None,
            )
            if at is not None:
                balloon(sheet, n, (x, y), at, bool(far))
                break


def _list(sheet: Sheet, items: Sequence[tuple[str, list[Piece]]], x: float, y: float) -> None:
    for n, (label, pieces) in enumerate(items, 1):
        sheet.text(x + 24, y, str(n), SMALL, INK, "end")
        count = f"{len(pieces)} x "
        sheet.text(x + 36, y, fitted(count + label, SMALL, WIDTH - MARGIN - x - 36), SMALL)
        y += LINE_PX
