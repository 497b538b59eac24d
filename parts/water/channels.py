"""Milled coolant channels: a constant-width groove along a path of straight legs with round corners and ends.

Owns the channel's fields, the area it covers, its distance from a point, and the solids that cut it. Leaves which ports
a path may name, and how deep in a plate it lies, to the part it is milled in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from elbowroom.parts.vocabulary.base import dim
from elbowroom.parts.vocabulary.measure import Mm

if TYPE_CHECKING:
    from cadquery import Solid, Wire

_PRACTICE = "common practice, no source"
Point2 = tuple[float, float]


class Channel(BaseModel):
    """A channel from place to place: each a port's name, the pump bay's, or a point (x, y) in the part's plane."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)

    path: tuple[str | tuple[Mm, Mm], ...] = dim(
        ..., "Ports, `pump-bay` or points (x, y) it runs through, in order", source="stated by the build", mark="V",
        min_length=2, max_length=40,
    )  # fmt: skip
    width: Mm = dim(Mm(10), "Width of the groove", source=_PRACTICE, mark="P", ge=2, le=60)
    depth: Mm = dim(Mm(8), "Depth of the groove", source=_PRACTICE, mark="P", ge=1, le=60)

    def points(self, places: Mapping[str, Point2]) -> tuple[Point2, ...]:
        """The path's points; ValueError for a name that is no place, or two alike in a row."""
        unknown = [p for p in self.path if isinstance(p, str) and p not in places]
        if unknown:
            known = ", ".join(places) or "none"
            raise ValueError(f"a channel runs to '{unknown[0]}', which is no port of the part; known: {known}")
        out = tuple(places[p] if isinstance(p, str) else (float(p[0]), float(p[1])) for p in self.path)
        for a, b in pairwise(out):
            if math.dist(a, b) < LEAST_LEG:
                raise ValueError(f"a channel has two points {math.dist(a, b):.3f} mm apart at ({a[0]:g}, {a[1]:g})")
        return out


# rad: an outer corner turning less is drawn sharp, not round; the two differ by r bend^2 / 8, under 1e-5 mm.
STRAIGHT = 1e-3
LEAST_LEG = 0.1  # mm: a shorter leg is a slip of the pen, and too short to be milled


def area(points: Sequence[Point2], width: float) -> float:
    """Area in mm2 a groove covers: exact while legs are longer than the corners they join and do not cross."""
    r = width / 2
    total = math.pi * r * r + sum(width * math.dist(a, b) for a, b in pairwise(points))
    for bend in map(abs, _bends(points)):
        # At a corner the legs overlap by a kite r^2 tan(bend/2); the round outside of it is a sector r^2 bend/2.
        total += r * r * (bend / 2 - math.tan(bend / 2))
    return total


def distance(points: Sequence[Point2], p: Point2) -> float:
    """Distance from a point to the path, mm."""
    return min(_to_leg(a, b, p) for a, b in pairwise(points))


def tools(points: Sequence[Point2], width: float, bottom: float, depth: float) -> list[Solid]:
    """Solids that together cut the groove, from z = bottom up by `depth`: one where it keeps clear of itself."""
    from elbowroom.parts.vocabulary import draw

    if _is_plain(points, width):
        return [draw.slab(_outline(points, width / 2, bottom), (), depth)]
    out = []
    for a, b in pairwise(points):
        middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        angle = math.degrees(_heading(a, b))
        out.append(draw.slab(draw.slot(*middle, width, math.dist(a, b), angle, bottom), (), depth))
    return out


def _heading(a: Point2, b: Point2) -> float:
    return math.atan2(b[1] - a[1], b[0] - a[0])


def _bends(points: Sequence[Point2]) -> list[float]:
    """The turn at each inner point, radians, positive to the left."""
    return [math.atan2(*_cross_dot(a, b, c)) for a, b, c in zip(points, points[1:], points[2:], strict=False)]


def _is_plain(points: Sequence[Point2], width: float) -> bool:
    """Whether the outline of the groove is one simple curve: no corner sharper than a right angle, legs longer than
    their corners take, and legs that do not join at least a width apart."""
    bends = _bends(points)
    if any(abs(b) > math.pi / 2 + STRAIGHT for b in bends):
        return False
    back = [width / 2 * abs(math.tan(b / 2)) for b in (0.0, *bends, 0.0)]
    legs = list(pairwise(points))
    if any(math.dist(a, b) <= s + t for (a, b), (s, t) in zip(legs, pairwise(back), strict=True)):
        return False
    return all(legs_apart(legs[i], legs[j]) > width for i in range(len(legs)) for j in range(i + 2, len(legs)))


def legs_apart(one: tuple[Point2, Point2], other: tuple[Point2, Point2]) -> float:
    """Distance between two legs, mm; 0 where they cross."""
    (a, b), (c, d) = one, other
    sides = [_cross_dot(a, b, c)[0] * _cross_dot(a, b, d)[0], _cross_dot(c, d, a)[0] * _cross_dot(c, d, b)[0]]
    if max(sides) < 0:
        return 0.0
    return min(_to_leg(a, b, c), _to_leg(a, b, d), _to_leg(c, d, a), _to_leg(c, d, b))


def _outline(points: Sequence[Point2], r: float, z: float) -> Wire:
    """The groove's outline: mitred on the inner side of each corner, round on the outer side and at both ends."""
    from elbowroom.parts.vocabulary import draw

    turns = [_heading(a, b) for a, b in pairwise(points)]
    edges: list[tuple[Point2, ...]] = []
    ways = ((points, turns), (tuple(reversed(points)), [t + math.pi for t in reversed(turns)]))
    sides = [_left_side(way, headings, r) for way, headings in ways]
    for (way, headings), side, other in zip(ways, sides, reversed(sides), strict=True):
        for here, there in pairwise(side):
            edges += [here] if len(here) == 3 else []
            edges.append((here[-1], there[0]))
        edges.append((side[-1][-1], _polar(way[-1], headings[-1], r), other[0][0]))
    return draw.outline(edges, z)


def _left_side(points: Sequence[Point2], headings: Sequence[float], r: float) -> list[tuple[Point2, ...]]:
    """The line r to the left of a path: at each point one point, or the three of an arc round an outer corner."""
    left = math.pi / 2
    out: list[tuple[Point2, ...]] = [(_polar(points[0], headings[0] + left, r),)]
    for p, bend, before in zip(points[1:], _bends(points), headings, strict=False):
        middle = before + bend / 2 + left
        if bend > -STRAIGHT:
            out.append((_polar(p, middle, r / math.cos(bend / 2)),))
        else:
            out.append((_polar(p, before + left, r), _polar(p, middle, r), _polar(p, before + bend + left, r)))
    out.append((_polar(points[-1], headings[-1] + left, r),))
    return out


def _polar(p: Point2, angle: float, reach: float) -> Point2:
    return (p[0] + reach * math.cos(angle), p[1] + reach * math.sin(angle))


def _cross_dot(a: Point2, b: Point2, c: Point2) -> tuple[float, float]:
    ux, uy, vx, vy = b[0] - a[0], b[1] - a[1], c[0] - b[0], c[1] - b[1]
    return (ux * vy - uy * vx, ux * vx + uy * vy)


def _to_leg(a: Point2, b: Point2, p: Point2) -> float:
    ux, uy = b[0] - a[0], b[1] - a[1]
    t = max(0.0, min(1.0, ((p[0] - a[0]) * ux + (p[1] - a[1]) * uy) / (ux * ux + uy * uy)))
    return math.dist(p, (a[0] + t * ux, a[1] + t * uy))
