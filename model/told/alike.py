"""Which findings are alike, so that the worst of them may speak for the others.

Owns that rule, for every output that people read; none is left out of the JSON.
"""

from __future__ import annotations

from collections.abc import Mapping

from elbowroom.model.layout.identity import Screwed
from elbowroom.model.layout.layout import Piece
from elbowroom.model.told.findings import Finding


def key(f: Finding, pieces: Mapping[str, Piece]) -> tuple[str, ...]:
    """What findings that one of them may speak for have in common."""

    def called(name: str) -> str:
        piece = pieces.get(name)
        return piece.row if piece is not None and (alike or isinstance(piece.identity, Screwed)) else name

    # Screws speak for each other, and so do joints of parts that there are several of.
    alike = f.question in ("hole-alignment", "screw", "tool-access")
    if f.question in ("coolant", "loop", "air"):
        return (f.id,)  # each says something of its own, of the same parts
    return (f.verdict, f.question, *map(called, f.parts))
