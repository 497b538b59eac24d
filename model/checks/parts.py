"""Is each part possible by itself?

Owns the findings for what a part knows is wrong with it (`Part.faults`): cuts of a case that meet, an opening that
leaves its panel, what fell away when a catalogue case was given other sizes. Nothing here is about two parts.
"""

from __future__ import annotations

from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.told.findings import Basis, Finding, Point
from elbowroom.model.told.wordings import assumed_by
from elbowroom.parts.vocabulary.pose import apply


def check(layout: Layout) -> list[Finding]:
    """A finding for everything that is wrong with a part of the layout, the part alone."""
    found = []
    for piece in layout.pieces:
        found += [
            Finding(
                "part", fault.verdict, (piece.name,), f"{piece.name}: {fault.text}", (), fault.over, "mm",
                None if fault.over is None else 0.0, fault.over, fault.over,
                () if fault.at is None else (_there(piece, fault.at),),
                Basis("arithmetic", 0.0, assumed_by(piece)), fault.remedies, place=fault.place.replace(" ", "-"),
            )
            for fault in piece.part.faults()
        ]  # fmt: skip
    return found


def _there(piece: Piece, at: Point) -> Point:
    x, y, z = (float(c) for c in apply(piece.pose, at))
    return x, y, z
