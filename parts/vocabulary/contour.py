"""Closed outlines in a plane, of straight sides and arcs: what is cut through a sheet, and what a template shows.

Owns their one form - vertices with the bulge of the side that leaves them, as a DXF polyline has it - and the exact
arithmetic on it: arcs, area, bounds, turning round, chords to a stated error. Knows nothing of solids or files.
Millimetres; angles in radians; y up, so that a positive bulge and a positive sweep turn anticlockwise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats

Point = tuple[float, float]
Vertex = tuple[float, float, float]  # x, y and the bulge of the side to the next vertex: tan(sweep / 4), 0 if straight
Contour = tuple[Vertex, ...]  # closed: the last vertex is joined to the first

STRAIGHT = 1e-12  # bulge below which a side is straight: over 1 m it rises by less than any kernel's tolerance
LEAST_SIDE_MM = 1e-4  # shorter sides are steps of rounding: written coordinates have four digits, the kernel keeps 1e-7


@dataclass(frozen=True, slots=True)
class Arc:
    """Part of a circle: it starts at the angle `start` and turns by `sweep`, positive anticlockwise."""

    centre: Point
    radius: float
    start: float
    sweep: float

    def at(self, share: float) -> Point:
        """The point that share of the way along, 0 to 1."""
        a = self.start + share * self.sweep
        return (self.centre[0] + self.radius * math.cos(a), self.centre[1] + self.radius * math.sin(a))


def arc_of(a: Sequence[float], b: Sequence[float], bulge: float) -> Arc:
    """The arc from a to b; the bulge must not be 0."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    chord = math.hypot(dx, dy)
    lift = (1 - bulge * bulge) / (4 * bulge)
    centre = ((a[0] + b[0]) / 2 - dy * lift, (a[1] + b[1]) / 2 + dx * lift)
    radius = chord * (1 + bulge * bulge) / (4 * abs(bulge))
    return Arc(centre, radius, math.atan2(a[1] - centre[1], a[0] - centre[0]), 4 * math.atan(bulge))


def sides(contour: Contour) -> list[tuple[Vertex, Vertex]]:
    """Each vertex with the one after it, the last with the first."""
    return list(zip(contour, (*contour[1:], contour[0]), strict=True))


def without_steps(contour: Contour, least: float = LEAST_SIDE_MM) -> Contour:
    """The outline without corners that lie nearer than `least` mm to the next: no kernel draws an edge of no length."""
    kept = [a for a, b in sides(contour) if math.dist(a[:2], b[:2]) >= least]
    return tuple(kept) if len(kept) >= 2 else contour


def circle(x: float, y: float, diameter: float) -> Contour:
    """A circle as two half arcs, anticlockwise."""
    r = diameter / 2
    return ((x - r, y, 1.0), (x + r, y, 1.0))


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Contour:
    """A rectangle, anticlockwise."""
    return ((x0, y0, 0.0), (x1, y0, 0.0), (x1, y1, 0.0), (x0, y1, 0.0))


def slot(x: float, y: float, width: float, length: float, angle: float = 0.0) -> Contour:
    """A slot of `length` between its end centres along `angle` degrees from x, anticlockwise."""
    c, s, r, h = math.cos(math.radians(angle)), math.sin(math.radians(angle)), width / 2, length / 2
    corners = ((-h, -r, 0.0), (h, -r, 1.0), (h, r, 0.0), (-h, r, 1.0))
    return tuple((x + c * u - s * v, y + s * u + c * v, bulge) for u, v, bulge in corners)


def turned_round(contour: Contour) -> Contour:
    """The same outline run through the other way."""
    n = len(contour)
    return tuple((*contour[-i % n][:2], 0.0 - contour[(-i - 1) % n][2]) for i in range(n))


def area(contour: Contour) -> float:
    """Signed area, mm2: positive where the outline runs anticlockwise. Exact for arcs."""
    total = 0.0
    for a, b in sides(contour):
        total += (a[0] * b[1] - b[0] * a[1]) / 2
        if abs(a[2]) > STRAIGHT:
            arc = arc_of(a, b, a[2])
            total += arc.radius**2 * (arc.sweep - math.sin(arc.sweep)) / 2
    return total


def bounds(contour: Contour) -> tuple[float, float, float, float]:
    """Least x, least y, largest x, largest y; exact for arcs."""
    xs, ys = [v[0] for v in contour], [v[1] for v in contour]
    for a, b in sides(contour):
        if abs(a[2]) <= STRAIGHT:
            continue
        arc = arc_of(a, b, a[2])
        lo, hi = sorted((arc.start, arc.start + arc.sweep))
        quarter = math.pi / 2
        for k in range(math.ceil(lo / quarter), math.floor(hi / quarter) + 1):
            xs.append(arc.centre[0] + arc.radius * math.cos(k * quarter))
            ys.append(arc.centre[1] + arc.radius * math.sin(k * quarter))
    return min(xs), min(ys), max(xs), max(ys)


def length(contour: Contour) -> float:
    """Length of the outline, mm."""
    total = 0.0
    for a, b in sides(contour):
        if abs(a[2]) > STRAIGHT:
            arc = arc_of(a, b, a[2])
            total += arc.radius * abs(arc.sweep)
        else:
            total += math.dist(a[:2], b[:2])
    return total


def flattened(contour: Contour, chord: float) -> Floats:
    """Points (n, 2) on the outline whose chords lie at most `chord` mm from it; the first is not repeated."""
    out: list[Point] = []
    for a, b in sides(contour):
        out.append((a[0], a[1]))
        if abs(a[2]) <= STRAIGHT:
            continue
        arc = arc_of(a, b, a[2])
        step = 2 * math.acos(max(0.0, 1 - chord / arc.radius)) if chord < arc.radius else math.pi / 2
        n = max(2, math.ceil(abs(arc.sweep) / step))
        out += [arc.at(k / n) for k in range(1, n)]
    return np.array(out, dtype=float)


def runs(contour: Contour) -> list[list[Point]]:
    """The sides in the form `draw.outline` takes: two points for a straight one, three for an arc."""
    out: list[list[Point]] = []
    for a, b in sides(contour):
        ends = [(a[0], a[1]), (b[0], b[1])]
        if abs(a[2]) > STRAIGHT:
            ends.insert(1, arc_of(a, b, a[2]).at(0.5))
        out.append(ends)
    return out


def key(contour: Contour) -> tuple[Vertex, ...]:
    """The same for one outline however it is run through and wherever it starts; to a millionth of a millimetre."""
    way = contour if area(contour) > 0 else turned_round(contour)
    # Adding 0.0 makes one of the two zeros that rounding may give.
    rounded = [(round(x, 6) + 0.0, round(y, 6) + 0.0, round(b, 6) + 0.0) for x, y, b in way]
    first = rounded.index(min(rounded))
    return tuple(rounded[first:] + rounded[:first])
