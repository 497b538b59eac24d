"""What a head or washer stands on: how much of its ring lies on metal, and whether that is on both sides of the screw.

Owns that geometry for round heads over holes and slots in one plane, all of them that lie under the head and wherever
the screw stands in its own. Which holes those are is `under`'s answer. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from elbowroom.model.screws.slot import Slot
from elbowroom.parts.fan.layers import ISO_7089
from elbowroom.parts.vocabulary.arrays import Floats

Point = tuple[float, float]
Span = tuple[float, float]

# Of the head's ring on metal. Half would rule out every ISO 7089 washer for an M3 screw in a slot 4.5 wide, the way
# radiators hang: its own washer has 0.30 there, the bare head 0.14.
LEAST_SHARE = 0.25
LEAST_OVERLAP = 0.5  # mm of metal under the head on each of two opposite sides
SIDES = 180  # lines through the axis that are looked along: what lies between two may be a little more, and is not told
PARALLEL = 1e-12  # of a unit vector: a ray along a slot's side
DRAWN_MM = 0.02  # mm: how far a round edge drawn in segments may lie off; less beside a slot is that slot itself (P)
LEVEL_MM = 1e-6  # mm, or share of a ring: rounding of sums of dimensions


class Bearing(NamedTuple):
    """What a head stands on. share: of its ring around the shank, on metal. overlap: mm of metal under the head on both
    of two opposite sides, those where there is most; 0 or less: it stands on one side only, or on nothing."""

    share: float
    overlap: float

    @property
    def enough(self) -> bool:
        """At least a quarter of the ring on metal, and 0.5 mm on two opposite sides (P)."""
        return self.share >= LEAST_SHARE and self.overlap >= LEAST_OVERLAP - LEVEL_MM

    @property
    def borne(self) -> bool:
        """Whether there is metal on opposite sides at all: a head that has it on one side tips when it is tightened."""
        return self.overlap > LEVEL_MM

    @property
    def through(self) -> bool:
        """Whether nothing at all is under the head."""
        return self.share <= LEVEL_MM and self.overlap <= LEVEL_MM


def bearing(head: float, shank: float, slot: Slot | Sequence[Slot], at: Point, cut: Any = None) -> Bearing:
    """How a head (or washer) of that diameter bears on the sheet around a slot, the screw's axis at `at`; of several
    slots, around all the holes that may lie under it. cut: what else is cut from the sheet there, a shapely figure.

    The share of one slot is exact (closed form), that of several good to 1e-4 of the ring. Raises ValueError for a head
    not wider than its shank.
    """
    if not 0 < shank < head:
        raise ValueError(f"a head of {head:g} mm is not wider than its shank of {shank:g}")
    holes = [slot] if isinstance(slot, Slot) else list(slot)
    under = {
        (round(s.x - at[0], 9), round(s.y - at[1], 9), s.width, s.length, s.angle)
        for s in holes
        if math.hypot(s.x - at[0], s.y - at[1]) < (head + s.width + s.length) / 2
    }
    return _bearing(head, shank, tuple(sorted(under)), _beside(head, under, cut, at))


def _beside(head: float, under: Iterable[tuple[float, float, float, float, float]], cut: Any, at: Point) -> bytes:
    """What is cut under a head beside its slots, about its axis; empty where that is no more than rounding."""
    if cut is None:
        return b""
    import shapely

    disc = shapely.Point(0, 0).buffer(head / 2, quad_segs=128)
    # Wider than the head: a disc in segments ends short of it, and what a ray has left there would count as metal.
    own = shapely.transform(cut, lambda p: np.round(p - np.array(at), 9)).intersection(disc.buffer(DRAWN_MM))
    beyond = own.intersection(disc).difference(_figure([Slot(*u) for u in under]).buffer(DRAWN_MM))
    return bytes(shapely.to_wkb(own)) if beyond.area > DRAWN_MM * DRAWN_MM else b""


@lru_cache(maxsize=4096)
def _bearing(
    head: float, shank: float, under: tuple[tuple[float, float, float, float, float], ...], cut: bytes = b""
) -> Bearing:
    """The same about an axis at the origin: screws that are alike ask again and again."""
    slots = [Slot(*u) for u in under]
    ring = math.pi * (head**2 - shank**2) / 4
    if len(slots) == 1 and not cut:
        (slot,) = slots
        a = math.radians(slot.angle)
        u, v = slot.x * math.cos(a) + slot.y * math.sin(a), -slot.x * math.sin(a) + slot.y * math.cos(a)
        half, r = slot.length / 2, slot.width / 2
        open_ = _shared(head / 2, abs(u), abs(v), half, r) - _shared(shank / 2, abs(u), abs(v), half, r)
    else:
        open_ = _open(head, shank, slots, cut)
    return Bearing(min(1.0, max(0.0, 1.0 - open_ / ring)), _on_both_sides(head, shank, slots, cut))


def _open(head: float, shank: float, slots: Sequence[Slot], cut: bytes) -> float:
    """Area of a head's ring over several holes and what else is cut, which may run into each other, mm2."""
    import shapely

    discs = [shapely.Point(0, 0).buffer(d / 2, quad_segs=128) for d in (head, shank)]
    holes = _figure(slots)
    if cut:
        holes = holes.union(shapely.from_wkb(cut))
    return float(discs[0].difference(discs[1]).intersection(holes).area)


def _figure(slots: Sequence[Slot]) -> Any:
    import shapely

    middles = [shapely.LineString(s.ends) if s.length else shapely.Point(s.x, s.y) for s in slots]
    return shapely.union_all([m.buffer(s.width / 2, quad_segs=128) for m, s in zip(middles, slots, strict=True)])


def _crossed(ways: Floats, reach: float, cut: bytes) -> list[list[Span]]:
    """Where rays from the origin, `reach` mm long, run over what is cut, mm."""
    import shapely

    if not cut:
        return [[] for _ in ways]
    rays = shapely.linestrings(np.stack([np.zeros_like(ways), ways * reach], axis=1))
    met = shapely.intersection(rays, shapely.from_wkb(cut))
    out: list[list[Span]] = []
    for line in met:
        ends = [np.hypot(*np.array(g.coords).T) for g in getattr(line, "geoms", [line]) if not g.is_empty]
        out.append([(float(e.min()), float(e.max())) for e in ends])
    return out


def _on_both_sides(head: float, shank: float, slots: Sequence[Slot], cut: bytes) -> float:
    """mm of metal under the head on each of two opposite sides, along the line where the lesser of the two is greatest;
    negative by how far the head ends short of the metal.
    """
    turns = np.arange(SIDES) * math.pi / SIDES
    # Square to each slot, and square to where its middle lies: there it is greatest beside one slot, or one round hole.
    own = [math.radians(s.angle) + math.pi / 2 for s in slots] + [math.atan2(s.y, s.x) + math.pi / 2 for s in slots]
    a = np.concatenate([turns, np.array(own)]) if own else turns
    ways = np.concatenate([np.column_stack([np.cos(a), np.sin(a)]), -np.column_stack([np.cos(a), np.sin(a)])])
    spans, beside = [_chords(s, ways) for s in slots], _crossed(ways, head / 2, cut)
    depth = np.array([_metal(head / 2, shank / 2, [*((float(lo[k]), float(hi[k])) for lo, hi in spans), *beside[k]])
                      for k in range(len(ways))])  # fmt: skip
    return float(np.minimum(depth[: len(a)], depth[len(a) :]).max())


def _metal(reach: float, shank: float, open_: Sequence[Span]) -> float:
    """mm of metal along a ray from the shank to `reach`; where there is none, how far beyond it begins, negative."""
    at, metal = shank, 0.0
    for lo, hi in sorted(s for s in open_ if s[0] < s[1]):
        if lo > at:
            if at >= reach:
                break
            metal += min(lo, reach) - at
        at = max(at, hi)
    metal += max(0.0, reach - at)
    return metal if metal > 0.0 else reach - at


def _chords(slot: Slot, ways: Floats) -> tuple[Floats, Floats]:
    """Where rays from the origin along unit vectors go into a slot and out of it, mm; inf, -inf for those that miss.

    A slot is convex: two discs and what lies between them.
    """
    lo, hi = np.full(len(ways), np.inf), np.full(len(ways), -np.inf)
    r = slot.width / 2
    for end in slot.ends:
        along = ways @ np.array(end)
        square = r * r - (end[0] ** 2 + end[1] ** 2 - along**2)
        half = np.sqrt(np.maximum(square, 0.0))
        lo, hi = (
            np.where(square >= 0, np.minimum(lo, along - half), lo),
            np.where(square >= 0, np.maximum(hi, along + half), hi),
        )
    if slot.length > 0.0:
        a = math.radians(slot.angle)
        frame = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
        middle, turned = frame @ np.array([slot.x, slot.y]), ways @ frame.T
        t0, t1 = np.full(len(ways), -np.inf), np.full(len(ways), np.inf)
        for k, half_size in ((0, slot.length / 2), (1, r)):
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                one = (middle[k] - half_size) / turned[:, k]
                two = (middle[k] + half_size) / turned[:, k]
            inside = abs(middle[k]) <= half_size
            flat = np.abs(turned[:, k]) < PARALLEL
            t0 = np.maximum(t0, np.where(flat, -np.inf if inside else np.inf, np.minimum(one, two)))
            t1 = np.minimum(t1, np.where(flat, np.inf if inside else -np.inf, np.maximum(one, two)))
        met = t0 <= t1
        lo, hi = np.where(met, np.minimum(lo, t0), lo), np.where(met, np.maximum(hi, t1), hi)
    return lo, hi


def washer_for(head: float, shank: float, slot: Slot | Sequence[Slot], at: Point) -> str | None:
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
