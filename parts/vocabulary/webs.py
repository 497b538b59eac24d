"""Holes and slots in flat faces of parts one makes: how they are drawn, and the wall that must stand between them.

Owns the exact distance between two holes of a pattern and to the face's outline, and the shape of a hole that lies flat
while it is printed: its upper half becomes a roof of two planes at 45 degrees, so that nothing hangs over. Leaves which
holes a part has to the families.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from elbowroom.parts.vocabulary.base import Hole, HolePattern
from elbowroom.parts.vocabulary.ports import TOUCH, beyond_outline
from elbowroom.parts.vocabulary.printing import PRINT_WALL, refuse_small

if TYPE_CHECKING:
    from cadquery import Solid, Wire

Point2 = tuple[float, float]
Spot = tuple[Point2, Point2, float]  # a straight and the radius about it: all points no farther from it

ROOF = math.sqrt(2.0)  # height of a roof's ridge above the hole's centre, in radii: tangents at 45 degrees
_C45 = math.sqrt(0.5)
OUT = 1.0  # mm a tool stands out of both faces of what it cuts


def spots(hole: Hole, roof: bool = False) -> list[Spot]:
    """What a hole covers in its pattern's plane; `roof`: with the ridge toward +y that it is printed with."""
    r, c, s = hole.diameter / 2, math.cos(math.radians(hole.angle)), math.sin(math.radians(hole.angle))
    dx, dy = c * hole.slot / 2, s * hole.slot / 2
    a, b = (hole.x - dx, hole.y - dy), (hole.x + dx, hole.y + dy)
    out: list[Spot] = [(a, b, r)]
    if roof:
        x, y = max(a, b, key=lambda p: p[1])
        ridge = (x, y + ROOF * r)
        out += [((x + k * _C45 * r, y + _C45 * r), ridge, 0.0) for k in (-1, 1)]
    return out


def gap(a: Spot, b: Spot) -> float:
    """Wall between two spots, mm; negative where they overlap."""
    (p, q, r), (u, v, s) = a, b
    if _crossing(p, q, u, v):
        return -(r + s)
    least = min(_to_straight(p, u, v), _to_straight(q, u, v), _to_straight(u, p, q), _to_straight(v, p, q))
    return least - r - s


def _to_straight(p: Point2, a: Point2, b: Point2) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy
    t = 0.0 if length2 == 0 else min(1.0, max(0.0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length2))
    return math.hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy)


def _crossing(p: Point2, q: Point2, u: Point2, v: Point2) -> bool:
    def side(a: Point2, b: Point2, c: Point2) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    return side(p, q, u) * side(p, q, v) < 0 and side(u, v, p) * side(u, v, q) < 0


def refuse_thin_webs(
    holes: Sequence[Hole], half: Point2, *, corner: float = 0.0, roof: bool = False, wall: float = PRINT_WALL,
    where: str = "",
) -> None:  # fmt: skip
    """ValueError where a hole is too small, or less than `wall` mm from another or from the outline.

    The holes' coordinates count from the middle of the outline, `half` its half sizes, `corner` the radius of its
    corners; `where` names the face in the message ("in the foot").
    """
    said = f" {where}" if where else ""
    covers = [spots(h, roof) for h in holes]
    for i, (h, cover) in enumerate(zip(holes, covers, strict=True), 1):
        refuse_small(f"hole {i}{said}", h.diameter)
        over = max(beyond_outline(p, r + wall, half, corner) for a, b, r in cover for p in (a, b))
        if over > TOUCH:
            raise ValueError(
                f"hole {i}{said} ({h.diameter:g} wide at {h.x:g}, {h.y:g} from the middle) is {over:.2f} mm too near "
                f"the edge: {wall:g} mm of wall must stay"
            )
    for (i, a), (j, b) in combinations(enumerate(covers, 1), 2):
        short = wall - min(gap(p, q) for p in a for q in b)
        if short > TOUCH:
            raise ValueError(f"holes {i} and {j}{said} are {short:.2f} mm too near: {wall:g} mm of wall must stay")


def outline(hole: Hole, roof: bool = False, z: float = 0.0) -> Wire:
    """The hole's outline at height z of its pattern; a roofed slot must run along y, so that it is as wide as a hole.

    ValueError for a roofed slot that does not.
    """
    from elbowroom.parts.vocabulary import draw

    if not roof:
        return draw.slot(hole.x, hole.y, hole.diameter, hole.slot, hole.angle, z)
    if hole.slot > 0 and abs(math.cos(math.radians(hole.angle))) > TOUCH:
        raise ValueError(f"a slot at {hole.angle:g} degrees cannot be roofed: it would have a flat ceiling")
    x, r, d = hole.x, hole.diameter / 2, hole.diameter / 2 * _C45
    low, high = hole.y - hole.slot / 2, hole.y + hole.slot / 2
    left, right, ridge = (x - d, high + d), (x + d, high + d), (x, high + ROOF * r)
    if hole.slot == 0:
        return draw.outline([(left, (x, low - r), right), (right, ridge), (ridge, left)], z)
    a, s = math.cos(math.pi / 8) * r, math.sin(math.pi / 8) * r  # halfway up the arcs below the tangent points
    runs: list[Sequence[Point2]] = [
        ((x - r, low), (x, low - r), (x + r, low)),
        ((x + r, low), (x + r, high)),
        ((x + r, high), (x + a, high + s), right),
        (right, ridge),
        (ridge, left),
        (left, (x - a, high + s), (x - r, high)),
        ((x - r, high), (x - r, low)),
    ]
    return draw.outline(runs, z)


def tools(pattern: HolePattern, depth: float, roof: bool = False) -> list[Solid]:
    """What to cut from a body `depth` mm thick under the pattern's face for its through holes."""
    from elbowroom.parts.vocabulary import draw

    return [
        draw.one(draw.baked(draw.slab(outline(h, roof, -depth - OUT), (), depth + 2 * OUT), pattern.pose))
        for h in pattern.holes
    ]


def turned_over(holes: Iterable[Hole]) -> tuple[Hole, ...]:
    """The same through holes in the pattern of the opposite face, whose x agrees and whose y runs the other way."""
    return tuple(Hole(h.x, -h.y, h.diameter, h.slot, -h.angle, h.thread, h.depth, h.threaded, h.stop) for h in holes)
