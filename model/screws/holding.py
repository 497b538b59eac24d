"""Does what remains hold: the rule for a pattern that lost screws.

Owns that question, for points in one plane. Which screws pass is `slots`'s answer, what their heads stand on that of
`bearing`; how long a screw must be and what it does in its thread are the questions of others. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

Point = tuple[float, float]
Verdict = Literal["holds", "holds poorly", "does not hold"]

# The rule, all common practice, no source (P).
LEAST_SCREWS = 3
MARGIN = 0.1  # of the way from the pattern's centre to its own edge, that the used screws must reach past the centre
COVER = 0.5  # of the area of the pattern's hull
NARROW = 1.0  # mm: a pattern that is no wider on the whole is one line
BOTH_SIDES = "on both sides of its middle"
AT_EDGE = "to one side, its middle just at their edge"
LEVEL_MM = 1e-6  # mm, or mm2: rounding of sums of dimensions


@dataclass(frozen=True, slots=True)
class Holding:
    """Whether the screws that pass hold a part. share: their hull over the whole pattern's. used, of: how many they are
    of how many. why: in a few words, where the count does not say it already.
    """

    verdict: Verdict
    share: float
    used: int
    of: int
    why: str = ""

    @property
    def reason(self) -> str:
        """The count and why, as a sentence that stands by itself."""
        if not self.used:
            return "no screw passes"
        if self.used == self.of:
            return "its screw passes" if self.of == 1 else "all screws pass"
        return f"{self.used} of {self.of} screws pass" + (f", {self.why}" if self.why else "")

    @property
    def rest(self) -> str:
        """What the screws that pass do, behind words that told of the others already."""
        if not self.used:
            return "no other is left"
        what, one = ("the other one", True) if self.used == 1 else (f"the other {self.used}", False)
        does = {"holds": "holds it" if one else "hold it", "holds poorly": f"hold{'s' * one} it poorly",
                "does not hold": f"do{'es' * one} not hold it"}[self.verdict]  # fmt: skip
        return f"{what} {does}" + (f": {self.why}" if self.why else "")


def holding(points: Sequence[Point], passing: Collection[int], *, diagonal: bool = False) -> Holding:
    """Whether the screws at `passing` hold a part that is made for screws at all `points`. Common practice, P:

    - all of them hold, however few the part has;
    - fewer than 3 do not hold. `diagonal`: two will do that lie on both sides of the centre, as for a single fan;
    - the centre of all the points must lie inside the hull of the screws, at least a tenth of the way to the pattern's
      own edge; nearer to the hull's edge it holds poorly, outside by more than that it does not hold;
    - the screws' hull must cover at least half of the whole pattern's, else it holds poorly; screws in one line hold a
      wider pattern not at all.

    A pattern in one line is judged along that line. Raises ValueError for an index that is no point.
    """
    used = sorted(set(passing))
    if used and not 0 <= used[0] <= used[-1] < len(points):
        raise ValueError(f"screws {used} are not all of a pattern of {len(points)}")
    n = len(points)
    if not used:
        return Holding("does not hold", 0.0, 0, n)
    if len(used) == n:
        return Holding("holds", 1.0, n, n)
    mine = [points[i] for i in used]
    middle = (sum(p[0] for p in points) / n, sum(p[1] for p in points) / n)
    whole, hull = _hull(points), _hull(mine)
    if _area(whole) < NARROW * math.dist(min(points), max(points)):
        return _in_line(points, mine, middle)
    share = _area(hull) / _area(whole)

    def told(verdict: Verdict, why: str = "") -> Holding:
        return Holding(verdict, share, len(used), n, why)

    if len(hull) < 3:
        if diagonal and len(used) >= 2 and _between(hull, middle, MARGIN * _depth(whole, middle)):
            return told("holds", BOTH_SIDES)
        return told("does not hold", "all in one line" if len(used) > 1 else "")
    if len(used) < LEAST_SCREWS:
        return told("does not hold")
    # Along the way out over each edge of the hull: mm to it, and to the pattern's own edge.
    ways = list(_ways_out(hull, whole, middle))
    room = min(own for own, _ in ways)
    if any(own < -MARGIN * reach - LEVEL_MM for own, reach in ways):
        return told("does not hold", _aside(-room))
    if diagonal and room > -LEVEL_MM:
        return told("holds", BOTH_SIDES)
    if any(own < MARGIN * reach - LEVEL_MM for own, reach in ways):
        return told("holds poorly", AT_EDGE)
    if share < COVER - LEVEL_MM:
        return told("holds poorly", _crowded(*_narrowest(hull, whole)))
    return told("holds", "all round its middle")


def _in_line(points: Sequence[Point], mine: Sequence[Point], middle: Point) -> Holding:
    """The rule for points in one line: at least two, on both sides of the centre, over half of the length."""
    far = max(points, key=lambda p: math.dist(p, middle))
    size = math.dist(far, middle) or 1.0
    e = ((far[0] - middle[0]) / size, (far[1] - middle[1]) / size)
    along = [(p[0] - middle[0]) * e[0] + (p[1] - middle[1]) * e[1] for p in mine]
    every = [(p[0] - middle[0]) * e[0] + (p[1] - middle[1]) * e[1] for p in points]
    own, length = max(along) - min(along), max(every) - min(every)
    share, room = own / (length or 1.0), min(max(along), -min(along))
    reach = min(max(every), -min(every))

    def told(verdict: Verdict, why: str = "") -> Holding:
        return Holding(verdict, share, len(mine), len(points), why)

    if len(mine) < 2:
        return told("does not hold")
    if room < -MARGIN * reach - LEVEL_MM:
        return told("does not hold", _aside(-room))
    if room < MARGIN * reach - LEVEL_MM:
        return told("holds poorly", AT_EDGE)
    if share < COVER - LEVEL_MM:
        return told("holds poorly", _crowded(own, length))
    return told("holds", BOTH_SIDES)


def _aside(by: float) -> str:
    return f"all to one side, its middle {by:.1f} mm outside of them"


def _crowded(own: float, whole: float) -> str:
    return f"close together, in {own:.0f} mm of the {whole:.0f} mm that all would take up"


def _narrowest(hull: Sequence[Point], whole: Sequence[Point]) -> tuple[float, float]:
    """In the direction in which a hull is narrowest against the whole: mm of both. Square to an edge of either."""
    best = (1.0, 1.0)
    for a, b in (*pairwise([*hull, hull[0]]), *pairwise([*whole, whole[0]])):
        size = math.dist(a, b)
        out = ((b[1] - a[1]) / size, (a[0] - b[0]) / size)
        spans = [[q[0] * out[0] + q[1] * out[1] for q in side] for side in (hull, whole)]
        own, all_ = (max(v) - min(v) for v in spans)
        if own * best[1] < best[0] * all_ - LEVEL_MM:
            best = (own, all_)
    return best


def _cross(o: Point, a: Point, b: Point) -> float:
    return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])


def _hull(points: Sequence[Point]) -> list[Point]:
    """Corners of the convex hull, counter-clockwise (monotone chain, textbook); two where all lie in one line."""
    ordered = sorted(set(points))
    if len(ordered) < 3:
        return ordered

    def chain(run: Sequence[Point]) -> list[Point]:
        out: list[Point] = []
        for p in run:
            while len(out) > 1 and _cross(out[-2], out[-1], p) <= LEVEL_MM * math.dist(out[-2], p):
                out.pop()
            out.append(p)
        return out[:-1]

    hull = chain(ordered) + chain(ordered[::-1])
    return hull if len(hull) > 2 else [ordered[0], ordered[-1]]


def _area(hull: Sequence[Point]) -> float:
    return sum(_cross(hull[0], a, b) for a, b in pairwise(hull[1:])) / 2 if len(hull) > 2 else 0.0


def _depth(hull: Sequence[Point], p: Point) -> float:
    """How far inside a hull's nearest edge line a point lies, mm; negative outside. -inf for no area."""
    if len(hull) < 3:
        return -math.inf
    return min(_cross(a, b, p) / math.dist(a, b) for a, b in pairwise([*hull, hull[0]]))


def _ways_out(hull: Sequence[Point], whole: Sequence[Point], p: Point) -> Iterator[tuple[float, float]]:
    """Square to each edge of the hull: mm from a point to that edge (negative outside) and to the whole's farthest."""
    for a, b in pairwise([*hull, hull[0]]):
        size = math.dist(a, b)
        out = ((b[1] - a[1]) / size, (a[0] - b[0]) / size)
        farthest = max((q[0] - p[0]) * out[0] + (q[1] - p[1]) * out[1] for q in whole)
        yield _cross(a, b, p) / size, farthest


def _between(ends: Sequence[Point], p: Point, within: float) -> bool:
    """Whether a point lies within `within` mm of a straight, between its ends."""
    if len(ends) < 2:
        return False
    a, b = ends
    size = math.dist(a, b)
    t = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / size**2
    return 0 < t < 1 and abs(_cross(a, b, p)) / size <= within + LEVEL_MM
