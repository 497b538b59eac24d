"""What stands in words beside a drawing that a machine may read: what it is, its notes, its layers, the cautions.

Owns the words and their order, for the formats that people and machines both open (DXF and SVG); on paper the cover
has them. Every note is there, however long: it goes on to as many lines as it needs.
"""

from __future__ import annotations

from textwrap import wrap

from elbowroom.model.templates.drawing import Drawing
from elbowroom.model.templates.words import printable
from elbowroom.model.told.cautions import CUTTING, DEFER, UNPLUG, listed

LAYER = "notes"  # where the words are drawn: beside the four layers of the drawing itself
LINE = 90  # characters on one line

MACHINE = (
    "Send only the layers cut and drill to a machine, set to solid lines: the dashes here only tell layers apart. The "
    "layers fold, mark and notes are for people."
)


def words(drawing: Drawing) -> list[str]:
    """The lines beside a drawing, each short enough to be set on one."""
    sheet = "" if drawing.thickness is None else f"; {drawing.thickness:g} mm thick"
    said = [
        drawing.title,
        f"{drawing.side_label}, 1:1, mm{sheet}; both bars are 100 mm: measure them first",
        f"Holes are counted from {drawing.datum.name}.",
        MACHINE,
        *drawing.notes,
    ]
    lines = [line for text in said for line in wrap(printable(text), LINE) or [""]]
    return [*lines, "", *listed((UNPLUG, *CUTTING, DEFER), LINE)]
