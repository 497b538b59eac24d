"""Which bores of a plate share coolant: through channels they open into, bores and channels that meet, and a pump bay.

Owns that question, answered from the same numbers the plate is drawn from, so that a channel milled across a port it
does not name joins that port all the same. Leaves where bores and channels lie to `plate`. Millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from elbowroom.parts.vocabulary.ports import TOUCH, Bore, overlap
from elbowroom.parts.water.channels import Point2, distance, legs_apart


@dataclass(frozen=True, slots=True)
class Groove:
    """A channel as it is milled: the middle of its path, its width, and the heights it lies between."""

    points: tuple[Point2, ...]
    width: float
    low: float
    high: float


def joined(bores: Sequence[Bore], grooves: Sequence[Groove]) -> tuple[tuple[str, ...], ...]:
    """Names of the bores, group by group, that share coolant; a bore that meets nothing stands alone."""
    parent = list(range(len(bores) + len(grooves)))

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    for (i, a), (j, b) in combinations(enumerate(bores), 2):
        if overlap(a, b) > TOUCH:
            parent[root(i)] = root(j)
    for k, groove in enumerate(grooves, len(bores)):
        for i, bore in enumerate(bores):
            if opens_into(bore, groove):
                parent[root(i)] = root(k)
    for (k, one), (m, other) in combinations(enumerate(grooves, len(bores)), 2):
        level = min(one.high, other.high) - max(one.low, other.low) > TOUCH
        if level and _between(one.points, other.points) < (one.width + other.width) / 2:
            parent[root(k)] = root(m)
    groups: dict[int, list[str]] = {}
    for i, bore in enumerate(bores):
        groups.setdefault(root(i), []).append(bore.name)
    return tuple(map(tuple, groups.values()))


def opens_into(bore: Bore, groove: Groove) -> bool:
    """Whether a bore, square to the plate or along x or y, shares volume with a groove."""
    room, wide = bore.room(0.0), groove.width / 2
    low, high = max(room.lo[2], groove.low), min(room.hi[2], groove.high)
    if high - low <= TOUCH:
        return False
    r = bore.diameter / 2
    if bore.inward[2] != 0:
        return distance(groove.points, (bore.start[0], bore.start[1])) < r + wide - TOUCH
    # A lying bore is widest, within the heights of the groove, where they come nearest to its axis.
    off = max(low - bore.start[2], bore.start[2] - high, 0.0)
    half = (r * r - off * off) ** 0.5
    return _to_strip(groove.points, (bore.start[0], bore.start[1]), (bore.bottom[0], bore.bottom[1]), half) < wide


def _to_strip(points: Sequence[Point2], a: Point2, b: Point2, half: float) -> float:
    """Distance of a path from the flat-ended strip `half` to both sides of the line a-b; 0 where they meet."""
    along_x = a[1] == b[1]
    sides = ((0.0, half), (0.0, -half)) if along_x else ((half, 0.0), (-half, 0.0))
    (ux, uy), (vx, vy) = sides
    corners = [(a[0] + ux, a[1] + uy), (b[0] + ux, b[1] + uy), (b[0] + vx, b[1] + vy), (a[0] + vx, a[1] + vy)]
    xs, ys = sorted(c[0] for c in corners), sorted(c[1] for c in corners)
    if any(xs[0] <= x <= xs[-1] and ys[0] <= y <= ys[-1] for x, y in points):
        return 0.0
    return _between(points, [*corners, corners[0]])


def _between(a: Sequence[Point2], b: Sequence[Point2]) -> float:
    """Least distance between two paths."""
    return min(legs_apart(p, q) for p in pairwise(a) for q in pairwise(b))
