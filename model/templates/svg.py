"""SVG: one drawing a file, in true millimetres, one group a layer, and one for words.

Owns how a drawing becomes SVG: width and height in mm with a viewBox in mm, so that one unit is one millimetre; y
turned over in the numbers themselves, arcs as arcs. Text goes in through an XML writer and cannot become markup.
"""

from __future__ import annotations

import math
from xml.etree import ElementTree as ET

from elbowroom.model.templates import beside
from elbowroom.model.templates.drawing import (
    BAR,
    BESIDE,
    LAYERS,
    TICK,
    Circle,
    Cross,
    Drawing,
    Entity,
    Layer,
    Line,
    Outline,
)
from elbowroom.model.templates.words import printable
from elbowroom.parts.vocabulary.contour import STRAIGHT, arc_of, sides

MARGIN = BESIDE + 2 * TICK  # mm around the drawing: its bars stand there
NOTE = 3.5  # mm: height of the words under the drawing
CAPITALS = 0.72  # of a sans-serif's size: the height of its capitals, which is what a height of words means here
EM = 0.65  # of its size: the width of a letter in a line of words; wide sans-serifs have 0.6, no source (P)
STROKE = 0.1  # mm: a hair line that programs still show
INK = "#000000"  # all of it: layers are told apart by their names and dashes
# Dash pattern (mm on, off ...) of each layer.
DASHES: dict[Layer, str] = {"cut": "none", "drill": "1.5 0.75", "fold": "4 1.25 0.5 1.25", "mark": "0.5 0.6"}


def write(drawing: Drawing) -> bytes:
    """The drawing as the bytes of an SVG file."""
    x0, y0, x1, y1 = drawing.box
    words = beside.words(drawing)
    # As much again for words to the right of the last hole.
    wide = max(max(x1 - x0, BAR) + 2 * MARGIN, *(EM * NOTE / CAPITALS * len(w) + 2 * MARGIN for w in words))
    drawn = max(y1 - y0, BAR)
    high = drawn + 2 * MARGIN + 1.6 * NOTE * len(words)
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "version": "1.1",
            "width": f"{_n(wide)}mm",
            "height": f"{_n(high)}mm",
            "viewBox": f"0 0 {_n(wide)} {_n(high)}",
        },
    )
    ET.SubElement(root, "title").text = printable(f"{drawing.title}, {drawing.side_label}")
    ET.SubElement(root, "desc").text = f"1:1, one unit is one millimetre; {_about(drawing)}"
    left, top = MARGIN - x0, MARGIN + y0 + drawn
    for layer in LAYERS:
        group = ET.SubElement(
            root,
            "g",
            {"id": layer, "fill": "none", "stroke": INK, "stroke-width": _n(STROKE), "stroke-dasharray": DASHES[layer]},
        )
        for e in drawing.on(layer):
            _entity(group, e, left, top)
        if layer == "mark":
            for bar in drawing.bars:
                _entity(group, bar, left, top)
            _text(group, MARGIN + TICK, drawn + MARGIN + BESIDE - 1, NOTE, "100 mm: measure it")
    group = ET.SubElement(root, "g", {"id": beside.LAYER, "fill": INK, "stroke": "none"})
    for i, line in enumerate(words, 1):
        if line:
            _text(group, MARGIN, drawn + 2 * MARGIN + 1.6 * NOTE * (i - 0.5), NOTE, line)
    ET.indent(root)
    body: str = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'.encode()


def _about(drawing: Drawing) -> str:
    sheet = "" if drawing.thickness is None else f"; {drawing.thickness:g} mm thick"
    return f"{drawing.side_label}{sheet}; holes counted from {drawing.datum.name}"


def _entity(group: ET.Element, e: Entity, left: float, top: float) -> None:
    if isinstance(e, Circle):
        ET.SubElement(group, "circle", {"cx": _n(e.x + left), "cy": _n(top - e.y), "r": _n(e.diameter / 2)})
    elif isinstance(e, Outline):
        ET.SubElement(group, "path", {"d": _path(e, left, top)})
    elif isinstance(e, Line):
        ET.SubElement(
            group,
            "line",
            {"x1": _n(e.a[0] + left), "y1": _n(top - e.a[1]), "x2": _n(e.b[0] + left), "y2": _n(top - e.b[1])},
        )
    elif isinstance(e, Cross):
        # Four strokes from the middle: each starts with a dash, so that the very centre is always marked.
        middle, h = f"M {_n(e.x + left)} {_n(top - e.y)}", _n(e.size / 2)
        ET.SubElement(
            group, "path", {"d": " ".join(f"{middle} {way}" for way in (f"h {h}", f"h -{h}", f"v {h}", f"v -{h}"))}
        )
    else:
        _text(group, e.x + left, top - e.y, e.height, printable(e.text))


def _text(group: ET.Element, x: float, y: float, height: float, words: str) -> None:
    style = {"font-size": _n(height / CAPITALS), "font-family": "sans-serif", "fill": INK, "stroke": "none"}
    ET.SubElement(group, "text", {"x": _n(x), "y": _n(y), **style}).text = words


def _path(e: Outline, left: float, top: float) -> str:
    start = e.contour[0]
    out = [f"M {_n(start[0] + left)} {_n(top - start[1])}"]
    for a, b in sides(e.contour):
        end = f"{_n(b[0] + left)} {_n(top - b[1])}"
        if abs(a[2]) <= STRAIGHT:
            out.append(f"L {end}")
        else:
            arc = arc_of(a, b, a[2])
            large, sweep = int(abs(arc.sweep) > math.pi), int(arc.sweep < 0)  # y points down here
            out.append(f"A {_n(arc.radius)} {_n(arc.radius)} 0 {large} {sweep} {end}")
    return " ".join([*out, "Z"])


def _n(value: float) -> str:
    """A number to a tenth of a micrometre, without trailing zeros."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
