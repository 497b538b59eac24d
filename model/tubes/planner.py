"""Finding one run: from a port's axis to another's through free space, shortest with fewest bends.

Owns the order of the search and its stop. Runs of none to three bends come from closed forms, more from lattices in
several positions; each find is improved and from then on only what is cheaper is looked for. Cost = length + bend_worth
x bends. A plan is deterministic and bounded by counts of tests, not by a clock, and whatever is returned has passed
`verify`. When nothing is found, `reasons` is asked whether nothing can be.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from elbowroom.model.geometry.envelopes import Floats
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.tolerances import SQUARE_COS
from elbowroom.model.tubes import families
from elbowroom.model.tubes.field import Field, build
from elbowroom.model.tubes.improve import settle
from elbowroom.model.tubes.lattice import Lattice, through_ends, turned
from elbowroom.model.tubes.lines import Lines, Map
from elbowroom.model.tubes.reasons import reasons
from elbowroom.model.tubes.rules import End, Found, NotFound, Result, Rules
from elbowroom.model.tubes.sweep import Sweep
from elbowroom.model.tubes.task import EXACT_TESTS, TESTS_A_BATCH, Side, Task, leg_free
from elbowroom.model.tubes.unfound import nothing
from elbowroom.model.tubes.verify import verify
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import BendError, Run, bend_run
from elbowroom.parts.vocabulary.pose import pose, rotation

LATTICE_BENDS = 6  # bends up to which lattices are swept
TRIED = 6  # lines of one lattice that are improved, cheapest first
SLACKS = (1.5, 0.0, 4.0)  # mm of room lattice lines may lack, to be repaired; 1.5 finds the cheapest runs (measured)
MOST_LOOKS = 12  # lattices swept at the most: some half a second each
SINGLY = 24  # pairs of turns whose runs of two bends are looked at each for itself, with a few exact tests
FEW_TESTS = 6
HOPE = 1.08  # a line so much dearer than the best is still improved there: improving gains that much (measured)
ALONE = 8  # pairs of turns that are searched each for itself where all together gave nothing
MOST_WORK = 5000.0  # of one plan (`task.BODY_WORK`): the hardest ends after some five seconds
TOGETHER = 0.6  # of it for all turns together, where there is a choice of them
SHORT_WORK = 2500.0  # of a plan that need not be thorough
SQUARE_PAIRS = 6  # pairs of choices for which square runs are swept
LOOKS = 2  # lattices swept even when the first one finds a run: a third gains under 2 % (measured)
ALIKE = 20.0  # mm: lines whose corners lie nearer than this are one attempt
WIDEST = 1000.0  # mm: a wider curve is a straight to a hose
WIDER = (4.0, 3.0, 2.5, 2.0, 1.6, 1.3, 1.15)  # radii tried for the arcs of a hose, in least radii


def field_for(space: Space, rules: Rules, points: Floats, within: Box | None) -> Field:
    """The map to plan on: share one among runs with the same rules and obstacles."""
    return build(space, rules.clearance, *place_of(space, rules, points, within), walled=within is not None)


def place_of(space: Space, rules: Rules, points: Floats, within: Box | None) -> tuple[Floats, Floats]:
    """Lower and upper corner of the map, without the walls drawn round it."""
    if within is not None:
        return np.array(within.lo), np.array(within.hi)
    pad = 3 * rules.radius + rules.end_leg + rules.od
    return np.vstack([points, space.lo]).min(axis=0) - pad, np.vstack([points, space.hi]).max(axis=0) + pad


def plan(
    start: End, end: End, rules: Rules, space: Space, *, within: Box | None = None, field: Field | None = None,
    thorough: bool = True, below: float = math.inf, effort: float = 1.0,
) -> Result:  # fmt: skip
    """The best run found between two ends, or why there is none.

    within: box the tube may not leave, mm. field: from `field_for`, where several runs share one. thorough=False gives
    up after a few lattices, for callers who can make room instead. below: only a run of less cost is looked for, and in
    closed form alone, for callers who have one of that cost. effort: share of the usual work after which it ends.
    """
    points = np.array([c.point for e in (start, end) for c in e.candidates])
    if field is None:
        field = field_for(space, rules, points, within)
    sides = [_side(space, rules, start, end), _side(space, rules, end, start)]
    task = Task(
        space,
        rules,
        start,
        end,
        within,
        Map.of(field, rules.od / 2, (unseen(rules, start), unseen(rules, end))),
        sides[0],
        sides[1],
    )
    result = _result(task, thorough, below, effort)
    task.map.noted()
    return result


def _result(task: Task, thorough: bool, below: float, effort: float) -> Result:
    if len(task.starts[0]) and len(task.ends[0]):
        many = len(task.starts[0]) * len(task.ends[0]) > 1
        task.most_work = effort * ((MOST_WORK * (TOGETHER if many else 1.0)) if thorough else SHORT_WORK)
        found = _search(task, thorough, below)
        if found is None and many and thorough and math.isinf(below) and not task.why:
            found = _one_by_one(task, effort * MOST_WORK)
        if found is not None:
            return found
    if not math.isinf(below):
        return NotFound((), (), None, "nothing cheaper", task.what_was_tried)
    return nothing(task)


def _side(space: Space, rules: Rules, end: End, other: End) -> Side:
    """Points and axes of the candidates whose straight leg and body stand free, and which they are."""
    free = leg_free(space, rules, end, other)
    if rules.square:
        free &= np.array([max(map(abs, c.axis)) >= SQUARE_COS for c in end.candidates])
    good = np.nonzero(free)[0]
    points = np.array([end.candidates[k].point for k in good]).reshape(-1, 3)
    return points, np.array([end.candidates[k].axis for k in good]).reshape(-1, 3), good


def unseen(rules: Rules, end: End) -> float:
    """mm from an end on which the map is not asked: it knows neither exemptions nor that a tube's mouth is flat."""
    return end.reach + rules.od / 2 + rules.clearance.default


class _Best:
    """The cheapest run so far; only those of less cost than `below` count."""

    def __init__(self, task: Task, below: float) -> None:
        self.task, self.below = task, below
        self.run: Run | None = None
        self.corners: Floats | None = None
        (p, _, _), (q, _, _) = task.starts, task.ends
        self.apart = float(np.linalg.norm(p[:, None] - q[None], axis=2).min())

    @property
    def cost(self) -> float:
        return self.below if self.run is None else cost_of(self.run, self.task.rules)

    @property
    def bends(self) -> float:
        return math.inf if self.run is None else len(self.run.bends)

    def take(self, got: tuple[Run, Floats] | None) -> None:
        if got is not None and cost_of(got[0], self.task.rules) < self.cost - 1e-9:
            self.run, self.corners = got

    def worth(self, bends: int) -> bool:
        """Whether a run of so many bends could still be cheaper, were the way straight."""
        rules = self.task.rules
        return bends <= rules.most_bends and self.apart + rules.bend_worth * bends < self.cost


def cost_of(run: Run, rules: Rules) -> float:
    """What runs are compared by, mm: length and a figure for every bend."""
    return run.length + rules.bend_worth * len(run.bends)


def _search(task: Task, thorough: bool, below: float, *, alone: bool = False) -> Found | None:
    """alone: one pair of turns out of many, for all of which `reasons` has been asked already."""
    best = _Best(task, below)
    for lines in families.none_or_one(task):
        best.take(task.first_free(lines, best.cost))
    if task.rules.square:
        for lines in families.square(task):
            _try(task, best, lines)
    elif best.worth(2):
        lines = families.two(task)
        _try(task, best, lines)
        pairs = families.best_pairs(task, lines, families.PAIRS)
        if len(task.starts[0]) * len(task.ends[0]) > 1:
            # Each pair by itself: among all of them the cheap lines of some would hide the good ones of others.
            for pair in pairs[: SINGLY if math.isinf(below) else SINGLY // 2]:
                _try(task, best, families.two(task, pair[None]), FEW_TESTS, HOPE)
        if best.worth(3):
            _try(task, best, families.three(task, pairs), TESTS_A_BATCH if math.isinf(below) else FEW_TESTS)
        if best.worth(3) and best.bends >= 3 and math.isinf(below):
            _try(task, best, families.three_free(task, pairs))
    if math.isinf(below):
        if best.run is None and not alone:
            task.why = reasons(task)
        if not task.why and best.worth(3) and best.bends >= 3:
            _lattices(task, best, thorough)
    if best.run is None or best.corners is None:
        return None
    return _finish(task, best.run, best.corners)


def _one_by_one(task: Task, most_work: float) -> Found | None:
    """Where there is a choice of turns and none was found among all of them: a few pairs of turns, each with a search
    of its own, the whole of whose lines belong to it.
    """
    lines = families.two(task)
    pairs = families.best_pairs(task, lines, ALONE)
    step = max(1, math.ceil(len(pairs) / ALONE))
    picked = pairs[::step].tolist()
    for at, (i, j) in enumerate(picked):
        share = (most_work - task.work) / (len(picked) - at)  # what one leaves over is for the others
        if share <= 0:
            break
        some = replace(
            task,
            starts=_one(task.starts, i), ends=_one(task.ends, j), tests=EXACT_TESTS // 2, lines_seen=0, steps=[],
            work=0.0, most_work=share,
        )  # fmt: skip
        found = _search(some, False, math.inf, alone=True)
        task.lines_seen += some.lines_seen
        task.steps += some.steps
        task.tests += some.tests - EXACT_TESTS // 2
        task.work += some.work
        if found is not None:
            return found
    return None


def _one(side: Side, k: int) -> Side:
    points, axes, which = side
    return points[k : k + 1], axes[k : k + 1], which[k : k + 1]


def _try(task: Task, best: _Best, lines: Lines, fails: int = TESTS_A_BATCH, hope: float = 1.0) -> None:
    got = task.first_free(lines, best.cost * hope, fails)
    if got is not None:
        best.take(got)
        best.take(settle(task, got[1], best.cost))


def _lattices(task: Task, best: _Best, thorough: bool) -> None:
    """Sweep lattices one after another until something is found, and LOOKS of them in any case."""
    looks, seen = 0, list[Floats]()
    # In a solid the map still grants up to half a cell's diagonal, which no slack may come near.
    most_slack = task.rules.od / 2 + task.rules.clearance.default - task.map.field.cell
    for slack in dict.fromkeys(max(0.0, min(s, most_slack)) for s in SLACKS):
        for lattice in _positions(task):
            most = min(task.rules.most_bends, LATTICE_BENDS)
            if best.run is not None:
                most = min(most, int(min((best.cost - best.apart) / max(task.rules.bend_worth, 1e-9), most)))
            enough = looks >= LOOKS and (best.run is not None or not thorough)
            if most < 3 or task.spent or enough or looks >= MOST_LOOKS:
                return
            looks += 1
            task.steps.append(float(lattice.spacing.max()))
            task.bends = max(task.bends, most)
            for line in Sweep(task, lattice, slack).run(most, best.cost)[:TRIED]:
                if task.spent:
                    return
                if any(_alike(line, other) for other in seen):
                    continue
                seen.append(line)
                run = task.exact(line) if task.lines(line[None]).lack[0] == 0 else None
                got = None if run is None else (run, line)
                best.take(got)
                got = settle(task, line, best.cost) or got
                best.take(got)
                if got is not None:
                    break


def _alike(a: Floats, b: Floats) -> bool:
    """Whether two lines would be improved to the same one, as far as can be told beforehand."""
    return a.shape == b.shape and float(np.abs(a - b).max()) < ALIKE


def _positions(task: Task) -> list[Lattice]:
    """Where lattices are laid: through both ends along the case, then with diagonals, moved and turned. Square runs
    have those through the ends alone, for the pairs of choices that lie nearest.
    """
    p, a = task.starts[0][0], task.starts[1][0]
    if task.rules.square:
        apart = np.abs(task.starts[0][:, None] - task.ends[0][None]).sum(axis=2)
        pairs = np.argsort(apart, axis=None, kind="stable")[:SQUARE_PAIRS]
        every = [through_ends(task, int(k) // apart.shape[1], int(k) % apart.shape[1]) for k in pairs]
        return [lattice for lattice in every if lattice is not None]
    first = through_ends(task, 0, 0)
    own = np.asarray(pose(p, a)[:3, :3])
    half = np.asarray(rotation((1, 1, 1), 37.0)[:3, :3])
    out = [] if first is None else [first]
    out += [turned(task, np.eye(3), p, 0.0), turned(task, np.eye(3), task.ends[0][0], 0.5, 0.9)]
    if np.abs(a).max() < 1 - 1e-9:
        out.append(turned(task, own, p, 0.0))
    out.append(turned(task, half, p, 0.0))
    return out


def _finish(task: Task, run: Run, corners: Floats) -> Found | None:
    if task.rules.soft:
        run = _widened(task, run)
    if verify(run, task.space, task.rules, task.start, task.end, within=task.within):
        return None
    start, end = (
        next(c for c in e.candidates if math.dist(c.point, at) < 1e-6 and np.dot(c.axis, out) > 1 - 1e-6)
        for e, at, out in (
            (task.start, run.points[0], run.direction_start),
            (task.end, run.points[-1], np.negative(run.direction_end)),
        )
    )
    return Found(run, start, end, cost_of(run, task.rules))


def _widened(task: Task, run: Run) -> Run:
    """The same corners with the largest arcs that fit: a hose takes the widest curve it finds."""
    radii = [task.rules.radius] * len(run.bends)
    for which in [range(len(radii)), *([k] for k in range(len(radii)))]:
        for factor in WIDER:
            trial = list(radii)
            for k in which:
                trial[k] = max(radii[k], factor * task.rules.radius)
            if trial == radii:
                continue
            if max(trial) > WIDEST:
                continue
            try:
                wider = bend_run(run.points, trial)
            except BendError:
                continue
            if not verify(wider, task.space, task.rules, task.start, task.end, within=task.within):
                radii, run = trial, wider
                break
    return run
