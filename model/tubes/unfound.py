"""Why no run was found, from what the search met.

Owns the words for it. The search is the planner's.
"""

from __future__ import annotations

from elbowroom.model.tolerances import SQUARE_COS
from elbowroom.model.tubes.reasons import reasons
from elbowroom.model.tubes.rules import NotFound
from elbowroom.model.tubes.task import Task
from elbowroom.model.tubes.verify import verify

OTHER = {"bounds": "the case", "self": "the tube itself"}  # blockers that are no obstacles
SAID = {"leg": "the straight at its ends", "between": "the straight between its bends", "radius": "its bends"}


def nothing(task: Task) -> NotFound:
    why = task.why or reasons(task)
    run, short, at = None, dict[str, float](), None
    for _, corners in task.attempts:
        trial = task.run_of(corners)
        if trial is None:
            continue
        lacks: dict[str, float] = {}
        broken = verify(trial, task.space, task.rules, task.start, task.end, within=task.within)
        for v in broken:
            name = v.obstacle or OTHER.get(v.kind, v.kind)
            lacks[name] = max(lacks.get(name, 0.0), v.shortfall)
        if run is None or max(lacks.values(), default=0.0) < max(short.values(), default=0.0):
            run, short, at = trial, lacks, next((v.at for v in broken if v.at is not None), None)
    blockers = tuple(sorted(short.items(), key=lambda s: (-s[1], s[0])))
    if why:
        text = "impossible: " + "; ".join(r.text for r in why)
    elif blockers:
        lacks_at = ", ".join(f"{mm:.1f} mm at {SAID.get(n, n)}" for n, mm in blockers[:3])
        text = f"not found; the best attempt is short by {lacks_at}"
    elif task.rules.square and (aslant := _no_square(task)):
        text = f"not found; {aslant}"
    else:
        text = "not found; no attempt that can be bent came close enough to tell what is in its way"
    return NotFound(why, blockers, run, text if why else f"{text}; {task.what_was_tried.text}", task.what_was_tried, at)


def _no_square(task: Task) -> str:
    """The end that lets no tube out along an axis of the case, in words; empty where both do."""
    for name, end in (("start", task.start), ("end", task.end)):
        if not any(max(map(abs, c.axis)) >= SQUARE_COS for c in end.candidates):
            return f"the tube leaves the {name} along none of the case's axes"
    return ""
