"""One planning task: the question, what has been tried, and the two tests every attempt must pass.

Owns the bookkeeping shared by the search methods: the map test for many lines at once, the exact test for one, the
number of exact tests spent, and the nearest attempt so far for the case that nothing is found.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import NO_MARGIN, Floats, Margins, Rod, Rods
from elbowroom.model.geometry.freespace import FREE, Space
from elbowroom.model.tubes.bars import COARSE_DEG, Bars, bars_of, gaps, rod_mesh
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
    bodies: dict[Candidate, Space] = field(default_factory=dict)  # of turned fittings, as they were asked
    why: tuple[Reason, ...] = ()  # proofs that there is nothing to find

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
        run = self.run_of(corners)
        if run is None or self.meets_bodies(run, corners):  # cheap, and no exact test is spent on it
            return None
        self.tests += 1
        self.work += 1.0
        return run if holds(run, self.space, self.rules, self.start, self.end, self.within, COARSE_DEG) else None

    def meets_bodies(self, run: Run, corners: Floats) -> bool:
        """Whether the tube meets the body of a fitting chosen at its ends, which the map does not know."""
        if not any(c.body for e in (self.start, self.end) for c in e.candidates):
            return False
        self.work += BODY_WORK
        bars: Bars = bars_of(run, self.rules.od)
        for end, at in ((self.start, corners[0]), (self.end, corners[-1])):
            chosen = next((c for c in end.candidates if math.dist(c.point, at) < 1e-6), None)
            if chosen is None or not chosen.body:
                continue
            along = bars.first if end is self.start else bars.last.max(initial=0.0) - bars.last
            far = along >= end.reach + self.rules.end_leg
            wanted = self.rules.clearance.default
            if not far.any() or body_gap(bars.rods.take(far), chosen.body) >= wanted:
                continue
            if body_gap(bars.rods.take(far), tuple(_within(r) for r in chosen.body)) < wanted:
                return True
            # The quick measure takes the fitting's bars with round ends; they are flat.
            if chosen not in self.bodies:
                self.bodies[chosen] = Space([rod_mesh(str(k), r) for k, r in enumerate(chosen.body)])
            for _, rods in bars.batches(far):
                if (self.bodies[chosen].met(rods, Margins(wanted)) != FREE).any():
                    return True
        return False

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
            room = self.map.least_room(part, self.rules.radius)
            self.note(part, room)
            good = np.nonzero(room >= 0)[0]
            if not len(good):
                continue
            near = self.map.least_room(part.take(good), self.rules.radius, tight=True)
            for i in good[near >= 0]:
                before, looked = self.tests, looked + 1
                run = self.exact(part.points[i])
                if run is not None:
                    return run, part.points[i]
                failed += self.tests - before
                if failed >= fails or looked >= LOOKED * fails or self.spent:
                    return None
        return None

    def note(self, lines: Lines, room: Floats) -> None:
        """Remember the line that came nearest to holding, among the few best so far."""
        bendable = np.where(lines.lack == 0, room, -np.inf)
        k = int(np.argmax(bendable)) if len(bendable) else -1
        full = len(self.attempts) >= ATTEMPTS
        if k >= 0 and bendable[k] > (self.attempts[-1][0] if full else -math.inf):
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


def body_gap(rods: Rods, body: tuple[Rod, ...]) -> float:
    """Least distance between bars and the bars of a fitting, taken with round ends, mm."""
    a = np.array([b.start for b in body])
    b = np.array([b.end for b in body])
    r = np.array([b.radius for b in body])
    d = gaps(rods.starts[:, None], rods.ends[:, None], a[None], b[None])
    return float((d - rods.radii[:, None] - r[None]).min())


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
    others = space.beyond(end.settled) if end.settled else space
    for k, c in enumerate(end.candidates):
        p, a = np.array(c.point), np.array(c.axis)
        for u, v, ignore in leg_zones(rules, end, other, k):
            rod = Rods((p + a * u)[None], (p + a * v)[None], np.array([rules.od / 2]), False)
            out[k] &= bool(space.met(rod, rules.clearance, ignore)[0] == FREE)
        for r in c.body:
            rod = Rods(np.array([r.start]), np.array([r.end]), np.array([r.radius]), r.round_ends)
            wanted = rules.clearance if end.settled else NO_MARGIN
            out[k] &= bool(others.met(rod, wanted, end.exempt)[0] == FREE)
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
