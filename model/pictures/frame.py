"""What every close-up has beside its drawing: where in the case it is, how it is looked at, and how large it is drawn.

Owns the column at the right of a page - a small plan of the case with the place marked, in the same view - and the
scale bar. Leaves what is drawn to its own module.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.directions import open_side_of, sides
from elbowroom.model.pictures.camera import Camera, Fit, fit
from elbowroom.model.pictures.cut import Plane, corners
from elbowroom.model.pictures.sheet import INK, LINE, MARGIN, SMALL, SOFT, WIDTH, Box, Sheet, wrapped
from elbowroom.parts.vocabulary.arrays import Floats

COLUMN = 236.0  # px of the column at the right
GAP = 18.0
STEADY = 0.999  # cosine of the angle within which a view is called by the wall it is seen from
_BARS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200)  # mm


def drawing_room(sheet: Sheet, high: float | None = None) -> Box:
    """Where the drawing stands: left of the column, above the legend."""
    x0, y0, x1, y1 = sheet.room
    return (x0, y0, x1 - COLUMN - GAP, y1 if high is None else min(y1, y0 + high))


def seen(camera: Camera, scene: Scene) -> str:
    """From where one looks, in words."""
    w = camera.toward
    k = int(np.argmax(np.abs(w)))
    name = sides(open_side_of(scene.layout))[k][int(w[k] > 0)]
    return f"seen from the {name}" if abs(w[k]) > STEADY else f"seen at an angle, most from the {name}"


def height_of(plane: Plane, scene: Scene) -> str:
    """Where a plane square to the case's axes stands, from the walls a builder measures from."""
    w = plane.camera.toward
    k = int(np.argmax(np.abs(w)))
    interior = scene.layout.interior
    if abs(w[k]) <= STEADY or interior is None:
        return ""
    low, value = ("rear", "tray", "floor")[k], float(plane.origin[k])
    value = interior.hi[1] - value if k == 1 else value - interior.lo[k]
    return f"{value:.1f} mm from the {low}" if k != 2 else f"{value:.1f} mm above the floor"


def column(
    sheet: Sheet, scene: Scene, plane: Plane, view: Box, marked: Mapping[str, str], words: Sequence[str] = ()
) -> None:
    """The column: the plan with the window `view` (mm, in the plane's coordinates) and the marked pieces (name: fill),
    how it is seen, and more words."""
    x0, y0 = WIDTH - MARGIN - COLUMN, sheet.top
    room = (x0 + 6, y0 + 6, WIDTH - MARGIN - 6, y0 + COLUMN - 6)
    sheet.rect(x0, y0, COLUMN, COLUMN, stroke=LINE)
    boxes: dict[str, Floats] = {}
    for solid in scene.solids:
        if solid.body.keep_out is None and (not solid.piece.part.small or solid.piece.name in marked):
            box = plane.flat(corners(solid.lo, solid.hi))[:, :2]
            known = boxes.get(solid.piece.name)
            lo, hi = box.min(axis=0), box.max(axis=0)
            boxes[solid.piece.name] = (
                np.array([lo, hi]) if known is None else np.array([np.minimum(lo, known[0]), np.maximum(hi, known[1])])
            )
    if not boxes:
        return
    around = {p.name for p in scene.layout.pieces if p.part.encloses}
    lo = np.min([*(b[0] for b in boxes.values()), view[:2]], axis=0)
    hi = np.max([*(b[1] for b in boxes.values()), view[2:]], axis=0)
    put = fit(lo, hi, room)
    with sheet.group(clip=(x0, y0, x0 + COLUMN, y0 + COLUMN), id="where"):
        ordered = sorted(boxes.items(), key=lambda b: (b[0] in marked, -float(np.prod(b[1][1] - b[1][0]))))
        for name, (a, b) in ordered:
            (px, py), (qx, qy) = put.at(a[0], b[1]), put.at(b[0], a[1])
            fill = marked.get(name, "none") if name not in around else "none"
            sheet.rect(px, py, qx - px, qy - py, fill=fill, stroke=INK if name in marked else LINE, width_px=1)
        (px, py), (qx, qy) = put.at(view[0], view[3]), put.at(view[2], view[1])
        cx, cy, r = (px + qx) / 2, (py + qy) / 2, max(qx - px, qy - py, 16) / 2 + 3
        sheet.rect(px, py, qx - px, qy - py, stroke=INK, width_px=1.5)
        if r < COLUMN / 4:  # what fills half of the plan needs no ring to be found
            sheet.circle(cx, cy, r * 1.25, stroke=INK, width_px=2.5)
    y = y0 + COLUMN + 26
    lines = [seen(plane.camera, scene), height_of(plane, scene), *words]
    for words_ in (w for w in lines if w):
        for line in wrapped(words_, SMALL, COLUMN, 5):
            sheet.text(x0, y, line, SMALL, SOFT)
            y += 20
        y += 6


def scale_bar(sheet: Sheet, put: Fit, room: Box) -> None:
    """A bar of a round length in the lower right of a drawing's room, with its length."""
    length = max((b for b in _BARS if b * put.scale <= 170), default=_BARS[0])
    px = length * put.scale
    x1, y = room[2] - 14, room[3] - 14
    sheet.words.append((x1 - px - 10, y - 27, x1 + 10, y + 9))
    sheet.rect(x1 - px - 10, y - 27, px + 20, 36, fill="#fbfaf6", stroke=LINE)
    sheet.lines([[(x1 - px, y - 5), (x1 - px, y), (x1, y), (x1, y - 5)]], INK, 2)
    sheet.text(x1 - px / 2, y - 9, f"{length:g} mm", SMALL, INK, "middle")


def name_of(solid: Solid) -> str:
    """A body as the findings name it; of a piece of one body the piece alone."""
    return solid.name if len(solid.piece.part.bodies()) > 1 else solid.piece.name
