"""Paper: sheet sizes, the room on a page that is drawn in, and how a drawing is parted over pages.

Owns the arithmetic of tiles in millimetres: which part of the drawing lies where on which page, how far neighbours
overlap, and where the marks lie by which they are laid on each other. Nothing is scaled, ever.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from elbowroom.model.build.problems import InputError, choices, shown
from elbowroom.parts.vocabulary.contour import Point
from elbowroom.parts.vocabulary.tolerances import ROUNDING

PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI Y14.1 (M)

# Room around the window, mm: printers leave 3 to 6.4 unprinted (P); the rest holds the bars and the words.
LEFT, RIGHT, BOTTOM, TOP = 22.0, 10.0, 24.0, 22.0
OVERLAP = 10.0  # mm that neighbouring pages show both: enough to tape by; practice (P)
AROUND = 4.0  # mm kept free around the drawing
BAR = 100.0  # mm: length of the check bars
MOST_PAGES = 150  # a sheet of 2 m by 2 m takes 108; more is a slip


@dataclass(frozen=True, slots=True)
class Tile:
    """A page's part of the drawing: column and row from the top left, and its lower left corner in the drawing, mm."""

    column: int
    row: int
    x: float
    y: float

    @property
    def name(self) -> str:
        """Letters for the column, a number for the row: A1 at the top left."""
        return f"{letters(self.column)}{self.row + 1}"


@dataclass(frozen=True, slots=True)
class Tiling:
    """Pages of one size, and the drawing's tiles on them row by row from the top left."""

    page: tuple[float, float]
    columns: int
    rows: int
    tiles: tuple[Tile, ...]

    @property
    def window(self) -> tuple[float, float]:
        """Width and height of the room that is drawn in, mm."""
        return (self.page[0] - LEFT - RIGHT, self.page[1] - BOTTOM - TOP)

    def joints(self, tile: Tile) -> list[tuple[Point, str]]:
        """Marks in the overlaps of a tile with its neighbours, in drawing coordinates, and which pages share them."""
        w, h = self.window
        out: list[tuple[Point, str]] = []
        for dc, dr in ((-1, 0), (1, 0), (0, -1), (0, 1)):
            c, r = tile.column + dc, tile.row + dr
            if not (0 <= c < self.columns and 0 <= r < self.rows):
                continue
            other = self.tiles[r * self.columns + c]
            x, y = (tile.x + other.x + w) / 2, (tile.y + other.y + h) / 2
            shared = " + ".join(sorted((tile.name, other.name), key=lambda n: (len(n), n)))
            aside = (w, 0.0) if dr else (0.0, h)
            out += [((x + k * aside[0], y + k * aside[1]), shared) for k in (-0.25, 0.25)]
        return out


def letters(i: int) -> str:
    """0 -> A, 25 -> Z, 26 -> AA."""
    out = ""
    i += 1
    while i:
        i, digit = divmod(i - 1, 26)
        out = chr(ord("A") + digit) + out
    return out


def tiled(box: tuple[float, float, float, float], paper: str) -> Tiling:
    """The drawing's extents over pages of that paper, upright or lying, whichever takes fewer.

    Raises InputError for an unknown paper and for a drawing that takes more than `MOST_PAGES`.
    """
    known = next((p for p in PAPERS if p.lower() == paper.strip().lower()), None)
    if known is None:
        raise InputError(f"no paper {shown(paper)}{choices(paper, PAPERS)}")
    x0, y0, x1, y1 = box[0] - AROUND, box[1] - AROUND, box[2] + AROUND, box[3] + AROUND
    wide, high = PAPERS[known]
    best: tuple[int, int, tuple[float, float]] | None = None
    for page in ((wide, high), (high, wide)):
        columns = _count(x1 - x0, page[0] - LEFT - RIGHT)
        rows = _count(y1 - y0, page[1] - BOTTOM - TOP)
        if best is None or columns * rows < best[0] * best[1]:
            best = (columns, rows, page)
    assert best is not None  # the loop ran
    columns, rows, page = best
    if columns * rows > MOST_PAGES:
        raise InputError(
            f"the drawing is {box[2] - box[0]:.0f} x {box[3] - box[1]:.0f} mm and takes {columns * rows} pages of "
            f"{known}; at most {MOST_PAGES} are written"
        )
    w, h = page[0] - LEFT - RIGHT, page[1] - BOTTOM - TOP
    left = (x0 + x1) / 2 - (columns * (w - OVERLAP) + OVERLAP) / 2
    top = (y0 + y1) / 2 + (rows * (h - OVERLAP) + OVERLAP) / 2
    tiles = tuple(
        Tile(c, r, left + c * (w - OVERLAP), top - r * (h - OVERLAP) - h) for r in range(rows) for c in range(columns)
    )
    return Tiling(page, columns, rows, tiles)


def _count(size: float, window: float) -> int:
    """Pages that a length takes."""
    return max(1, math.ceil((size - OVERLAP) / (window - OVERLAP) - ROUNDING))
