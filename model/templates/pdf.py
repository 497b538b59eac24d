"""PDF: a drawing at true scale over pages of A4 or Letter, to be printed, taped, glued on and drilled through.

Owns the pages: a cover with the map of the pages, the cautions and the notes, which go on to pages of their own where
there are many, the hole table, and the tiles. Every page has its
title, the side it shows, its place in the grid and a bar of 100 mm each way to measure. The page is drawn in
millimetres; the same drawing gives the same bytes. Letters that no font of ours has show as "?", and the cover says so.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import partial
from itertools import pairwise
from typing import Any

from elbowroom.model.templates.drawing import LAYERS, PRINTED_SCALE, Drawing, HoleRow, Text
from elbowroom.model.templates.ink import DASHES, MM, WIDTH, ink, rule
from elbowroom.model.templates.lettering import missing, set_in
from elbowroom.model.templates.tiling import BAR, BOTTOM, LEFT, OVERLAP, RIGHT, Tile, Tiling, tiled
from elbowroom.model.templates.words import printable
from elbowroom.model.told.cautions import CUTTING, DEFER, UNPLUG

SMALL, BODY, HEAD = 7.0, 9.0, 12.0  # points
LINE = 4.4  # mm from one line of the body to the next
ROW = 5.0  # mm from one row of the hole table to the next
MAP = (110.0, 70.0)  # mm the map of the pages may take on the cover
MEANING = {"cut": "cut", "drill": "drill", "fold": "fold", "mark": "mark only, do not cut"}
COLUMNS = (("no.", 0.0), ("x", 14.0), ("y", 34.0), ("size", 54.0), ("depth", 98.0), ("what for", 116.0))


def write(drawing: Drawing, paper: str = "A4") -> bytes:
    """The drawing as the bytes of a PDF file; raises InputError for an unknown paper or a drawing beyond any page."""
    from reportlab.pdfgen.canvas import Canvas

    tiling = tiled(drawing.box, paper)
    stream = io.BytesIO()
    size = (tiling.page[0] * MM, tiling.page[1] * MM)
    canvas = Canvas(stream, pagesize=size, invariant=1, pageCompression=0)
    canvas.setTitle(printable(f"{drawing.title}, {drawing.side_label}"))
    canvas.setAuthor("elbowroom")
    canvas.setCreator("elbowroom")
    canvas.setProducer("elbowroom")
    canvas.setSubject("drill and cut template, 1:1, print at 100 %, do not scale")
    canvas.setViewerPreference("PrintScaling", "None")
    _Book(canvas, drawing, tiling).write()
    canvas.save()
    return stream.getvalue()


def _labels(drawing: Drawing) -> list[str]:
    return [e.text for e in drawing.entities if isinstance(e, Text)]


class _Book:
    """The pages of one drawing, on their way onto a canvas."""

    def __init__(self, canvas: Any, drawing: Drawing, tiling: Tiling) -> None:
        self.canvas, self.drawing, self.tiling = canvas, drawing, tiling
        self.width, self.height = tiling.window

    def write(self) -> None:
        pages: list[tuple[str, Callable[[], None]]] = [("cover", self._cover)]
        pages += [("notes", partial(self._page_of_notes, lines)) for lines in self._note_pages()]
        pages += [("holes", partial(self._table, rows)) for rows in self._tables()]
        pages += [(tile.name, partial(self._tile, tile)) for tile in self.tiling.tiles]
        for number, (name, draw) in enumerate(pages, 1):
            self._frame(name, number, len(pages))
            draw()
            self.canvas.showPage()

    # -- what every page has ------------------------------------------------------------------------------------------

    def _frame(self, name: str, number: int, total: int) -> None:
        width, height = self.tiling.page
        right = width - RIGHT
        self._say(LEFT, height - 11, self.drawing.title, HEAD, right - LEFT - 40, bold=True)
        self._say(LEFT, height - 16.5, self.drawing.side_label.upper(), HEAD - 1, 70, bold=True)
        self._say(LEFT + 50, height - 16.5, "print at 100 %, do not scale", BODY, 70)
        self.canvas.setFont("Helvetica-Bold", 16)
        self.canvas.drawRightString(right * MM, (height - 12) * MM, set_in(name)[0])
        self.canvas.setFont("Helvetica", SMALL)
        self.canvas.drawRightString(right * MM, (height - 16.5) * MM, f"page {number} of {total}")
        self._bar((LEFT, 12.0), (LEFT + BAR, 12.0))
        self._bar((12.0, BOTTOM), (12.0, BOTTOM + BAR))
        self._say(
            LEFT, 6.5, "Eye protection; edges are sharp; take the part out before you drill.", SMALL, right - LEFT
        )
        self._say(LEFT + BAR + 6, 14, "Measure both bars: exactly 100 mm,", SMALL, right - LEFT - BAR - 6)
        self._say(LEFT + BAR + 6, 11, "else print again without scaling.", SMALL, right - LEFT - BAR - 6)

    def _bar(self, a: tuple[float, float], b: tuple[float, float]) -> None:
        """A bar from a to b with a tick square to it at each end and every 10 mm, upright or level."""
        level = a[1] == b[1]
        rule(self.canvas, a, b, 0.3)
        for i in range(11):
            tick = 2.5 if i in (0, 10) else 1.0
            x, y = a[0] + (b[0] - a[0]) * i / 10, a[1] + (b[1] - a[1]) * i / 10
            dx, dy = (0.0, tick) if level else (tick, 0.0)
            rule(self.canvas, (x - dx, y - dy), (x + dx, y + dy), 0.15)
        self.canvas.saveState()
        self.canvas.translate((a[0] + b[0]) / 2 * MM, (a[1] + b[1]) / 2 * MM)
        if not level:
            self.canvas.rotate(90)
        self.canvas.setFont("Helvetica", SMALL)
        self.canvas.drawCentredString(0, 1.6 * MM, "100 mm")
        self.canvas.restoreState()

    # -- cover and hole table -----------------------------------------------------------------------------------------

    def _cover(self) -> None:
        y = BOTTOM + self.height - 4
        facts, cautions, notes = self._cover_texts()
        y = self._lines(facts, y)
        y = self._legend(y - 2)
        y = self._lines(cautions, y - 4)
        y = self._lines(notes, y - 2)
        self._map(LEFT, y - 4)

    def _cover_texts(self) -> tuple[list[str], list[str], list[str]]:
        """Facts, cautions and notes of the cover; of notes that have no room there, where they stand."""
        d, t = self.drawing, self.tiling
        x0, y0, x1, y1 = d.box
        facts = [
            f"Template 1:1, {d.side_label}: lay it on the part so that you look at it from the {d.side}.",
            f"Drawing {x1 - x0:.1f} x {y1 - y0:.1f} mm" + (f", {d.thickness:g} mm thick" if d.thickness else ""),
            f"Tiles: {t.columns} across, {t.rows} down" + (
                "; neighbours overlap by 10 mm: lay their crosses on each other." if len(t.tiles) > 1 else "."
            ),
            f"Holes are counted from {d.datum.name}." if d.holes else "There are no holes in the table.",
        ]  # fmt: skip
        cautions = ["Cautions", *(f"-  {c}" for c in (PRINTED_SCALE, UNPLUG, *CUTTING, DEFER))]
        taken = sum(len(self._split(text)) for text in (*facts, *cautions)) + 1
        room = int((self.height - 4 - 2 - 4 - 2 - 2) / LINE) - taken
        notes = self._notes()
        fits = sum(len(self._split(text)) for text in notes) <= room
        return facts, cautions, notes if fits else ["Notes stand on the next page."]

    def _notes(self) -> list[str]:
        """The drawing's notes, and before them that letters are lost where they are."""
        d = self.drawing
        lost = missing([d.title, d.datum.name, *d.notes, *(h.purpose for h in d.holes), *_labels(d)])
        said = f"{len(lost)} different letters cannot be printed here and show as ?; the SVG and DXF have them."
        return [*([said] if lost else []), *d.notes]

    def _note_pages(self) -> list[list[str]]:
        """The lines of notes that the cover has no room for, a list a page."""
        notes = self._notes()
        if not notes or self._cover_texts()[2] == notes:
            return []
        lines = [part for text in notes for part in self._split(text)]
        n = max(1, int((self.height - 8) / LINE))
        return [lines[i : i + n] for i in range(0, len(lines), n)]

    def _page_of_notes(self, lines: list[str]) -> None:
        self._lines(lines, BOTTOM + self.height - 4)

    def _split(self, text: str) -> list[str]:
        """A text on as many lines as it needs."""
        from reportlab.lib.utils import simpleSplit

        words, font = set_in(text)
        return list(simpleSplit(words, font, BODY, self.width * MM))

    def _lines(self, texts: list[str], y: float) -> float:
        for text in texts:
            for line in self._split(text):
                self._say(LEFT, y, line, BODY, self.width)
                y -= LINE
        return y

    def _legend(self, y: float) -> float:
        x: float = LEFT
        for layer in LAYERS:
            rule(self.canvas, (x, y + 1), (x + 14, y + 1), WIDTH[layer], DASHES[layer])
            self._say(x + 16, y, MEANING[layer], SMALL, 30)
            x += 34
        return y - LINE

    def _map(self, x: float, top: float) -> None:
        """How the pages lie together, small and not to scale, with the drawing on them."""
        t = self.tiling
        first, last = t.tiles[0], t.tiles[-1]
        left, low = first.x, last.y
        wide, high = last.x + self.width - left, first.y + self.height - low
        scale = min(MAP[0] / wide, MAP[1] / high, (top - BOTTOM - 6) / high)
        if scale <= 0.01:
            return
        self._say(x, top - 3, "How the pages lie together (not to scale)", SMALL, self.width)
        c = self.canvas
        c.saveState()
        c.translate(x * MM, (top - 5 - high * scale) * MM)
        for tile in t.tiles:
            c.setLineWidth(0.1 * MM)
            c.setDash([])
            c.setStrokeGray(0.5)
            at = ((tile.x - left) * scale * MM, (tile.y - low) * scale * MM)
            c.rect(*at, self.width * scale * MM, self.height * scale * MM, stroke=1, fill=0)
            c.setFont("Helvetica", SMALL)
            c.drawString(at[0] + 1.5 * MM, at[1] + self.height * scale * MM - 3.5 * MM, tile.name)
        c.scale(scale, scale)
        ink(c, self.drawing, (-left, -low), None, plain=1 / scale)
        c.restoreState()

    def _tables(self) -> list[list[HoleRow]]:
        n = max(1, int((self.height - 14) // ROW))
        return [list(self.drawing.holes[i : i + n]) for i in range(0, len(self.drawing.holes), n)]

    def _table(self, rows: list[HoleRow]) -> None:
        y = BOTTOM + self.height - 4
        self._say(LEFT, y, f"Holes, mm, x and y counted from {self.drawing.datum.name}", BODY, self.width, bold=True)
        y -= 1.4 * ROW
        for head, at in COLUMNS:
            self._say(LEFT + at, y, head, BODY, 40, bold=True)
        rule(self.canvas, (LEFT, y - 1.5), (LEFT + self.width, y - 1.5), 0.2)
        for row in rows:
            y -= ROW
            size = f"{row.diameter:.2f}" if not row.slot else (
                f"{row.diameter:.2f} x {row.diameter + row.slot:.2f} at {row.angle:.0f}°"
            )  # fmt: skip
            depth = "through" if row.depth is None else f"{row.depth:.2f}"
            cells = (str(row.number), f"{row.x:.2f}", f"{row.y:.2f}", size, depth, row.purpose)
            rooms = (
                *(b[1] - a[1] - 2 for a, b in pairwise(COLUMNS)),
                self.width - COLUMNS[-1][1],
            )
            for (_, at), cell, room in zip(COLUMNS, cells, rooms, strict=True):
                self._say(LEFT + at, y, cell, BODY, room)

    # -- tiles --------------------------------------------------------------------------------------------------------

    def _tile(self, tile: Tile) -> None:
        c, w, h = self.canvas, self.width, self.height
        for x, y, dx, dy in (
            (LEFT, BOTTOM, -1, -1), (LEFT + w, BOTTOM, 1, -1), (LEFT, BOTTOM + h, -1, 1), (LEFT + w, BOTTOM + h, 1, 1)
        ):  # fmt: skip
            rule(c, (x + dx, y), (x + 5 * dx, y), 0.15)
            rule(c, (x, y + dy), (x, y + 4 * dy), 0.15)
        c.saveState()
        path = c.beginPath()
        path.rect(LEFT * MM, BOTTOM * MM, w * MM, h * MM)
        c.clipPath(path, stroke=0, fill=0)
        shift = (LEFT - tile.x, BOTTOM - tile.y)
        ink(c, self.drawing, shift, (tile.x, tile.y, tile.x + w, tile.y + h))
        for (x, y), shared in self.tiling.joints(tile):
            at = (float(x + shift[0]), float(y + shift[1]))
            for ex, ey in ((4.0, 0.0), (0.0, 4.0)):
                rule(c, (at[0] - ex, at[1] - ey), (at[0] + ex, at[1] + ey), 0.15)
            c.setLineWidth(0.15 * MM)
            c.circle(at[0] * MM, at[1] * MM, 2 * MM, stroke=1, fill=0)
            # Above the cross where the overlap is upright, beside it where it is level: that is where it has room.
            upright = min(at[0] - LEFT, LEFT + w - at[0]) < OVERLAP
            c.setFont("Helvetica", SMALL - 2)
            c.setFillGray(0)
            if upright:
                c.drawCentredString(at[0] * MM, (at[1] + 4.8) * MM, shared)
            else:
                c.drawString((at[0] + 4.8) * MM, (at[1] - 0.7) * MM, shared)
        c.restoreState()

    def _say(self, x: float, y: float, text: str, size: float, room: float, *, bold: bool = False) -> None:
        """Words from (x, y) on, cut off with an ellipsis where they are longer than `room` mm."""
        words, font = set_in(text, bold=bold)
        while words and self.canvas.stringWidth(words, font, size) > room * MM:
            words = words[:-2].rstrip() + "…"
            if words == "…":
                break
        self.canvas.setFont(font, size)
        self.canvas.setFillGray(0)
        self.canvas.drawString(x * MM, y * MM, words)
