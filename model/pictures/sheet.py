"""The sheet a picture is drawn on: lines, filled areas, words and their places, written as SVG and as PNG.

Owns the page (its heading and foot), the colours, hatches and strokes, where words find room, and the two files. One
unit is a pixel of the PNG, x to the right, y down. The PNG is the SVG put through a renderer with our own font alone,
so that it is the same on every machine and needs no display. Text goes in through an XML writer and cannot become
markup.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal
from xml.etree import ElementTree as ET

import numpy as np

from elbowroom.model.templates.lettering import FAMILY, FONT, spelled, wide
from elbowroom.model.templates.words import printable
from elbowroom.parts.vocabulary.arrays import Floats

WIDTH, HEIGHT = 1080, 864  # px: a page as it is looked at on a phone turned sideways, or in a chat. By choice
MARGIN = 28.0
HEAD, FOOT = 112.0, 66.0  # px kept for the heading above and the words below
TEXT, SMALL, TITLE = 17.0, 15.0, 23.0  # px: sizes of words; none is smaller than SMALL
PAPER, INK, SOFT, LINE = "#fbfaf6", "#1c2230", "#5d6675", "#c9c8c0"
# One and the other of a pair, what they share, what must stay free, what is only near. Told apart by lightness and by
# their hatches as well as by hue, so that neither colour-blind eyes nor a grey print lose any.
FIRST, SECOND, SHARED, ROOM, OTHER = "#a9cbe4", "#f0c88a", "#e79abb", "#ddd3ee", "#e6e6e2"
ALARM, WARY, GOOD = "#a31550", "#8a5a00", "#1d6a5b"  # of words and signs
EDGES = {FIRST: "#1f4f79", SECOND: "#7d4a06", SHARED: "#8c1044", ROOM: "#62508c", OTHER: "#7d828b", PAPER: INK}

Hatch = Literal["rising", "falling", "crossed", "dots", "dashes", "plain"]
Box = tuple[float, float, float, float]
Point2 = tuple[float, float]
# A tile of each hatch: its size in px, and what is drawn in it.
_TILES: dict[Hatch, tuple[float, str]] = {
    "rising": (9, "M -1 10 L 10 -1 M -1 1 L 1 -1 M 8 10 L 10 8"),
    "falling": (9, "M -1 -1 L 10 10 M -1 8 L 1 10 M 8 -1 L 10 1"),
    "crossed": (7, "M -1 -1 L 8 8 M -1 8 L 8 -1"),
    "dots": (9, "M 2 2 h 1.6 v 1.6 h -1.6 Z M 6.5 6.5 h 1.6 v 1.6 h -1.6 Z"),
    "dashes": (12, "M 1 3 h 5 M 7 9 h 5"),
}
_ELLIPSIS = "..."
_PAD = 3.0  # px that words keep from each other


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: its name in the folder, without an ending, what it shows in words, its SVG, and the id of the
    finding it is of, where it is of one.
    """

    name: str
    title: str
    svg: bytes
    finding: str = ""

    def png(self) -> bytes:
        """The same as PNG; a "?" for each letter that our font has not."""
        import resvg_py

        drawn: bytes = resvg_py.svg_to_bytes(
            svg_string=spelled(self.svg.decode()), background=PAPER, skip_system_fonts=True, font_files=[str(FONT)],
            font_family=FAMILY, sans_serif_family=FAMILY,
        )  # fmt: skip
        return drawn


@dataclass(eq=False)
class Sheet:
    """A page while it is drawn on. `words` holds the room that each piece of text takes."""

    title: str
    says: str = ""
    verdict: str = ""
    height: float = HEIGHT
    attributes: dict[str, str] = field(default_factory=dict)
    words: list[Box] = field(default_factory=list)
    top: float = HEAD
    _root: ET.Element = field(init=False)
    _defs: ET.Element = field(init=False)
    _layer: ET.Element = field(init=False)
    _letters: ET.Element = field(init=False)
    _used: set[str] = field(default_factory=set)
    _clips: int = 0

    def __post_init__(self) -> None:
        size = {"width": _n(WIDTH), "height": _n(self.height), "viewBox": f"0 0 {_n(WIDTH)} {_n(self.height)}"}
        self._root = ET.Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "version": "1.1", **size})
        ET.SubElement(self._root, "title").text = printable(self.title)
        if self.says:
            ET.SubElement(self._root, "desc").text = printable(self.says)
        self._defs = ET.SubElement(self._root, "defs")
        ET.SubElement(
            self._root, "rect", {"width": _n(WIDTH), "height": _n(self.height), "fill": PAPER, "stroke": "none"}
        )
        self._layer = ET.SubElement(self._root, "g", {"stroke-linecap": "round", "stroke-linejoin": "round"})
        self._letters = ET.SubElement(
            self._root, "g", {"font-family": f"{FAMILY}, sans-serif", "stroke": "none", "fill": INK}
        )
        self._heading()

    @property
    def room(self) -> Box:
        """Where a drawing may stand: left, top, right, bottom."""
        return (MARGIN, self.top, WIDTH - MARGIN, self.height - FOOT)

    def _heading(self) -> None:
        x = MARGIN
        if self.verdict:
            x += self._badge(MARGIN, 22, self.verdict) + 14
        self.text(x, 42, fitted(self.title, TITLE, WIDTH - MARGIN - x), TITLE)
        lines = wrapped(self.says, TEXT, WIDTH - 2 * MARGIN, 3)
        for i, line in enumerate(lines):
            self.text(MARGIN, 72 + 21 * i, line, TEXT, SOFT)
        self.top = max(64.0, 72 + 21 * len(lines))

    def _badge(self, x: float, y: float, verdict: str) -> float:
        """The verdict with a sign of its own; how wide it is."""
        bad = verdict in ("clash", "fail")
        width = 42 + wide(verdict, TEXT)
        colour = ALARM if bad else WARY if verdict in ("touch", "tight", "unknown", "caution") else GOOD
        self.rect(x, y, width, 27, fill=PAPER, stroke=colour, width_px=2)
        cx, cy = x + 17, y + 13.5
        if bad:
            self.lines([[(cx - 6, cy - 6), (cx + 6, cy + 6)], [(cx - 6, cy + 6), (cx + 6, cy - 6)]], colour, 3)
        elif verdict in ("pass", "clear"):
            self.lines([[(cx - 6, cy), (cx - 2, cy + 5), (cx + 7, cy - 6)]], colour, 3)
        else:
            self.lines([[(cx, cy - 7), (cx + 8, cy + 6), (cx - 8, cy + 6), (cx, cy - 7)]], colour, 2.4)
        self.text(x + 31, y + 19.5, verdict, TEXT, colour)
        return width

    # Shapes

    def group(self, clip: Box | None = None, **attributes: str) -> _Group:
        """What is drawn inside stands in a group of its own, cut off at a box."""
        more = {k.replace("_", "-"): printable(v) for k, v in attributes.items()}
        if clip is not None:
            self._clips += 1
            name = f"clip{self._clips}"
            held = ET.SubElement(self._defs, "clipPath", {"id": name})
            x0, y0, x1, y1 = clip
            ET.SubElement(held, "rect", {"x": _n(x0), "y": _n(y0), "width": _n(x1 - x0), "height": _n(y1 - y0)})
            more["clip-path"] = f"url(#{name})"
        return _Group(self, more)

    def rect(
        self, x: float, y: float, w: float, h: float, *,
        fill: str = "none", stroke: str = "none", width_px: float = 1.0, dashes: str = "",
    ) -> None:  # fmt: skip
        place = {"x": _n(x), "y": _n(y), "width": _n(w), "height": _n(h)}
        ET.SubElement(self._layer, "rect", place | _stroke(stroke, width_px, dashes) | {"fill": fill})

    def circle(
        self, x: float, y: float, r: float, *, fill: str = "none", stroke: str = "none", width_px: float = 1.0,
        dashes: str = "",
    ) -> None:  # fmt: skip
        place = {"cx": _n(x), "cy": _n(y), "r": _n(r)}
        ET.SubElement(self._layer, "circle", place | _stroke(stroke, width_px, dashes) | {"fill": fill})

    def lines(
        self, paths: Iterable[Sequence[Point2] | Floats], stroke: str = INK, width_px: float = 1.0, dashes: str = ""
    ) -> None:
        """Open lines, all as one path."""
        d = " ".join("M " + " L ".join(f"{_t(x)} {_t(y)}" for x, y in p) for p in paths)
        if d:
            ET.SubElement(self._layer, "path", {"d": d, "fill": "none"} | _stroke(stroke, width_px, dashes))

    def area(
        self, rings: Iterable[Sequence[Point2] | Floats], fill: str, hatch: Hatch = "plain", width_px: float = 1.5,
        dashes: str = "", **attributes: str,
    ) -> None:  # fmt: skip
        """A filled area: rings by the even-odd rule, in a colour and under a hatch of its edge's colour."""
        d = " ".join("M " + " L ".join(f"{_t(x)} {_t(y)}" for x, y in ring) + " Z" for ring in rings)
        if not d:
            return
        edge = EDGES.get(fill, INK)
        rule = {"d": d, "fill-rule": "evenodd"}
        more = {k.replace("_", "-"): printable(v) for k, v in attributes.items()}
        ET.SubElement(self._layer, "path", rule | {"fill": fill, "stroke": "none"} | more)
        if hatch != "plain":
            ET.SubElement(self._layer, "path", rule | {"fill": self._pattern(hatch, edge), "stroke": "none"})
        ET.SubElement(self._layer, "path", rule | {"fill": "none"} | _stroke(edge, width_px, dashes))

    def _pattern(self, hatch: Hatch, colour: str) -> str:
        name = f"{hatch}-{colour.removeprefix('#')}"
        if name not in self._used:
            self._used.add(name)
            size, d = _TILES[hatch]
            made = ET.SubElement(
                self._defs, "pattern",
                {"id": name, "width": _n(size), "height": _n(size), "patternUnits": "userSpaceOnUse"},
            )  # fmt: skip
            look = {"fill": colour} if hatch == "dots" else {"fill": "none", "stroke": colour, "stroke-width": "1.1"}
            ET.SubElement(made, "path", {"d": d} | look)
        return f"url(#{name})"

    def image(self, png: bytes, x: float, y: float, w: float, h: float) -> None:
        data = base64.b64encode(png).decode()
        ET.SubElement(
            self._layer, "image",
            {"x": _n(x), "y": _n(y), "width": _n(w), "height": _n(h), "preserveAspectRatio": "none",
             "href": f"data:image/png;base64,{data}"},
        )  # fmt: skip

    # Words

    def text(
        self, x: float, y: float, words: str, size: float = TEXT, colour: str = INK, anchor: str = "start",
        halo: bool = False,
    ) -> None:  # fmt: skip
        """A line of words at its base line; the room that it takes is noted."""
        line = printable(words)
        look = {"x": _n(x), "y": _n(y), "font-size": _n(size)}
        if colour != INK:
            look["fill"] = colour
        if anchor != "start":
            look["text-anchor"] = anchor
        if halo:
            look |= {"stroke": PAPER, "stroke-width": "5", "paint-order": "stroke", "stroke-linejoin": "round"}
        ET.SubElement(self._letters, "text", look).text = line
        self.words.append(taken(x, y, line, size, anchor))

    def free(self, box: Box) -> bool:
        """Whether no words stand in a box."""
        return all(
            box[2] + _PAD <= b[0] or b[2] + _PAD <= box[0] or box[3] + _PAD <= b[1] or b[3] + _PAD <= box[1]
            for b in self.words
        )

    def placed(
        self, spots: Iterable[tuple[float, float, str]], words: str, size: float = TEXT, colour: str = INK,
        halo: bool = True, within: Box | None = None,
    ) -> Point2 | None:  # fmt: skip
        """Words at the first of the spots (x, base line, anchor) where they meet no others; None where they have no
        room at any, and are then left out."""
        line = printable(words)
        x0, y0, x1, y1 = within or (4.0, 4.0, WIDTH - 4.0, self.height - 4.0)
        for x, y, anchor in spots:
            box = taken(x, y, line, size, anchor)
            if x0 <= box[0] and y0 <= box[1] and box[2] <= x1 and box[3] <= y1 and self.free(box):
                self.text(x, y, line, size, colour, anchor, halo)
                return (x, y)
        return None

    def tag(self, x: float, y: float, words: str, colour: str = INK) -> Box:
        """A number of importance in a frame, its middle at a point."""
        line = printable(words)
        w, h = wide(line, TEXT + 3) + 18, 31.0
        self.rect(x - w / 2, y - h / 2, w, h, fill=PAPER, stroke=colour, width_px=2)
        self.text(x, y + 7, line, TEXT + 3, colour, "middle")
        box = (x - w / 2, y - h / 2, x + w / 2, y + h / 2)
        self.words[-1] = box
        return box

    def legend(self, rows: Sequence[tuple[str, Hatch, str]], y: float | None = None) -> None:
        """What each filling means, in a row under the drawing; as many as have room."""
        x, base = MARGIN, self.height - FOOT + 28 if y is None else y
        lines = 0
        for fill, hatch, words in rows:
            line = fitted(words, SMALL, WIDTH - 2 * MARGIN - 40)
            needed = 34 + wide(line, SMALL) + 26
            if x + needed - 26 > WIDTH - MARGIN:
                x, base, lines = MARGIN, base + 25, lines + 1
                if lines > 1:
                    return
            w, h = 26, 17
            self.area([[(x, base - 14), (x + w, base - 14), (x + w, base - 14 + h), (x, base - 14 + h)]], fill, hatch)
            self.text(x + 34, base, line, SMALL)
            x += needed

    def finished(self, name: str) -> Picture:
        for key, value in self.attributes.items():
            self._root.set(f"data-{key}", printable(value))
        body: str = ET.tostring(self._root, encoding="unicode")
        whole = f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'
        found = self.attributes.get("finding", "")
        return Picture(name, printable(self.title), whole.encode("utf-8", "replace"), found)


class _Group:
    """`with sheet.group(...)`: shapes drawn inside belong to it. Words stay above all shapes."""

    def __init__(self, sheet: Sheet, attributes: dict[str, str]) -> None:
        self.sheet, self.attributes = sheet, attributes

    def __enter__(self) -> None:
        self.before = self.sheet._layer
        self.sheet._layer = ET.SubElement(self.before, "g", self.attributes)

    def __exit__(self, *_: Any) -> None:
        self.sheet._layer = self.before


def taken(x: float, y: float, line: str, size: float, anchor: str) -> Box:
    """The room of a line of words: left, top, right, bottom."""
    w = wide(line, size)
    left = x - (w if anchor == "end" else w / 2 if anchor == "middle" else 0.0)
    return (left, y - 0.78 * size, left + w, y + 0.24 * size)


def fitted(words: str, size: float, room: float) -> str:
    """The words on one line, cut short where they are wider than the room."""
    line = printable(words)
    if wide(line, size) <= room:
        return line
    while line and wide(line + _ELLIPSIS, size) > room:
        line = line[: -max(1, len(line) // 40)]
    return line.rstrip() + _ELLIPSIS


def wrapped(words: str, size: float, room: float, most: int) -> list[str]:
    """The words over no more lines than `most`; the last one cut short where they are longer."""
    out: list[str] = []
    for word in printable(words).split():
        if out and wide(f"{out[-1]} {word}", size) <= room:
            out[-1] += f" {word}"
        else:
            out.append(word)
    if len(out) > most:
        out = [*out[: most - 1], " ".join(out[most - 1 :])]
    return [fitted(line, size, room) for line in out]


def slug(name: str) -> str:
    """A name as that of a file: letters, digits and hyphens."""
    kept = re.sub(r"[^a-z0-9]+", "-", printable(name).lower()).strip("-")
    return kept[:80].rstrip("-") or "picture"


def ring(points: Floats | Sequence[Sequence[float]]) -> Floats:
    out: Floats = np.asarray(points, dtype=float)
    return out


def _stroke(colour: str, width_px: float, dashes: str) -> dict[str, str]:
    if colour == "none":
        return {"stroke": "none"}
    return {"stroke": colour, "stroke-width": _n(width_px)} | ({"stroke-dasharray": dashes} if dashes else {})


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _t(value: float) -> str:
    """A coordinate to a tenth of a pixel."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text
