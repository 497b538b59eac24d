"""The cuts of one panel of a case as plane figures: which lie free of each other, and what they leave of the panel.

Owns that question, for the drawing and for the findings alike. Free cuts are drawn as holes of the panel's face, which
is quick; those that meet another or the panel's edge are cut out one after the other.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from elbowroom.parts.case import case_holes
from elbowroom.parts.case.case_fittings import TAIL_RELIEF
from elbowroom.parts.case.case_openings import Cut, Rect
from elbowroom.parts.vocabulary.tolerances import ROUNDING

if TYPE_CHECKING:
    from elbowroom.parts.case.case import Case

ROUND = 32  # segments of a quarter circle: off by a thousandth of the radius, and tools are apart by CLOSE
CLOSE = 0.02  # mm: figures nearer than this are taken as meeting: above what ROUND takes from a radius of 60
LEAST = 1e-3  # mm2 of panel: smaller pieces are rounding


def cuts(case: Case, face: str) -> list[Cut]:
    """Everything cut in a face, in face coordinates."""
    size = case.face_size(face)
    out = [c for o in case.openings.values() if o.face == face for c in o.cuts(size)]
    return out + [c for group in case.fixed_cuts(face).values() for c in group] + case_holes.drilled(case, face)


def outline(case: Case, face: str) -> list[tuple[float, float]]:
    """Corners of a panel in face coordinates: a rectangle, the tray with the notch for card brackets' tails."""
    t, (d, _, h), back = float(case.sheet), case.size, case.back
    r = {
        "floor": Rect(-t, 0.0, d + t, back), "roof": Rect(-t, 0.0, d + t, back), "front": Rect(0.0, 0.0, back, h),
        "rear": Rect(0.0, 0.0, back, h), "tray": Rect(0.0, 0.0, d, h), "open": Rect(-t, -t, d + t, h + t),
    }[face]  # fmt: skip
    square = [(r.u0, r.v0), (r.u1, r.v0), (r.u1, r.v1), (r.u0, r.v1)]
    notch = case.board.tail_notch(case.interior, case.slots) if face == "tray" and case.board else None
    if notch is None:
        return square
    lo, hi = max(0.0, notch[0]), min(h, notch[1])
    if hi <= lo:
        return square
    foot = [(0.0, 0.0), (0.0, lo), (TAIL_RELIEF, lo)] if lo > 0 else [(TAIL_RELIEF, 0.0)]
    head = [(d, h), (0.0, h), (0.0, hi), (TAIL_RELIEF, hi)] if hi < h else [(d, h), (TAIL_RELIEF, h)]
    return [foot[0], (d, 0.0), *head, *reversed(foot[1:])]


def sorted_cuts(case: Case, face: str) -> tuple[list[Cut], list[Cut]]:
    """The cuts of a face that lie free in the panel, and those that meet one another or its edge."""
    import shapely

    found = cuts(case, face)
    if not found:
        return [], []
    figures = [figure(c) for c in found]
    panel = shapely.Polygon(outline(case, face))
    rough = {i for i, f in enumerate(figures) if not panel.contains(f) or panel.exterior.distance(f) < CLOSE}
    a, b = shapely.STRtree(figures).query(figures, predicate="dwithin", distance=CLOSE)
    rough |= {int(i) for i, j in zip(a, b, strict=True) if i != j}
    return [c for i, c in enumerate(found) if i not in rough], [found[i] for i in sorted(rough)]


def pieces_left(case: Case, face: str) -> list[Any]:
    """What the cuts leave of a panel, as shapely polygons, the largest first."""
    import shapely

    panel = shapely.Polygon(outline(case, face))
    left = shapely.difference(panel, shapely.union_all([figure(c) for c in cuts(case, face)]))
    pieces = [p for p in getattr(left, "geoms", [left]) if p.area > LEAST]
    return sorted(pieces, key=lambda p: -float(p.area))


def figure(c: Cut) -> Any:
    """A cut as a shapely polygon, in face coordinates."""
    import shapely

    if c.kind == "rectangle":
        r = c.rect
        inner = min(c.radius, (r.u1 - r.u0) / 2, (r.v1 - r.v0) / 2) * (1 - ROUNDING)
        box = shapely.box(r.u0 + inner, r.v0 + inner, r.u1 - inner, r.v1 - inner)
        return box.buffer(inner, quad_segs=ROUND) if inner > 0 else box
    du, dv = (0.0, c.length / 2) if c.along_v else (c.length / 2, 0.0)
    line = shapely.LineString([(c.u - du, c.v - dv), (c.u + du, c.v + dv)]) if c.length > 0 else shapely.Point(c.u, c.v)
    return line.buffer(c.width / 2, quad_segs=ROUND)
