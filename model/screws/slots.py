"""Holes against slots: which screws of a pattern pass, and the slide along the slots by which most of them do.

Owns the arithmetic in one plane: a screw passes a slot where its axis lies within (width - diameter) / 2 of the slot's
centre line, which for each screw and slot is a capsule of slides; the best slide lies where most capsules meet, found
from their corners and not by trying. Leaves whether the screws that pass hold anything to `holding`, what a screw is
made of to others, slots to `slot`, and the geometry of capsules to `capsules`. All lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.model.screws.capsules import CENTRE_MM, Capsules, central, corners, distance, inside, nearest
from elbowroom.model.screws.capsules import span as room_along
from elbowroom.model.screws.slot import Slot, joined
from elbowroom.parts.vocabulary.arrays import Floats, Index, Mask

__all__ = ["PASS_MM", "Slide", "Slot", "best_slide", "joined", "residuals"]

PASS_MM = 1e-6
"""A screw that misses by no more passes: a thousandth of what any slot is made to, a thousand times the rounding of
poses. It lets a screw exactly as wide as its slot pass along the slot's centre line."""


@dataclass(frozen=True, slots=True)
class Slide:
    """The best slide of a pattern and what comes of it.

    dx, dy: the slide, mm. passing, lost: indices of points. residual: for each point at the slide, mm by which the slot
    it uses (`slot`, -1 for none left) or, lost, the nearest slot still free for it, fails to let the screw pass; <= 0
    passes, inf where no slot is left. at_rest: points that pass as placed. freedom: the slides along x through (dx, dy)
    over which the same screws pass in the same slots, lowest and highest dx, and the same along y.
    """

    dx: float
    dy: float
    passing: tuple[int, ...]
    lost: tuple[int, ...]
    residual: tuple[float, ...]
    slot: tuple[int, ...]
    at_rest: tuple[int, ...]
    freedom: tuple[tuple[float, float], tuple[float, float]]

    @property
    def moved(self) -> bool:
        return (self.dx, self.dy) != (0.0, 0.0)


def residuals(points: Sequence[tuple[float, float]] | Floats, d: float, slots: Sequence[Slot]) -> tuple[Floats, Index]:
    """For each point: mm by which its slot fails to let a screw of diameter d pass, <= 0 passes, and the slot's index.

    A round hole, and any slot shorter than d between its end centres, serves one screw; a longer one serves all that
    lie in it. Slots are given out so that most screws pass. A screw that is lost is told the nearest slot that is free
    for it; where none is left, inf and -1.

    Raises ValueError for a diameter that is not above zero, and for points nearer to each other than d: two screws
    cannot stand there.
    """
    plane = _Plane.of(points, d, slots)
    return _served(plane.misses(np.zeros(2)), plane.single)


def best_slide(
    points: Sequence[tuple[float, float]] | Floats, d: float, slots: Sequence[Slot], *, reach: tuple[float, float]
) -> Slide:
    """The slide within +-reach by which most screws of diameter d pass; raises ValueError as `residuals` does.

    (0, 0) where all pass as placed. Else, of the slides that pass most: the most central one, whose greatest residual
    among the screws that pass is least (to CENTRE_MM), and of those the shortest. Exact up to PASS_MM: no slide in
    reach lets more screws pass. Where two slots cover the same place the roomier one at a corner of the overlap counts
    as used, which may miss the most central slide but never a screw. ValueError, too, for a pattern with more ways to
    pass than can be compared (`capsules.WIDEST`, `MOST`).
    """
    plane = _Plane.of(points, d, slots)
    if not all(math.isfinite(r) and r >= 0 for r in reach):
        raise ValueError(f"a reach is two lengths of 0 or more, not {reach[0]:g} and {reach[1]:g} mm")
    n, high = len(plane.pts), np.array(reach, dtype=float)
    at = np.zeros(2)
    miss = plane.misses(at)
    res, slot = _served(miss, plane.single)
    at_rest = tuple(int(i) for i in np.flatnonzero(res <= PASS_MM))
    if len(at_rest) < n and slots and (found := _most(plane, (-high, high))) is not None:
        at, used = found
        told = np.clip(np.round(at, 6) + 0.0, -high, high)  # 2.4999998 is 2.5 to anyone, where that does as well
        held = np.flatnonzero(used >= 0)
        if (plane.misses(told)[held, used[held]] <= PASS_MM).all():
            at = told
        res, slot = _served(plane.misses(at), plane.single, used)
    passing = np.flatnonzero(res <= PASS_MM)
    freedom = [(float(at[k]), float(at[k])) for k in (0, 1)]
    if len(passing):
        cells = plane.capsules(passing, slot[passing]).wider(PASS_MM)
        for k in (0, 1):
            low, up = room_along(cells, at, k)
            freedom[k] = (max(float(at[k]) + low, float(-high[k])), min(float(at[k]) + up, float(high[k])))
    kept = tuple(map(int, passing))
    lost = tuple(i for i in range(n) if i not in kept)
    return Slide(
        float(at[0]), float(at[1]), kept, lost, tuple(map(float, res)), tuple(map(int, slot)), at_rest,
        (freedom[0], freedom[1]),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Plane:
    """Points (n, 2) against slots: ends of their centre lines (m, 2, 2), room to each side, and which serve one."""

    pts: Floats
    cores: Floats
    room: Floats
    single: Mask

    @classmethod
    def of(cls, points: Sequence[tuple[float, float]] | Floats, d: float, slots: Sequence[Slot]) -> _Plane:
        pts = np.asarray(points, dtype=float).reshape(-1, 2)
        if not (math.isfinite(d) and d > 0):
            raise ValueError(f"a screw's diameter is a length above 0, not {d:g} mm")
        apart = np.hypot(*(pts[:, None] - pts[None]).transpose(2, 0, 1)) + np.diag(np.full(len(pts), np.inf))
        if len(pts) > 1 and apart.min() < d - PASS_MM:
            i, j = (int(k) for k in np.unravel_index(int(apart.argmin()), apart.shape))
            raise ValueError(
                f"holes {i + 1} and {j + 1} of the pattern are {apart[i, j]:.2f} mm apart: "
                f"two screws of {d:g} mm do not stand nearer than {d:g}"
            )
        # Ends in one order, so that slots drawn the other way round give the same capsule.
        cores = np.array([sorted(s.ends) for s in slots], dtype=float).reshape(-1, 2, 2)
        room = np.array([(s.width - d) / 2 for s in slots], dtype=float)
        return cls(pts, cores, room, np.array([s.length < d for s in slots], dtype=bool))

    def misses(self, at: Floats) -> Floats:
        """mm by which each slot fails each point slid by `at`, (n, m)."""
        return distance((self.pts + at)[:, None], self.cores[None, :, 0], self.cores[None, :, 1]) - self.room

    def capsules(self, i: Index, s: Index) -> Capsules:
        """The slides by which point i passes slot s, for each pair."""
        cores = self.cores[s] - self.pts[i][:, None]
        return Capsules(cores[:, 0], cores[:, 1], self.room[s])


def _served(miss: Floats, single: Mask, used: Index | None = None) -> tuple[Floats, Index]:
    """Residual and slot of each point where most screws pass; `used` is such an assignment, where it is known."""
    n, m = miss.shape
    if m == 0:
        return np.full(n, np.inf), np.full(n, -1)
    slot = _matched(miss, single) if used is None else used
    taken = np.zeros(m, dtype=bool)
    taken[slot[slot >= 0]] = True
    free = np.where(taken & single, np.inf, miss)
    value = np.where(slot >= 0, miss[np.arange(n), slot], free.min(1))
    return value, np.where(slot >= 0, slot, np.where(np.isfinite(value), free.argmin(1), -1))


def _matched(miss: Floats, single: Mask) -> Index:
    """A slot for as many points as can pass, the roomiest first; -1 for the others (augmenting paths, textbook)."""
    n = len(miss)
    fits = miss <= PASS_MM
    slot: Index = np.where(fits.any(1), miss.argmin(1), -1)
    used = slot[slot >= 0]
    if not (np.bincount(used[single[used]]) > 1).any():
        return slot
    order = [[int(s) for s in np.argsort(miss[i], kind="stable") if fits[i, s]] for i in range(n)]
    holder: dict[int, int] = {}
    found: Index = np.full(n, -1)

    def place(i: int, seen: set[int]) -> bool:
        for s in order[i]:
            if s in seen:
                continue
            seen.add(s)
            if not single[s] or s not in holder or place(holder[s], seen):
                if single[s]:
                    holder[s] = i
                found[i] = s
                return True
        return False

    for i in np.argsort(miss.min(1), kind="stable"):
        place(int(i), set())
    return found


def _most(plane: _Plane, box: tuple[Floats, Floats]) -> tuple[Floats, Index] | None:
    """The best slide within a box and the slot of each screw by it, -1 for none; None where no screw passes by any.

    The capsules are taken PASS_MM / 2 wider, so that those that only touch have a corner in common all the same.
    """
    i, s = (k.ravel() for k in np.meshgrid(*map(np.arange, (len(plane.pts), len(plane.room))), indexing="ij"))
    every = plane.capsules(i, s).wider(PASS_MM / 2)
    lo, hi = every.bounds()
    near = (plane.room[s] >= -PASS_MM) & ((lo <= box[1]) & (hi >= box[0])).all(1)
    every, i, s = every.take(near), i[near], s[near]
    # Regular patterns give the same capsule many times over.
    key = np.round(np.column_stack([every.a, every.b, every.r]), 9)
    _, first, same = np.unique(key, axis=0, return_index=True, return_inverse=True)
    cells, same = every.take(first), same.reshape(-1)
    points, (pi, pj, gap, _) = corners(cells, box)
    chosen = _deepest(plane, points, cells, (i, s, same))
    apart = np.zeros((len(cells), len(cells)))
    apart[pi, pj] = apart[pj, pi] = gap
    # No place has a residual below half of what two cores lie apart, less their radii.
    least = (apart - cells.r[:, None] - cells.r) / 2
    number = dict(zip(zip(i.tolist(), s.tolist(), strict=True), same.tolist(), strict=True))
    ranked = []
    for slot in chosen:
        members = sorted({number[k, int(t)] for k, t in enumerate(slot) if t >= 0})
        ranked.append((float(least[np.ix_(members, members)].max()), members, slot))
    ranked.sort(key=lambda e: e[0])
    best, found = (math.inf, math.inf), None
    for bound, members, slot in ranked:
        if bound > best[0] + CENTRE_MM:
            break
        own = cells.take(members)
        value, middle = central(own, box)
        if value > best[0] + CENTRE_MM:
            continue
        to = nearest(Capsules(own.a, own.b, own.r + value + CENTRE_MM), box, middle)
        length = float(np.hypot(*to))
        if value < best[0] - CENTRE_MM or length < best[1] - CENTRE_MM:
            best, found = (min(value, best[0]), length), (to, slot)
    return found


def _deepest(plane: _Plane, points: Floats, cells: Capsules, pairs: tuple[Index, Index, Index]) -> list[Index]:
    """The different ways to give slots to as many screws as can pass at once, over the corners of the capsules."""
    i, s, same = pairs
    if not len(points) or not len(cells):
        return []
    within = inside(points, cells, PASS_MM / 4)
    owner = np.zeros((len(cells), len(plane.pts)), dtype=np.float32)
    owner[same, i] = 1.0
    bound = ((within.astype(np.float32) @ owner) > 0).sum(1)
    best = 1
    found: dict[bytes, Index] = {}
    for level in sorted(set(bound.tolist()), reverse=True):
        if level < best:
            break
        rows = np.flatnonzero(bound == level)
        _, first = np.unique(np.packbits(within[rows], axis=1), axis=0, return_index=True)
        for row in rows[np.sort(first)]:
            miss = np.full((len(plane.pts), len(plane.room)), np.inf)
            on = within[row, same]
            miss[i[on], s[on]] = plane.misses(points[row])[i[on], s[on]]
            slot = _matched(miss, plane.single)
            count = int((slot >= 0).sum())
            if count > best:
                best, found = count, {}
            if count == best:
                found[slot.tobytes()] = slot
    return list(found.values())
