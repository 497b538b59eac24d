"""Does what remains hold: the rule for a pattern that lost screws, and how much of a head bears on metal.

Owns both questions, for points and slots in one plane. Which screws pass is `slots`'s answer; how long a screw must be
and what it does in its thread are the questions of others. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, NamedTuple

from elbowroom.model.screws.slot import Slot
from elbowroom.parts.layers import ISO_7089

Point = tuple[float, float]
Verdict = Literal["holds", "holds poorly", "does not hold"]

# The rule, all common practice, no source (P).
LEAST_SCREWS = 3
MARGIN = 0.1  # of the way from the pattern's centre to its own edge, that the used screws must reach past the centre
COVER = 0.5  # of the area of the pattern's hull
# Of the head's ring on metal. Half would rule out every ISO 7089 washer for an M3 screw in a slot 4.5 wide, the way
# radiators hang: its own washer has 0.30 there, the bare head 0.14.
LEAST_SHARE = 0.25
LEAST_OVERLAP = 0.5  # mm of metal under the head at each side of the slot
NARROW = 1.0  # mm: a pattern that is no wider on the whole is one line
LEVEL_MM = 1e-6  # mm, or mm2: rounding of sums of dimensions


@dataclass(frozen=True, slots=True)
class Holding:
    """Whether the screws that pass hold a part, and why in a few words. share: their hull over the whole pattern's."""

    verdict: Verdict
    reason: str
    share: float


class Bearing(NamedTuple):
    """What a head stands on. share: of its ring around the shank, on metal. overlap: mm of metal under the head at the
    slot's side where it is least; 0 or less: the head falls through."""

    share: float
    overlap: float

    @property
    def enough(self) -> bool:
        """At least a quarter of the ring on metal, and 0.5 mm at each side (P)."""
        return self.share >= LEAST_SHARE and self.overlap >= LEAST_OVERLAP - LEVEL_MM


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
    if not used:
        return Holding("does not hold", "no screw passes", 0.0)
    if len(used) == len(points):
        return Holding("holds", "all screws pass" if len(used) > 1 else "its screw passes", 1.0)
    mine = [points[i] for i in used]
    middle = (sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points))
    whole, hull = _hull(points), _hull(mine)
    if _area(whole) < NARROW * math.dist(min(points), max(points)):
        return _in_line(points, mine, middle)
    share, room, reach = _area(hull) / _area(whole), _depth(hull, middle), _depth(whole, middle)
    count = f"{len(used)} of {len(points)} screws pass"
    if len(hull) < 3:
        if diagonal and len(used) >= 2 and _between(hull, middle, MARGIN * reach):
            return Holding("holds", f"{count}, on both sides of the centre", share)
        return Holding("does not hold", f"{count}{', all in one line' if len(used) > 1 else ''}", share)
    if len(used) < LEAST_SCREWS:
        return Holding("does not hold", count, share)
    if room < -MARGIN * reach - LEVEL_MM:
        return Holding("does not hold", f"{count}: the centre overhangs them by {-room:.1f} mm", share)
    if diagonal and room > -LEVEL_MM:
        return Holding("holds", f"{count}, on both sides of the centre", share)
    if room < MARGIN * reach - LEVEL_MM:
        return Holding("holds poorly", f"{count}: the centre lies at the edge of what they hold", share)
    if share < COVER - LEVEL_MM:
        return Holding("holds poorly", f"{count}: they span {share:.0%} of the pattern", share)
    return Holding("holds", f"{count}, around the centre", share)


def _in_line(points: Sequence[Point], mine: Sequence[Point], middle: Point) -> Holding:
    """The rule for points in one line: at least two, on both sides of the centre, over half of the length."""
    far = max(points, key=lambda p: math.dist(p, middle))
    size = math.dist(far, middle) or 1.0
    e = ((far[0] - middle[0]) / size, (far[1] - middle[1]) / size)
    along = [(p[0] - middle[0]) * e[0] + (p[1] - middle[1]) * e[1] for p in mine]
    every = [(p[0] - middle[0]) * e[0] + (p[1] - middle[1]) * e[1] for p in points]
    share = (max(along) - min(along)) / ((max(every) - min(every)) or 1.0)
    count, room = f"{len(mine)} of {len(points)} screws pass", min(max(along), -min(along))
    reach = min(max(every), -min(every))
    if len(mine) < 2:
        return Holding("does not hold", count, share)
    if room < -MARGIN * reach - LEVEL_MM:
        return Holding("does not hold", f"{count}: the centre overhangs them by {-room:.1f} mm", share)
    if room < MARGIN * reach - LEVEL_MM:
        return Holding("holds poorly", f"{count}: the centre lies at the edge of what they hold", share)
    if share < COVER - LEVEL_MM:
        return Holding("holds poorly", f"{count}: they span {share:.0%} of the pattern", share)
    return Holding("holds", f"{count}, on both sides of the centre", share)


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


def _between(ends: Sequence[Point], p: Point, within: float) -> bool:
    """Whether a point lies within `within` mm of a straight, between its ends."""
    if len(ends) < 2:
        return False
    a, b = ends
    size = math.dist(a, b)
    t = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / size**2
    return 0 < t < 1 and abs(_cross(a, b, p)) / size <= within + LEVEL_MM


def bearing(head: float, shank: float, slot: Slot, at: Point) -> Bearing:
    """How a head (or washer) of that diameter bears on the sheet around a slot, the screw's axis at `at`.

    Exact (closed form). At a slot's round end the overlap is taken from the centre line's end. Raises ValueError for a
    head not wider than its shank.
    """
    if not 0 < shank < head:
        raise ValueError(f"a head of {head:g} mm is not wider than its shank of {shank:g}")
    a = math.radians(slot.angle)
    dx, dy = at[0] - slot.x, at[1] - slot.y
    u, v = abs(dx * math.cos(a) + dy * math.sin(a)), abs(-dx * math.sin(a) + dy * math.cos(a))
    half, r = slot.length / 2, slot.width / 2
    ring = math.pi * (head**2 - shank**2) / 4
    open_ = _shared(head / 2, u, v, half, r) - _shared(shank / 2, u, v, half, r)
    overlap = head / 2 - r - math.hypot(max(0.0, u - half), v)
    return Bearing(min(1.0, max(0.0, 1.0 - open_ / ring)), overlap)


def washer_for(head: float, shank: float, slot: Slot, at: Point) -> str | None:
    """What a head needs to bear on a slot: "" for no washer, else the smallest ISO 7089 size that is enough, or None.

    A washer is enough where the head bears on the washer's hole and the washer on the sheet, both about one axis.
    """
    if bearing(head, shank, slot, at).enough:
        return ""
    for name, (inner, outer, _) in ISO_7089.items():
        if (
            inner >= shank
            and bearing(head, shank, Slot(0, 0, inner), (0, 0)).enough
            and bearing(outer, shank, slot, at).enough
        ):
            return name
    return None


def _shared(big: float, u: float, v: float, half: float, r: float) -> float:
    """Area a disc of radius `big` about (u, v) shares with a slot of end radius r along x, ends at +-half, mm2.

    Both are cut into chords along x; between the heights where the chords' ends change places, the chord of the overlap
    is a sum of roots with a known integral.
    """
    low, high = max(-r, v - big), min(r, v + big)
    if high <= low:
        return 0.0
    cuts = {low, high}
    for c in (-half, half):
        cuts |= {y for y in _meeting_heights(c, r, u, v, big) if low < y < high}
    area = 0.0
    for y0, y1 in pairwise(sorted(cuts)):
        y = (y0 + y1) / 2
        own, disc = math.sqrt(max(0.0, r * r - y * y)), math.sqrt(max(0.0, big * big - (y - v) ** 2))
        right_own, left_own = half + own < u + disc, -half - own > u - disc
        if min(half + own, u + disc) <= max(-half - own, u - disc):
            continue
        slot, head = _root_area(r, y0, y1), _root_area(big, y0 - v, y1 - v)
        right = half * (y1 - y0) + slot if right_own else u * (y1 - y0) + head
        left = -half * (y1 - y0) - slot if left_own else u * (y1 - y0) - head
        area += right - left
    return area


def _root_area(r: float, a: float, b: float) -> float:
    """Integral of sqrt(r2 - y2) from a to b."""

    def upto(y: float) -> float:
        t = min(1.0, max(-1.0, y / r))
        return r * r / 2 * (t * math.sqrt(1 - t * t) + math.asin(t))

    return upto(b) - upto(a)


def _meeting_heights(c: float, r: float, u: float, v: float, big: float) -> tuple[float, ...]:
    """Heights at which the circle of radius r about (c, 0) meets that of radius `big` about (u, v)."""
    gap = math.hypot(u - c, v)
    if gap == 0 or gap > r + big or gap < abs(r - big):
        return ()
    along = (gap * gap + r * r - big * big) / (2 * gap)
    h = math.sqrt(max(0.0, r * r - along * along))
    return tuple(along * v / gap + k * h * (u - c) / gap for k in (-1, 1))
