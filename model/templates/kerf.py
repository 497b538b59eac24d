"""Kerf: the width a beam or a blade takes, half of it on each side of the line it follows.

Owns both ways of looking at it. `as_cut`: what is left when the beam follows the drawn lines - an opening grows by the
kerf, a part shrinks by it. `compensated`: the lines to follow so that what is left is what was drawn - openings are
drawn smaller, outer edges larger. A round beam leaves the corners of an opening rounded by half the kerf; neither can
change that. Circles change by their diameter and outlines side by side, exactly, as long as no side vanishes; where
one does, shapely offsets the outline's chords instead (error `FREE_CHORD`).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from elbowroom.model.templates.drawing import Circle, Drawing, Entity, Outline, TemplateError
from elbowroom.parts.vocabulary.contour import (
    STRAIGHT,
    Arc,
    Contour,
    Point,
    arc_of,
    area,
    flattened,
    length,
    sides,
    turned_round,
)
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH

FREE_CHORD = 0.005  # mm: of arcs in an outline that is not offset side by side; a twentieth of a laser's +-0.1 (V)
MITRE = 4.0  # times the offset a corner may stand out; sharper ones are cut off, as every cutter's software does (P)
SMOOTH_RAD = 1e-6  # sides that meet at less than this run into each other
LARGEST = 5.0  # mm: no saw cuts wider; a larger value is a slip of the unit


def as_cut(drawing: Drawing, kerf: float) -> Drawing:
    """The part and its openings as a beam of that width leaves them when it follows the drawing's lines."""
    return _changed(drawing, _checked(kerf))


def compensated(drawing: Drawing, kerf: float) -> Drawing:
    """The lines to follow with a beam of that width, so that what it leaves is the drawing; on layers cut and drill.

    The hole table keeps the finished sizes. Raises TemplateError where an opening is narrower than the kerf.
    """
    note = f"Kerf {kerf:g} mm is allowed for: openings are drawn {kerf:g} mm smaller, outer edges {kerf:g} mm larger."
    changed = _changed(drawing, -_checked(kerf))
    return replace(changed, notes=(*drawing.notes, note)) if kerf else drawing


def _checked(kerf: float) -> float:
    if not 0 <= kerf <= LARGEST:
        raise TemplateError(f"kerf {kerf:g}: expected a width from 0 to {LARGEST:g} mm")
    return kerf


def _changed(drawing: Drawing, wider: float) -> Drawing:
    """Openings `wider` mm wider, outer edges as much narrower."""
    out: list[Entity] = []
    for e in drawing.entities:
        if e.layer in ("cut", "drill") and isinstance(e, (Circle, Outline)) and wider:
            grow = wider / 2 if e.inside else -wider / 2
            if isinstance(e, Circle):
                diameter = e.diameter + 2 * grow
                if diameter <= 0:
                    raise TemplateError(f"a circle of {e.diameter:g} mm is narrower than the kerf of {abs(wider):g}")
                out.append(replace(e, diameter=diameter))
            else:
                out.append(replace(e, contour=offset(e.contour, grow)))
        else:
            out.append(e)
    return replace(drawing, entities=tuple(out))


def offset(contour: Contour, grow: float) -> Contour:
    """The outline moved outward by `grow` mm (inward where negative); raises TemplateError where nothing is left."""
    if area(contour) < 0:
        return turned_round(offset(turned_round(contour), grow))
    exact = _side_by_side(contour, grow)
    free = _freely(contour, grow)
    if exact is not None:
        import shapely

        drawn = shapely.Polygon(flattened(exact, FREE_CHORD))
        # Both are right to the chords; a side that turned about would leave a whole strip between them.
        if drawn.is_valid and drawn.symmetric_difference(free).area <= 3 * FREE_CHORD * length(exact):
            return exact
    return tuple((float(x), float(y), 0.0) for x, y in list(free.exterior.coords)[:-1])


def _freely(contour: Contour, grow: float) -> Any:
    """The offset of the outline's chords, anticlockwise; corners stay corners."""
    import shapely

    polygon = shapely.Polygon(flattened(contour, FREE_CHORD))
    moved = polygon.buffer(grow, join_style="mitre", mitre_limit=MITRE)
    if moved.is_empty or moved.geom_type != "Polygon" or moved.interiors:
        x0, y0, x1, y1 = polygon.bounds
        raise TemplateError(
            f"an outline of {x1 - x0:g} x {y1 - y0:g} mm closes or falls apart at a kerf of {2 * abs(grow):g} mm"
        )
    return shapely.geometry.polygon.orient(moved)


def _side_by_side(contour: Contour, grow: float) -> Contour | None:
    """Every side moved by itself and joined to the next where they meet again; None where one of them vanishes."""
    moved: list[tuple[Point, Point, Arc | None]] = []
    for v, w in sides(contour):
        if abs(v[2]) <= STRAIGHT:
            d = math.dist(v[:2], w[:2])
            if d < NO_LENGTH:
                return None
            nx, ny = grow * (w[1] - v[1]) / d, -grow * (w[0] - v[0]) / d
            moved.append(((v[0] + nx, v[1] + ny), (w[0] + nx, w[1] + ny), None))
        else:
            arc = arc_of(v, w, v[2])
            radius = arc.radius + grow * math.copysign(1.0, arc.sweep)
            if radius <= 0:
                return None
            bent = replace(arc, radius=radius)
            moved.append((bent.at(0), bent.at(1), bent))
    n = len(moved)
    corners = []
    for i in range(n):
        corner = _joint(moved[i - 1], moved[i], (contour[i][0], contour[i][1]), grow)
        if corner is None:
            return None
        corners.append(corner)
    out = []
    for i, (a, b, kept) in enumerate(moved):
        start, end = corners[i], corners[(i + 1) % n]
        bulge = 0.0
        if kept is not None:
            bulge = _bulge(kept, start, end)
        elif (end[0] - start[0]) * (b[0] - a[0]) + (end[1] - start[1]) * (b[1] - a[1]) <= 0:
            return None  # the side has turned about: it was shorter than what its corners take
        out.append((start[0], start[1], bulge))
    return tuple(out)


def _bulge(arc: Arc, start: Point, end: Point) -> float:
    cx, cy = arc.centre
    a, b = math.atan2(start[1] - cy, start[0] - cx), math.atan2(end[1] - cy, end[0] - cx)
    sweep = (b - a) % (2 * math.pi)
    if arc.sweep < 0:
        sweep -= 2 * math.pi
    return math.tan(sweep / 4)


def _joint(
    before: tuple[Point, Point, Arc | None], after: tuple[Point, Point, Arc | None], corner: Point, grow: float
) -> Point | None:
    """Where two moved sides meet, nearest the corner they met at before; None where they do not, or too far off."""
    ax, ay = _heading(before, end=True)
    bx, by = _heading(after, end=False)
    if abs(ax * by - ay * bx) < SMOOTH_RAD:
        return after[0] if ax * bx + ay * by > 0 else None
    found = min(_meetings(before, after), key=lambda p: math.dist(p, corner), default=None)
    return found if found is not None and math.dist(found, corner) <= MITRE * abs(grow) else None


def _heading(side: tuple[Point, Point, Arc | None], *, end: bool) -> Point:
    a, b, arc = side
    if arc is None:
        d = math.dist(a, b)
        return ((b[0] - a[0]) / d, (b[1] - a[1]) / d)
    angle = arc.start + (arc.sweep if end else 0.0)
    turn = math.copysign(1.0, arc.sweep)
    return (-math.sin(angle) * turn, math.cos(angle) * turn)


def _meetings(one: tuple[Point, Point, Arc | None], two: tuple[Point, Point, Arc | None]) -> list[Point]:
    """Where the endless lines or whole circles of two sides cross."""
    (a, b, arc), (c, d, other) = one, two
    if arc is None and other is None:
        ux, uy, vx, vy = b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]
        t = ((c[0] - a[0]) * vy - (c[1] - a[1]) * vx) / (ux * vy - uy * vx)
        return [(a[0] + t * ux, a[1] + t * uy)]
    if arc is not None and other is not None:
        (x0, y0), (x1, y1) = arc.centre, other.centre
        apart = math.hypot(x1 - x0, y1 - y0)
        if apart < NO_LENGTH:
            return []
        along = (apart**2 + arc.radius**2 - other.radius**2) / (2 * apart)
        ux, uy = (x1 - x0) / apart, (y1 - y0) / apart
        foot, half = (x0 + along * ux, y0 + along * uy), arc.radius**2 - along**2
    else:
        line, round_ = ((a, b), other) if arc is None else ((c, d), arc)
        assert round_ is not None  # one of the two is an arc
        (px, py), (qx, qy) = line
        far = math.dist(*line)
        ux, uy = (qx - px) / far, (qy - py) / far
        along = (round_.centre[0] - px) * ux + (round_.centre[1] - py) * uy
        foot = (px + along * ux, py + along * uy)
        half = round_.radius**2 - math.dist(foot, round_.centre) ** 2
        ux, uy = uy, -ux  # the crossings lie along the line, square to this
    if half < 0:
        return []
    h = math.sqrt(half)
    return [(foot[0] - h * uy, foot[1] + h * ux), (foot[0] + h * uy, foot[1] - h * ux)]
