"""Several runs that keep clear of each other.

Owns the order of planning and its revision. Every run laid down, with the fittings it chose, stands in the way of those
after it; the straight legs of runs still to come are kept free. Where a run finds no way left though it has one alone,
the runs that lie in that way are taken up, it is laid there, and they are planned again round it; each run is taken up
a few times at most, and the best state reached is what comes out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from elbowroom.model.geometry.envelopes import Floats, Margins, Obstacle, Rod
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.store import Store
from elbowroom.model.tubes.bars import bars_of, gaps, rod_mesh, swept
from elbowroom.model.tubes.field import Field
from elbowroom.model.tubes.planner import field_for, place_of
from elbowroom.model.tubes.rules import End, Found, NotFound, Result, Rules
from elbowroom.model.tubes.searched import Question, searched
from elbowroom.parts.vocabulary.base import Box

TAKEN_UP = 3  # times one run may be taken up for others
WORTHWHILE = 0.05  # mm of cost that another look at the turns must gain: what a tape measure does not show


@dataclass(frozen=True, slots=True)
class Wanted:
    """A run to be planned. `name` names it as an obstacle to the others; it must be none of the space's own.

    finer: for ends that may be turned, the choices round those that were found, the found ones among them; None where
    there are none. effort: share of the usual work that each search for it may take.
    """

    name: str
    start: End
    end: End
    rules: Rules
    finer: Callable[[Found], tuple[End, End] | None] | None = None
    effort: float = 1.0


def plan_all(
    wanted: Sequence[Wanted], space: Space, *, within: Box | None = None, store: Store | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, Result]:  # fmt: skip
    """The best runs found for all of these together, by name. Between two tubes the larger wanted distance holds.
    store: where what comes of each search is kept.

    progress: told how many are laid, of how many. A run is searched for at most 2 + TAKEN_UP times.
    """
    if len({w.name for w in wanted} | set(space.names)) < len(wanted) + len(set(space.names)):
        raise ValueError("the runs to be planned need names of their own, unlike each other's and any obstacle's")
    board = _Board(wanted, space, within, store)
    queue = sorted(range(len(wanted)), key=lambda k: (board.apart(k), k))
    taken_up = [0] * len(wanted)
    best: dict[int, Result] = {}
    while queue:
        k = queue.pop(0)
        if progress is not None:
            progress(len(board.laid), len(wanted))
        board.laid[k] = board.plan(k, set(board.laid))
        if not board.laid[k].found:
            alone = board.alone(k)
            if not alone.found:
                board.laid[k] = alone  # the longer search, and no other run is to blame
            ways = board.in_the_way(k, alone) if isinstance(alone, Found) else []
            if ways and all(taken_up[j] < TAKEN_UP for j in ways):
                board.laid[k] = alone
                for j in ways:
                    taken_up[j] += 1
                    del board.laid[j]
                queue = ways + queue
        if (not queue or len(board.laid) == len(wanted)) and _better(board.laid, best):
            best = dict(board.laid)
    return {w.name: board.told(k, best) for k, w in enumerate(wanted)}


def _better(new: Mapping[int, Result], old: Mapping[int, Result]) -> bool:
    """Whether a state holds more runs, or as many at less cost."""

    def worth(state: Mapping[int, Result]) -> tuple[int, float]:
        found = [r for r in state.values() if isinstance(r, Found)]
        return (len(found), -sum(r.cost for r in found))

    return not old or worth(new) > worth(old)


class _Board:
    """What is laid so far, and the maps to plan on."""

    def __init__(self, wanted: Sequence[Wanted], space: Space, within: Box | None, store: Store | None) -> None:
        self.wanted, self.space, self.within, self.store = wanted, space, within, store
        self.laid: dict[int, Result] = {}
        self._alone: dict[int, Result] = {}
        self._fields: dict[object, Field] = {}
        self._points = np.array([c.point for w in wanted for e in (w.start, w.end) for c in e.candidates])

    def apart(self, k: int) -> float:
        """Distance between a run's ends, mm: short runs have the fewest ways."""
        w = self.wanted[k]
        return min(math.dist(a.point, b.point) for a in w.start.candidates for b in w.end.candidates)

    def alone(self, k: int) -> Result:
        """The run with no other laid, only their straight legs kept free."""
        return self.plan(k, set())

    def plan(self, k: int, others: set[int]) -> Result:
        """One run among some of those that are laid; of the rest, the straight legs are kept free.

        Among others the search is a short one, since they can be taken up; alone it is thorough.
        """
        if not others and k in self._alone:
            return self._alone[k]
        w = self.wanted[k]
        obstacles: list[Obstacle] = []
        bars: list[tuple[Floats, Floats, Floats, int]] = []
        special = dict(w.rules.clearance.special)
        for j, other in enumerate(self.wanted):
            if j == k:
                continue
            asked = max(w.rules.clearance.to(other.name), other.rules.clearance.to(w.name))
            laid = self.laid.get(j) if j in others else None
            for name, part, radii in self._stands(j, laid):
                special[name] = asked
                obstacles.append(part)
                starts, ends, r = radii
                bars.append((starts, ends, r + asked, len(self.space.names) + len(obstacles) - 1))
        rules = replace(w.rules, clearance=Margins(w.rules.clearance.default, special))
        space = self.space.extended(obstacles)

        @cache
        def field() -> Field:
            out = self._field(w.rules)
            for n, (starts, ends, needs, owner) in enumerate(bars):
                out = out.with_rods(starts, ends, needs, owner, copy=n == 0)
            return out

        def search(start: End, end: End, **how: Any) -> Result:
            about = Question(
                start, end, rules, space, self.within, how, place_of(self.space, w.rules, self._points, self.within)
            )
            return searched(about, field, self.store)

        found = search(w.start, w.end, thorough=not others, effort=w.effort)
        while w.finer is not None and isinstance(found, Found) and (near := w.finer(found)) is not None:
            better = search(*near, below=found.cost)
            if not isinstance(better, Found) or better.cost >= found.cost - WORTHWHILE:
                break
            found = better
        if not others:
            self._alone[k] = found
        return found

    def _stands(self, j: int, laid: Result | None) -> list[tuple[str, Obstacle, tuple[Floats, Floats, Floats]]]:
        """What another run puts in the way: its tube and fittings where it is laid, else its straight legs."""
        w = self.wanted[j]
        out = []
        if isinstance(laid, Found):
            bars = bars_of(laid.run, w.rules.od)
            out.append(
                (w.name, swept(w.name, laid.run, w.rules.od), (bars.rods.starts, bars.rods.ends, bars.rods.radii))
            )
            rods = [
                (f"{w.name} {side} fitting", r)
                for side, c in (("start", laid.start), ("end", laid.end))
                for r in c.body
            ]
        else:
            rods = []
            for side, end in (("start", w.start), ("end", w.end)):
                if len(end.candidates) == 1 and w.rules.end_leg > 0:
                    c = end.candidates[0]
                    tip = np.array(c.point) + w.rules.end_leg * np.array(c.axis)
                    rods.append((f"{w.name} {side}", Rod(c.point, (tip[0], tip[1], tip[2]), w.rules.od / 2)))
        for name, r in rods:
            a, b = np.array([r.start]), np.array([r.end])
            out.append((name, rod_mesh(name, r), (a, b, np.array([r.radius]))))
        return out

    def told(self, k: int, state: Mapping[int, Result]) -> Result:
        """What came of a run among the others; one that has a way alone is told with the runs that lie in it, and is
        not called impossible: those may lie elsewhere.
        """
        got, alone = state[k], self._alone.get(k)
        if not isinstance(got, NotFound) or not isinstance(alone, Found):
            return got
        self.laid = dict(state)
        names = [self.wanted[j].name for j in self.in_the_way(k, alone)]
        if not names:
            return got
        others, one = " and ".join(names), len(names) == 1
        text = (
            f"not found beside the {others}: without {'it' if one else 'them'} there is one of "
            f"{alone.run.length:.0f} mm, and no other was found; draw "
            f"{'that run' if one else 'those runs'} on another way (through: ...); {got.tried.text}"
        )
        seen = {n for n, _ in got.blockers}
        blockers = (*((n, 0.0) for n in names if n not in seen), *got.blockers)
        return replace(got, reasons=(), blockers=blockers, text=text, at=got.at)

    def _field(self, rules: Rules) -> Field:
        key = (rules.clearance.default, tuple(sorted(rules.clearance.special.items())))
        if key not in self._fields:
            self._fields[key] = field_for(self.space, rules, self._points, self.within)
        return self._fields[key]

    def in_the_way(self, k: int, alone: Found) -> list[int]:
        """The laid runs that come too near to where a run would lie alone, tubes and turned fittings alike."""
        w = self.wanted[k]
        own = [bars for _, _, bars in self._stands(k, alone)]
        mine = [np.concatenate([bars[i] for bars in own]) for i in range(3)]
        out = []
        for j, other in self.laid.items():
            if j == k or not isinstance(other, Found):
                continue
            asked = max(w.rules.clearance.to(self.wanted[j].name), self.wanted[j].rules.clearance.to(w.name))
            for _, _, (starts, ends, radii) in self._stands(j, other):
                d = gaps(mine[0][:, None], mine[1][:, None], starts[None], ends[None])
                if (d - mine[2][:, None] - radii[None]).min() < asked:
                    out.append(j)
                    break
        return sorted(out)
