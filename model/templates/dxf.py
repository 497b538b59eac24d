"""DXF: one drawing a file, for machines that cut and mill and for programs that draw.

Owns how a drawing becomes entities of the format: closed LWPOLYLINEs with bulges for arcs, CIRCLEs, LINEs and TEXT in
millimetres ($INSUNITS 4, $MEASUREMENT 1), on layers that differ in name and in line type; all is drawn in the colour
of the page's ink. Words for people are drawn on a layer of their own. No splines, nothing twice. The same drawing gives
the same bytes.
"""

from __future__ import annotations

import io
from typing import Any

from elbowroom.model.templates import beside
from elbowroom.model.templates.drawing import BESIDE, LAYERS, Circle, Cross, Drawing, Layer, Line, Outline, Text
from elbowroom.model.templates.words import printable

VERSION = "R2010"  # the oldest with UTF-8 text; every cutter's software reads it
INK = 7  # the format's colour number for black on white, white on black
LINE_TYPE: dict[Layer, str] = {"cut": "CONTINUOUS", "drill": "DASHED", "fold": "DASHDOT", "mark": "DOT"}
LABEL = 3.5  # mm: height of the words under the drawing
# Line types as (name, pattern: total, dash, gap ...), mm.
LINE_TYPES: dict[str, tuple[str, list[float]]] = {
    "DASHED": ("__ __ __", [2.25, 1.5, -0.75]),
    "DASHDOT": ("____ . ____ .", [7.0, 4.0, -1.25, 0.5, -1.25]),
    "DOT": (". . . .", [1.1, 0.5, -0.6]),
}


def write(drawing: Drawing) -> bytes:
    """The drawing as the bytes of a DXF file."""
    import ezdxf

    ezdxf.options.reset()  # it reads an `ezdxf.ini` from the current folder, which may be someone else's

    # The library stamps files with time and random marks unless told not to, and only by this switch.
    kept = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        doc = ezdxf.new(VERSION, setup=False, units=4)
        _describe(doc, drawing)
        _draw(doc.modelspace(), drawing)
        _known_classes(doc)
        stream = io.StringIO()
        doc.write(stream)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = kept
    return str(stream.getvalue()).encode(doc.output_encoding, "surrogateescape")


def _known_classes(doc: Any) -> None:
    """Enter the class records in a fixed order: the library takes them from sets, whose order differs between runs."""
    doc.classes.add_required_classes(doc.dxfversion)
    doc.classes.classes = dict(sorted(doc.classes.classes.items(), key=lambda item: str(item[0])))


def _describe(doc: Any, drawing: Drawing) -> None:
    doc.header["$INSUNITS"] = 4
    doc.header["$MEASUREMENT"] = 1
    boxes = [drawing.box, *(bar.box for bar in drawing.bars)]
    doc.header["$EXTMIN"] = (min(b[0] for b in boxes), min(b[1] for b in boxes), 0.0)
    doc.header["$EXTMAX"] = (max(b[2] for b in boxes), max(b[3] for b in boxes), 0.0)
    for name, (about, pattern) in LINE_TYPES.items():
        doc.linetypes.add(name, pattern, description=about)
    for layer in LAYERS:
        doc.layers.add(layer, color=INK, linetype=LINE_TYPE[layer])
    doc.layers.add(beside.LAYER, color=INK, linetype="CONTINUOUS")
    doc.header.custom_vars.append("TITLE", printable(drawing.title))
    doc.header.custom_vars.append("SIDE", drawing.side_label)
    doc.header.custom_vars.append("AUTHOR", "elbowroom")
    for i, note in enumerate(drawing.notes, 1):
        doc.header.custom_vars.append(f"NOTE {i}", printable(note))


def _draw(space: Any, drawing: Drawing) -> None:
    x0, y0, _, _ = drawing.box
    for i, line in enumerate(beside.words(drawing), 1):
        if not line:
            continue
        place = (x0, y0 - BESIDE - 2 * i * LABEL)
        space.add_text(line, height=LABEL, dxfattribs={"layer": beside.LAYER, "insert": place})
    for e in (*drawing.entities, *drawing.bars):
        on = {"layer": e.layer}
        if isinstance(e, Circle):
            space.add_circle((e.x, e.y), e.diameter / 2, dxfattribs=on)
        elif isinstance(e, Outline):
            space.add_lwpolyline(e.contour, format="xyb", close=True, dxfattribs=on)
        elif isinstance(e, Line):
            space.add_line(e.a, e.b, dxfattribs=on)
        elif isinstance(e, Cross):
            h = e.size / 2
            space.add_line((e.x - h, e.y), (e.x + h, e.y), dxfattribs=on)
            space.add_line((e.x, e.y - h), (e.x, e.y + h), dxfattribs=on)
        elif isinstance(e, Text):
            space.add_text(printable(e.text), height=e.height, dxfattribs={**on, "insert": (e.x, e.y)})
