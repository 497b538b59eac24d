"""Views of a whole build: from four sides with its overall dimensions, and pulled apart with the parts list's numbers.

Owns what is left out so that one sees inside (the walls between the viewer and the parts, which are shown by their
outline), the dimensions, names and numbers. Drawing the lines is `hidden`'s.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.directions import open_side_of
from elbowroom.model.pictures.camera import Camera, Fit, camera, fit
from elbowroom.model.pictures.cut import corners
from elbowroom.model.pictures.dimension import span
from elbowroom.model.pictures.hidden import Drawn, Placed, draw
from elbowroom.model.pictures.sheet import (
    FIRST,
    INK,
    MARGIN,
    SMALL,
    SOFT,
    WIDTH,
    Picture,
    Sheet,
    fitted,
    slug,
)
from elbowroom.model.templates.lettering import wide
from elbowroom.parts.vocabulary.arrays import Floats, Vector

FOR_DIMENSIONS = 84.0  # px at the right of a view, for its height
BELOW = 58.0  # px under it, for its width
NAMED_PX = 1400  # px of a part seen from which on it is named. By choice
EDGE_MM = 0.5  # a wall that begins this near to the inside of the case stands outside of it: rounding and films


def overall(scene: Scene) -> tuple[Floats, Floats]:
    """The corners of all that is solid."""
    solid = [s for s in scene.solids if s.body.keep_out is None]
    return np.min([s.lo for s in solid], axis=0), np.max([s.hi for s in solid], axis=0)


def before(scene: Scene, toward: Vector) -> list[Solid]:
    """The bodies of the case that stand between its inside and a viewer in that direction."""
    interior = scene.layout.interior
    if interior is None:
        return []
    out = []
    for s in scene.solids:
        if not s.piece.part.encloses:
            continue
        for k in range(3):
            beyond = s.lo[k] - interior.hi[k] if toward[k] > 0 else interior.lo[k] - s.hi[k]
            if abs(toward[k]) > 0.1 and beyond >= -EDGE_MM:
                out.append(s)
                break
    return out


def view(scene: Scene, name: str) -> Picture:
    """The build seen from a side, with its overall dimensions."""
    eye = camera(name)
    side = open_side_of(scene.layout) if name == "open" else name
    words = f"{scene.layout.title}, seen from {'a' if name == 'corner' else 'the'} {side}"
    lo, hi = overall(scene)
    away = before(scene, eye.toward)
    says = "drawn with the walls on this side taken off" if away else ""
    sheet = Sheet(words, says, attributes={"view": name, "overall": " ".join(_mm(v) for v in hi - lo)})
    x0, y0, x1, y1 = sheet.room
    room = (x0 + 24, y0 + 4, x1 - FOR_DIMENSIONS, y1 + 28 - BELOW)
    box = corners(lo, hi) @ eye.axes
    put = fit(box.min(axis=0), box.max(axis=0), room)
    still = np.zeros(3)
    placed = [Placed(s, still) for s in scene.solids if s.body.keep_out is None and s not in away]
    drawn = draw(sheet, placed, eye, put, room)
    _left_out(sheet, away, eye, put)
    if name == "corner":
        _three(sheet, lo, hi, eye, put)
    else:
        _two(sheet, box, put)
    _named(sheet, placed, drawn)
    return sheet.finished(f"view-{name}")


def one(scene: Scene, piece: str) -> Picture:
    """One piece in its place: seen from the corner, all else pale, with its own dimensions."""
    eye = camera("corner")
    lo, hi = overall(scene)
    own = [s for s in scene.solids if s.piece.name == piece and s.body.keep_out is None]
    a, b = np.min([s.lo for s in own], axis=0), np.max([s.hi for s in own], axis=0)
    edges = " x ".join(_mm(v) for v in b - a)
    says = f"{edges} mm along the case: rear to front, {open_side_of(scene.layout)} to tray, floor to roof"
    sheet = Sheet(piece, says, attributes={"piece": piece, "overall": " ".join(_mm(v) for v in b - a)})
    room = sheet.room
    room = (room[0], room[1], room[2], room[3] + 36)
    box = corners(lo, hi) @ eye.axes
    put = fit(box.min(axis=0), box.max(axis=0), room)
    away = before(scene, eye.toward)
    still = np.zeros(3)
    rest = [s for s in scene.solids if s.body.keep_out is None and s not in away and s.piece.name != piece]
    # What stands before the piece must not hide it: all else is drawn first, and the piece over it.
    draw(sheet, [Placed(s, still) for s in rest], eye, put, room, dict.fromkeys(range(len(rest)), "#efeee9"))
    _veil(sheet, room)
    draw(sheet, [Placed(s, still) for s in own], eye, put, room, dict.fromkeys(range(len(own)), FIRST))
    return sheet.finished(f"piece-{slug(piece)}")


def _veil(sheet: Sheet, room: tuple[float, float, float, float]) -> None:
    sheet.rect(room[0], room[1], room[2] - room[0], room[3] - room[1], fill="#fbfaf6b0")


def _mm(value: float) -> str:
    return f"{round(float(value), 1) + 0.0:g}"


def _left_out(sheet: Sheet, away: Sequence[Solid], eye: Camera, put: Fit) -> None:
    """The outlines of the walls that are taken off."""
    for s in away:
        if np.prod(np.sort(s.hi - s.lo)[1:]) < 1e4:  # mm2: of small things no outline helps
            continue
        flat = corners(s.lo, s.hi) @ eye.axes
        a, b = put(np.array([flat.min(axis=0)[:2], flat.max(axis=0)[:2]]))
        if np.abs(eye.toward).max() > 0.99:
            sheet.rect(a[0], b[1], b[0] - a[0], a[1] - b[1], stroke=SOFT, width_px=1, dashes="10 4 2 4")


def _two(sheet: Sheet, box: Floats, put: Fit) -> None:
    """Width under the drawing and height at its right."""
    lo, hi = box.min(axis=0), box.max(axis=0)
    left, right = put.at(lo[0], lo[1]), put.at(hi[0], lo[1])
    top = put.at(hi[0], hi[1])
    span(sheet, left, right, f"{_mm(hi[0] - lo[0])} mm", 24)
    span(sheet, top, right, f"{_mm(hi[1] - lo[1])} mm", -20)


def _three(sheet: Sheet, lo: Floats, hi: Floats, eye: Camera, put: Fit) -> None:
    """All three along the edges of the box nearest below, on both sides of the lowest corner."""

    def at(x: float, y: float, z: float) -> tuple[float, float]:
        p = np.array([x, y, z]) @ eye.axes
        return put.at(float(p[0]), float(p[1]))

    front = at(hi[0], lo[1], lo[2])
    span(sheet, at(lo[0], lo[1], lo[2]), front, f"{_mm(hi[0] - lo[0])} mm", 22)
    span(sheet, front, at(hi[0], hi[1], lo[2]), f"{_mm(hi[1] - lo[1])} mm", 22)
    span(sheet, at(hi[0], hi[1], lo[2]), at(hi[0], hi[1], hi[2]), f"{_mm(hi[2] - lo[2])} mm", 22)


def _named(sheet: Sheet, placed: Sequence[Placed], drawn: Drawn) -> None:
    """The names of what is seen well, each where it is seen, the largest first."""
    spots: dict[str, tuple[float, float, int]] = {}
    for k, found in drawn.spots().items():
        piece = placed[k].solid.piece
        if not piece.part.encloses and (piece.name not in spots or found[2] > spots[piece.name][2]):
            spots[piece.name] = found
    for name, (x, y, area) in sorted(spots.items(), key=lambda s: -s[1][2]):
        if area >= NAMED_PX:
            words = fitted(name, SMALL, 190)
            half = wide(words, SMALL) / 2
            at = [(min(max(x, half + MARGIN), WIDTH - MARGIN - half), y + 5 + dy, "middle") for dy in (0, -17, 17, 34)]
            sheet.placed(at, words, SMALL, INK)
