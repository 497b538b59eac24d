"""One planning task: the question, what has been tried, and the two tests every attempt must pass.

Owns the bookkeeping shared by the search methods: the map test for many lines at once, the exact test for one, the
number of exact tests spent, and the nearest attempt so far for the case that nothing is found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import NO_MARGIN, Floats, Margins, Rod, Rods
from elbowroom.model.geometry.freespace import FREE, Space
from elbowroom.model.tubes.bars import COARSE_DEG, Bars, bars_of, rod_mesh
from elbowroom.model.tubes.lines import Lines, Map, measure
from elbowroom.model.tubes.rules import Candidate, End, Reason, Rules, Tried
from elbowroom.model.tubes.verify import holds
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import BendError, Run, bend_run

EXACT_TESTS = 600  # exact tests a plan may spend: about half a second
# What a search costs is counted in work, near a millisecond each on one core (measured), so that its end is the same
# on every machine.
BODY_WORK = 2.0  # of one look at the bodies of turned fittings
ATTEMPTS = 8  # lines kept to name what stood in the way: the map's order of them is not exact
TESTS_A_BATCH = 40  # of them on one sorted batch: what fails 40 times is a place the map sees too roughly
LOOKED = 12  # times as many lines are looked at where the fittings' own bodies are in their way
_BATCH = 1024  # lines held against the map at once


Side = tuple[Floats, Floats, NDArray[np.int64]]  # points, unit axes (m, 3) of candidates, and which they are


@dataclass(slots=True)
class Task:
    """`ends` per side: points and unit axes (m, 3) of the candidates whose straight leg is free, and which they are."""

    space: Space
    rules: Rules
    start: End
    end: End
    within: Box | None
    map: Map
    starts: Side
    ends: Side
    tests: int = 0
    lines_seen: int = 0
    work: float = 0.0  # done so far
    most_work: float = math.inf  # at which the search ends
    steps: list[float] = field(default_factory=list)  # of every lattice swept, mm
    bends: int = 0  # the most of any of them
    attempts: list[tuple[float, Floats]] = field(
        default_factory=list
    )  # room and corners of the lines that came nearest
    tried: set[bytes] = field(default_factory=set)
    bodies: dict[Candidate, _Body] = field(default_factory=dict)  # of turned fittings, as they were asked
    why: tuple[Reason, ...] = ()  # proofs that there is nothing to find

    @property
    def has_bodies(self) -> bool:
        return any(c.body for e in (self.start, self.end) for c in e.candidates)

    @property
    def spent(self) -> bool:
        return self.tests >= EXACT_TESTS or self.work >= self.most_work

    def run_of(self, corners: Floats) -> Run | None:
        """The run through these corners with the least radius, None where it cannot be bent."""
        try:
            return bend_run(corners, self.rules.radius)
        except BendError:
            return None

    def exact(self, corners: Floats) -> Run | None:
        """The run, where it holds in free space by the exact test; else None. Each line is tested once."""
        key = np.round(corners, 6).tobytes()
        if key in self.tried or self.spent:
            return None
        self.tried.add(key)
        if self.meets_bodies(corners):  # cheap, and no exact test is spent on it
            return None
        run = self.run_of(corners)
        if run is None:
            return None
        self.tests += 1
        self.work += 1.0
        return run if holds(run, self.space, self.rules, self.start, self.end, self.within, COARSE_DEG) else None

    def meets_bodies(self, corners: Floats) -> bool:
        """Whether the tube meets the body of a fitting chosen at its ends, which the map does not know."""
        if not self.has_bodies:
            return False
        self.work += BODY_WORK
        for at_end, end, at in ((False, self.start, corners[0]), (True, self.end, corners[-1])):
            chosen = next((c for c in end.candidates if math.dist(c.point, at) < 1e-6), None)
            if chosen is None or not chosen.body:
                continue
            if chosen not in self.bodies:
                self.bodies[chosen] = _Body(chosen.body)
            beyond, body = end.reach + self.rules.end_leg, self.bodies[chosen]
            wanted = self.rules.clearance.default
            if self._body_room(corners, at_end, beyond, body.outer) >= wanted:
                continue
            if self._body_room(corners, at_end, beyond, body.inner) < wanted:
                return True
            # The quick measure takes the fitting's bars with round ends; they are flat.
            run = self.run_of(corners)
            if run is None:
                return True
            bars: Bars = bars_of(run, self.rules.od)
            along = bars.last.max(initial=0.0) - bars.last if at_end else bars.first
            for _, rods in bars.batches(along >= beyond):
                if (body.space.met(rods, Margins(wanted)) != FREE).any():
                    return True
        return False

    def _body_room(self, corners: Floats, at_end: bool, beyond: float, rods: Rods) -> float:
        from elbowroom.model.tubes.kernels import body_room  # compiled: loaded only where a run is looked for

        line, rules = np.ascontiguousarray(corners, dtype=float), self.rules
        step = math.radians(COARSE_DEG)
        return float(
            body_room(line, rules.radius, rules.od / 2, step, at_end, beyond, rods.starts, rods.ends, rods.radii)
        )

    def first_free(
        self, lines: Lines, limit: float = math.inf, fails: int = TESTS_A_BATCH
    ) -> tuple[Run, Floats] | None:
        """The cheapest of these lines that holds, if any is cheaper than `limit`; given up after so many fails."""
        self.lines_seen += len(lines.cost)
        rows = np.nonzero((lines.lack == 0) & (lines.cost < limit))[0]
        rows = rows[np.argsort(lines.cost[rows], kind="stable")]
        failed = looked = 0
        for k in range(0, len(rows), _BATCH):
            part = lines.take(rows[k : k + _BATCH])
            # Beyond what rules a line out, room counts only for the attempts that come nearest.
            floors = np.full(len(part.cost), min(0.0, self._noted))
            room = self.map.least_room(part, self.rules.radius, floors=floors)
            self.note(part, room)
            good = np.nonzero(room >= 0)[0]
            if not len(good):
                continue
            near = self.map.least_room(part.take(good), self.rules.radius, tight=True, floors=np.zeros(len(good)))
            for i in good[near >= 0]:
                before, looked = self.tests, looked + 1
                run = self.exact(part.points[i])
                if run is not None:
                    return run, part.points[i]
                failed += self.tests - before
                if failed >= fails or looked >= LOOKED * fails or self.spent:
                    return None
        return None

    @property
    def _noted(self) -> float:
        """Room, mm, above which a line is remembered."""
        return self.attempts[-1][0] if len(self.attempts) >= ATTEMPTS else -math.inf

    def note(self, lines: Lines, room: Floats) -> None:
        """Remember the line that came nearest to holding, among the few best so far."""
        bendable = np.where(lines.lack == 0, room, -np.inf)
        k = int(np.argmax(bendable)) if len(bendable) else -1
        if k >= 0 and bendable[k] > self._noted:
            self.attempts.append((float(bendable[k]), lines.points[k].copy()))
            self.attempts.sort(key=lambda a: -a[0])
            del self.attempts[ATTEMPTS:]

    @property
    def what_was_tried(self) -> Tried:
        """What this search went through."""
        return Tried(
            ((len(self.starts[0]), len(self.start.candidates)), (len(self.ends[0]), len(self.end.candidates))),
            self.lines_seen, len(self.steps), self.bends, min(self.steps, default=0.0), self.map.field.cell, self.tests,
        )  # fmt: skip

    def lines(self, points: Floats) -> Lines:
        return measure(points, self.rules)


class _Body:
    """A turned fitting's bars: all with round ends, so that they hold it (`outer`) or lie in it (`inner`), and as they
    are.
    """

    def __init__(self, body: tuple[Rod, ...]) -> None:
        self.body = body
        self.outer, self.inner = _rods(body), _rods(tuple(_within(r) for r in body))

    @cached_property
    def space(self) -> Space:
        return Space([rod_mesh(str(k), r) for k, r in enumerate(self.body)])


def _rods(body: Sequence[Rod], round_ends: bool = True) -> Rods:
    """Many bars as one batch."""
    starts, ends, radii = ([getattr(r, k) for r in body] for k in ("start", "end", "radius"))
    return Rods(np.array(starts, dtype=float), np.array(ends, dtype=float), np.array(radii, dtype=float), round_ends)


def _within(rod: Rod) -> Rod:
    """The largest bar with round ends that lies in a bar with flat ones, along its axis."""
    a, b = np.array(rod.start), np.array(rod.end)
    length = float(np.linalg.norm(b - a))
    if rod.round_ends or length == 0:
        return rod
    radius = min(rod.radius, length / 2)
    step = (b - a) * (radius / length)
    (x, y, z), (u, v, w) = (a + step).tolist(), (b - step).tolist()
    return Rod((x, y, z), (u, v, w), radius)


def free_axis(task_map: Map, points: Floats, axes: Floats, longest: float, skip: float) -> Floats:
    """How far along each axis the map has room, mm (m,): an upper bound, to about two millimetres. `skip` mm at the
    port are not looked at.
    """
    t = np.arange(0.0, longest, 2.0)
    room = task_map.room(points[:, None] + axes[:, None] * t[:, None])
    blocked = (room < 0) & (t > skip)
    return np.where(blocked.any(axis=1), t[np.argmax(blocked, axis=1)], longest)


def leg_free(space: Space, rules: Rules, end: End, other: End) -> NDArray[np.bool_]:
    """Whether each candidate's straight leg and body stand free; the leg ends flat, what lies beyond is the bend's."""
    out = np.ones(len(end.candidates), dtype=bool)
    legs: dict[frozenset[str], list[tuple[int, float, float]]] = {}
    for k in range(len(end.candidates)):
        for u, v, ignore in leg_zones(rules, end, other, k):
            legs.setdefault(ignore, []).append((k, u, v))
    p = np.array([c.point for c in end.candidates])
    a = np.array([c.axis for c in end.candidates])
    for ignore, parts in legs.items():
        rows = np.array([k for k, _, _ in parts])
        first, last = (np.array(x)[:, None] for x in ([u for _, u, _ in parts], [v for _, _, v in parts]))
        rods = Rods(p[rows] + a[rows] * first, p[rows] + a[rows] * last, np.full(len(rows), rules.od / 2), False)
        out[rows[space.met(rods, rules.clearance, ignore) != FREE]] = False
    others = space.beyond(end.settled) if end.settled else space
    wanted = rules.clearance if end.settled else NO_MARGIN
    for round_ends in (True, False):
        bars = [(k, r) for k in np.nonzero(out)[0] for r in end.candidates[k].body if r.round_ends == round_ends]
        if bars:
            rows, rods = np.array([k for k, _ in bars]), _rods([r for _, r in bars], round_ends)
            out[rows[others.met(rods, wanted, end.exempt) != FREE]] = False
    return out


def leg_zones(rules: Rules, end: End, other: End, k: int) -> list[tuple[float, float, frozenset[str]]]:
    """Parts of a candidate's straight leg (from, to, mm) and what is not counted along each.

    What the other end does not count is left out too where the two are so near that its reach may cover the leg.
    """
    near = min(math.dist(end.candidates[k].point, o.point) for o in other.candidates)
    theirs = frozenset(other.exempt) if near < 2 * rules.end_leg + other.reach else frozenset[str]()
    cut = min(end.reach, rules.end_leg)
    parts = [(0.0, cut, frozenset(end.exempt) | theirs), (cut, rules.end_leg, theirs)]
    return [(u, v, names) for u, v, names in parts if v > u]
