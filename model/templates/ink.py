"""Drawing's shapes in the strokes of a PDF: line types, colours, arcs.

Owns how each entity is drawn on a canvas whose unit is the point. Arcs become Bezier curves of at most 45
degrees each, which stay within 5e-6 of their radius: 2 micrometres on the largest arc a sheet of 2 m can hold.
"""

from __future__ import annotations

import math
from typing import Any

from elbowroom.model.templates.drawing import Circle, Cross, Drawing, Entity, Layer, Line, Outline, Text
from elbowroom.model.templates.lettering import set_in
from elbowroom.parts.vocabulary.contour import STRAIGHT, Arc, Contour, Point, arc_of, circle, sides
from elbowroom.parts.vocabulary.tolerances import ROUNDING

MM = 72 / 25.4  # points in a millimetre: the PDF unit is 1/72 in (ISO 32000-1, 8.3.2.3)
STEP = math.pi / 4  # largest angle of one curve

WIDTH: dict[Layer, float] = {"cut": 0.25, "drill": 0.25, "fold": 0.2, "mark": 0.15}  # mm
DASHES: dict[Layer, tuple[float, ...]] = {
    "cut": (),
    "drill": (1.5, 0.75),
    "fold": (4, 1.25, 0.5, 1.25),
    "mark": (0.5, 0.6),
}


def rule(
    canvas: Any,
    a: Point,
    b: Point,
    width: float,
    dashes: tuple[float, ...] = (),
) -> None:
    """A straight line between two points of the page, mm."""
    _pen(canvas, width, dashes)
    canvas.line(a[0] * MM, a[1] * MM, b[0] * MM, b[1] * MM)


def ink(
    canvas: Any, drawing: Drawing, shift: Point, window: tuple[float, float, float, float] | None, plain: float = 0.0
) -> None:
    """The drawing's shapes, moved by `shift` mm; those outside the window (drawing coordinates) are left out.

    plain: draw lines that many times as wide, undashed and without words, for a picture made small; 0: as they are.
    """
    for e in drawing.entities:
        b = e.box
        if window is not None and (b[2] < window[0] or b[0] > window[2] or b[3] < window[1] or b[1] > window[3]):
            continue
        if plain and isinstance(e, (Text, Cross)):
            continue
        width = 0.12 * plain if plain else WIDTH[e.layer]
        _pen(canvas, width, () if plain else DASHES[e.layer])
        _shape(canvas, e, shift)
    _pen(canvas, 0.2, ())


def _pen(canvas: Any, width: float, dashes: tuple[float, ...]) -> None:
    """All is black: layers are told apart by dashes and names, which a printer without colour shows as well."""
    canvas.setLineWidth(width * MM)
    canvas.setDash([d * MM for d in dashes])
    canvas.setStrokeColorRGB(0, 0, 0)
    canvas.setFillColorRGB(0, 0, 0)


def _shape(canvas: Any, e: Entity, shift: Point) -> None:
    sx, sy = shift
    if isinstance(e, Text):
        words, font = set_in(e.text)
        canvas.setFont(font, e.height * MM / 0.718)  # Helvetica's capitals are 0.718 of its size (its AFM file)
        canvas.drawString((e.x + sx) * MM, (e.y + sy) * MM, words)
        return
    path = canvas.beginPath()
    if isinstance(e, Circle):
        _closed(path, circle(e.x + sx, e.y + sy, e.diameter))
    elif isinstance(e, Outline):
        _closed(path, tuple((x + sx, y + sy, b) for x, y, b in e.contour))
    elif isinstance(e, Line):
        path.moveTo((e.a[0] + sx) * MM, (e.a[1] + sy) * MM)
        path.lineTo((e.b[0] + sx) * MM, (e.b[1] + sy) * MM)
    else:
        # Four strokes from the middle: each starts with a dash, so that the very centre is always marked.
        x, y, h = e.x + sx, e.y + sy, e.size / 2
        for dx, dy in ((h, 0.0), (-h, 0.0), (0.0, h), (0.0, -h)):
            path.moveTo(x * MM, y * MM)
            path.lineTo((x + dx) * MM, (y + dy) * MM)
    canvas.drawPath(path, stroke=1, fill=0)


def _closed(path: Any, contour: Contour) -> None:
    path.moveTo(contour[0][0] * MM, contour[0][1] * MM)
    for a, b in sides(contour):
        if abs(a[2]) <= STRAIGHT:
            path.lineTo(b[0] * MM, b[1] * MM)
        else:
            _curves(path, arc_of(a, b, a[2]))
    path.close()


def _curves(path: Any, arc: Arc) -> None:
    n = max(1, math.ceil(abs(arc.sweep) / STEP - ROUNDING))
    step = arc.sweep / n
    reach = 4 / 3 * math.tan(step / 4) * arc.radius
    for k in range(n):
        t, u = arc.start + k * step, arc.start + (k + 1) * step
        (ax, ay), (bx, by) = arc.at(k / n), arc.at((k + 1) / n)
        path.curveTo(
            (ax - reach * math.sin(t)) * MM, (ay + reach * math.cos(t)) * MM,
            (bx + reach * math.sin(u)) * MM, (by - reach * math.cos(u)) * MM,
            bx * MM, by * MM,
        )  # fmt: skip
