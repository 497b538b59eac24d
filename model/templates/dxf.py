"""DXF: one drawing a file, for laser cutters, routers and drawing programs.

Owns how a drawing becomes entities of the format: closed LWPOLYLINEs with bulges for arcs, CIRCLEs, LINEs and TEXT in
millimetres ($INSUNITS 4, $MEASUREMENT 1), on layers that differ in colour and in line type. No splines, nothing twice.
The same drawing gives the same bytes.
"""

from __future__ import annotations

import io
from typing import Any

from elbowroom.model.templates.drawing import LAYERS, Circle, Cross, Drawing, Layer, Line, Outline, Text
from elbowroom.model.templates.words import printable

VERSION = "R2010"  # the oldest with UTF-8 text; every cutter's software reads it
# Colours of the AutoCAD index: 1 red, 5 blue, 3 green, 8 grey. Line types as (name, pattern: total, dash, gap ...), mm.
STYLES: dict[Layer, tuple[int, str]] = {
    "cut": (1, "CONTINUOUS"),
    "drill": (5, "DASHED"),
    "fold": (3, "DASHDOT"),
    "mark": (8, "DOT"),
}
LABEL = 3.5  # mm: height of the words under the drawing
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
        stream = io.StringIO()
        doc.write(stream)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = kept
    return str(stream.getvalue()).encode(doc.output_encoding, "surrogateescape")


def _describe(doc: Any, drawing: Drawing) -> None:
    doc.header["$INSUNITS"] = 4
    doc.header["$MEASUREMENT"] = 1
    x0, y0, x1, y1 = drawing.box
    doc.header["$EXTMIN"], doc.header["$EXTMAX"] = (x0, y0, 0.0), (x1, y1, 0.0)
    for name, (about, pattern) in LINE_TYPES.items():
        doc.linetypes.add(name, pattern, description=about)
    for layer in LAYERS:
        colour, line_type = STYLES[layer]
        doc.layers.add(layer, color=colour, linetype=line_type)
    doc.header.custom_vars.append("TITLE", printable(drawing.title))
    doc.header.custom_vars.append("SIDE", drawing.side_label)
    for i, note in enumerate(drawing.notes, 1):
        doc.header.custom_vars.append(f"NOTE {i}", printable(note))


def _draw(space: Any, drawing: Drawing) -> None:
    x0, y0, _, _ = drawing.box
    for i, words in enumerate((printable(drawing.title), f"{drawing.side_label}, 1:1, mm"), 1):
        space.add_text(words, height=LABEL, dxfattribs={"layer": "mark", "insert": (x0, y0 - 2 * i * LABEL)})
    for e in drawing.entities:
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
