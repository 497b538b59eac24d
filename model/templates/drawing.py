"""What a template shows: one flat side of one part in true millimetres, ready for every format to write.

Owns the nouns - circles, outlines, lines, crosses and words on four layers, the hole table with its datum, the bars to
measure - and that no drawing holds one shape twice. How a drawing comes from a part is `views`' work, kerf is `kerf`'s,
and what is drawn how on paper belongs to the writers. x to the viewer's right, y up.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from elbowroom.parts.vocabulary.contour import Contour, Point, bounds, key

Layer = Literal["cut", "drill", "fold", "mark"]
LAYERS: tuple[Layer, ...] = ("cut", "drill", "fold", "mark")
Side = Literal["outside", "inside"]

DRILL_LARGEST = 13.0  # mm: what the chuck of a common hand drill takes; larger holes are sawn or cut; practice (P)

PRINTED_SCALE = (
    "Print at 100 %, without any scaling to fit the page, and measure both 100 mm bars before you use a sheet."
)
BAR = 100.0  # mm, the length of the bars by which a reader sees that a file is at true scale
TICK = 2.5  # mm, half the length of the strokes that end a bar
BESIDE = 8.0  # mm between a drawing and its bars


class TemplateError(ValueError):
    """A drawing cannot be made as asked; the message says why."""


@dataclass(frozen=True, slots=True)
class Circle:
    """A round hole (inside) or a round part's edge, mm. depth: of a blind hole; None: right through."""

    layer: Layer
    x: float
    y: float
    diameter: float
    inside: bool = True
    depth: float | None = None

    @property
    def box(self) -> tuple[float, float, float, float]:
        r = self.diameter / 2
        return (self.x - r, self.y - r, self.x + r, self.y + r)

    @property
    def key(self) -> tuple[object, ...]:
        return ("circle", round(self.x, 6) + 0.0, round(self.y, 6) + 0.0, round(self.diameter, 6))


@dataclass(frozen=True, slots=True)
class Outline:
    """A closed outline of straight sides and arcs; inside: an opening, so that the material lies around it."""

    layer: Layer
    contour: Contour
    inside: bool = True

    @property
    def box(self) -> tuple[float, float, float, float]:
        return bounds(self.contour)

    @property
    def key(self) -> tuple[object, ...]:
        return ("outline", *key(self.contour))


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line: where a sheet is folded, or a mark."""

    layer: Layer
    a: Point
    b: Point

    @property
    def box(self) -> tuple[float, float, float, float]:
        (ax, ay), (bx, by) = self.a, self.b
        return (min(ax, bx), min(ay, by), max(ax, bx), max(ay, by))

    @property
    def key(self) -> tuple[object, ...]:
        ends = sorted((round(x, 6) + 0.0, round(y, 6) + 0.0) for x, y in (self.a, self.b))
        return ("line", *ends)


@dataclass(frozen=True, slots=True)
class Cross:
    """The mark of a centre: two strokes of `size` mm, on layer `mark`."""

    x: float
    y: float
    size: float
    layer: Layer = "mark"

    @property
    def box(self) -> tuple[float, float, float, float]:
        h = self.size / 2
        return (self.x - h, self.y - h, self.x + h, self.y + h)

    @property
    def key(self) -> tuple[object, ...]:
        return ("cross", round(self.x, 6) + 0.0, round(self.y, 6) + 0.0)


@dataclass(frozen=True, slots=True)
class Text:
    """Words on layer `mark`; (x, y) is where the base line starts, `height` that of a capital, mm."""

    x: float
    y: float
    height: float
    text: str
    layer: Layer = "mark"

    @property
    def box(self) -> tuple[float, float, float, float]:
        return (self.x, self.y, self.x + 0.75 * self.height * len(self.text), self.y + self.height)

    @property
    def key(self) -> tuple[object, ...]:
        return ("text", round(self.x, 6), round(self.y, 6), self.text)


Entity = Circle | Outline | Line | Cross | Text


@dataclass(frozen=True, slots=True)
class Datum:
    """Where the hole table counts from, and what that is in words."""

    x: float
    y: float
    name: str


@dataclass(frozen=True, slots=True)
class HoleRow:
    """A line of the hole table: number, place from the datum, width; slot: length between end centres, mm, with its
    angle, degrees; depth: mm of a blind hole, None: through; purpose: what the hole is for.
    """

    number: int
    x: float
    y: float
    diameter: float
    purpose: str = ""
    slot: float = 0.0
    angle: float = 0.0
    depth: float | None = None


@dataclass(frozen=True, slots=True)
class Drawing:
    """One side of one part. `name` is what its files are called after; notes are told with the drawing.

    Raises TemplateError for an empty drawing and for a shape that is there twice.
    """

    name: str
    title: str
    side: Side
    entities: tuple[Entity, ...]
    datum: Datum
    holes: tuple[HoleRow, ...] = ()
    thickness: float | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not any(not isinstance(e, Text) for e in self.entities):
            raise TemplateError(f"the drawing of {self.title} is empty")
        seen: set[tuple[object, ...]] = set()
        for e in self.entities:
            if e.key in seen:
                raise TemplateError(f"the drawing of {self.title} holds a shape twice, about {e.box[:2]}")
            seen.add(e.key)

    @property
    def side_label(self) -> str:
        """What every page and file says of the side it shows."""
        return f"seen from {self.side}"

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Extents of everything but words: least x, least y, largest x, largest y."""
        boxes = [e.box for e in self.entities if not isinstance(e, Text)]
        return (
            min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes)
        )  # fmt: skip

    @property
    def bars(self) -> tuple[Line, ...]:
        """Bars of 100 mm below and to the left of the drawing, on layer `mark`, each with a stroke at its ends."""
        x0, y0, *_ = self.box
        x, y = x0 - BESIDE, y0 - BESIDE
        level = [((x0, y), (x0 + BAR, y)), *(((at, y - TICK), (at, y + TICK)) for at in (x0, x0 + BAR))]
        upright = [((x, y0), (x, y0 + BAR)), *(((x - TICK, at), (x + TICK, at)) for at in (y0, y0 + BAR))]
        return tuple(Line("mark", a, b) for a, b in (*level, *upright))

    def on(self, layer: Layer) -> list[Entity]:
        """What lies on one layer, in order."""
        return [e for e in self.entities if e.layer == layer]


def distinct(entities: Iterable[Entity]) -> tuple[Entity, ...]:
    """The entities without those that repeat an earlier one, whatever layer that is on."""
    found: dict[tuple[object, ...], Entity] = {}
    for e in entities:
        found.setdefault(e.key, e)
    return tuple(found.values())
