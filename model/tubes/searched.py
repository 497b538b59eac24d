"""One search for a run, kept under what it looked at: an edit elsewhere leaves its outcome standing.

Owns the question (all a plan depends on beside the obstacles that meet its record) and the form of an outcome in the
store. The search is the planner's; the map it looks at is drawn only where one is made. Leaves records of where one
looked to `geometry.looked` and `geometry.alike`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from elbowroom.model.geometry.alike import Alike
from elbowroom.model.geometry.envelopes import NO_MARGIN, Floats, Point
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.geometry.looked import Blocks, looking
from elbowroom.model.store import Store
from elbowroom.model.tubes.field import Field
from elbowroom.model.tubes.planner import plan
from elbowroom.model.tubes.rules import End, Found, NotFound, Reason, Result, Rules, Tried
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import BendError, Run, bend_run


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """What `planner.plan` is asked. how: its further words; place: lower and upper corner of the map."""

    start: End
    end: End
    rules: Rules
    space: Space
    within: Box | None
    how: Mapping[str, Any]
    place: tuple[Floats, Floats]

    def facts(self) -> list[Any]:
        ends = [repr(replace(e, settled=0)) for e in (self.start, self.end)]
        settled = [e.settled > 0 for e in (self.start, self.end)]
        clearance = self.rules.clearance
        # The farthest that anything is asked about: what stands beyond a record could bear on the answer with more.
        most = float(self.space.margins(clearance).max(initial=0.0))
        rules = repr(replace(self.rules, clearance=NO_MARGIN))
        corners = [v.tolist() for v in self.place]
        return ["route", ends, settled, rules, clearance.default, most, repr(self.within), dict(self.how), corners]

    def standing(self, blocks: Blocks) -> list[Any]:
        """What meets a record, and which of it the bodies of each end are known to stand free of."""
        there = self.space.standing(blocks, self.rules.clearance)
        return [[i < self.start.settled, i < self.end.settled, *told] for i, *told in there]


def searched(about: Question, field: Callable[[], Field], store: Store | None) -> Result:
    """What comes of a search: as it was kept in the store, or found now and kept there."""
    kept = None if store is None else Alike(about.facts(), about.standing, store)
    known = None if kept is None else _unpacked(kept.recall(), about)
    if known is not None:
        return known
    with looking() as looked:
        out = plan(
            about.start, about.end, about.rules, about.space, within=about.within, field=field(), **about.how
        )  # fmt: skip
    if kept is not None and (data := _packed(out, about)) is not None:
        kept.keep(looked, data)
    return out


def _packed(result: Result, about: Question) -> bytes | None:
    """None where it would not be read back as it is."""
    told: dict[str, Any]
    if isinstance(result, Found):
        start, end = (e.candidates.index(c) for e, c in ((about.start, result.start), (about.end, result.end)))
        told = {"run": _run(result.run), "start": start, "end": end, "cost": result.cost}
    else:
        told = asdict(replace(result, attempt=None)) | {"attempt": result.attempt and _run(result.attempt)}
    data = json.dumps(told).encode()
    return data if _unpacked(data, about) == result else None


def _unpacked(data: bytes | None, about: Question) -> Result | None:
    if data is None:
        return None
    try:
        told = json.loads(data)
        if "run" in told:
            start, end = about.start.candidates[told["start"]], about.end.candidates[told["end"]]
            return Found(_bent(told["run"]), start, end, told["cost"])
        reasons = tuple(
            Reason(**{**r, "obstacles": tuple(r["obstacles"]), "at": _point(r["at"])}) for r in told["reasons"]
        )
        tried = Tried(**{**told["tried"], "turns": tuple(tuple(t) for t in told["tried"]["turns"])})
        attempt = told["attempt"] and _bent(told["attempt"])
        at = told["at"] and _point(told["at"])
        return NotFound(reasons, tuple((n, mm) for n, mm in told["blockers"]), attempt, told["text"], tried, at)
    except (ValueError, TypeError, LookupError, BendError):
        return None


def _run(run: Run) -> list[Any]:
    return [run.points, [b.radius for b in run.bends], run.insertion]


def _bent(told: list[Any]) -> Run:
    points, radii, (head, tail) = told
    return bend_run([_point(p) for p in points], radii or 1.0, insertion=(head, tail))


def _point(v: list[float]) -> Point:
    return (v[0], v[1], v[2])
