"""Which way a piece goes when a number of its place is raised.

Not worked out by rules of its own: the build is placed again with the number a little larger, so that it is true of
whatever the words mean. Owns when a way is one: the piece is moved by as much as the number, and not turned.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.source import Document, parse
from elbowroom.model.build.writing import CannotWrite, put
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.view.numbers import Number, Way
from elbowroom.parts.vocabulary.measure import Mm

TRIED_MM = 0.5  # by which a number is raised to see where the piece goes: well within what any place allows
# A step of the piece that differs from the number's by no more is that step: the rounding of poses lies far below it.
SAME_MM = 1e-6


def with_ways(
    found: list[Number], text: str, document: Document, piece: Piece, placed: Callable[[Document], Layout]
) -> list[Number]:
    """The numbers with the way each of a place moves the piece. text: what `document` was read from; placed: the layout
    of a document.
    """

    def way(n: Number) -> Way | None:
        assert n.value is not None, "what is in millimetres has a value"
        try:
            moved = parse(put(text, *n.to(n.value + TRIED_MM)), document.name, document.folder)
            again = next((p for p in placed(moved).pieces if p.name == piece.name), None)
        except (BuildError, CannotWrite):
            return None
        if again is None or np.abs(again.pose[:3, :3] - piece.pose[:3, :3]).max() > SAME_MM:
            return None
        step = (again.pose[:3, 3] - piece.pose[:3, 3]) / TRIED_MM
        if abs(float(np.linalg.norm(step)) - 1.0) > SAME_MM:
            return None
        x, y, z = (round(float(c), 9) + 0.0 for c in step)
        return (x, y, z)

    return [replace(n, way=way(n)) if (n.group, n.unit) == ("place", Mm.UNIT) else n for n in found]
