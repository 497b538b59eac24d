"""Why no run can exist: proofs with numbers, or nothing.

Owns the tests that may call a run impossible. Each is a necessary condition of every run under the rules, and the
figures given let it be checked again with a ruler: room along the axis for the straight leg; room for any bend after
it; the straight legs of both ends apart; a passage wide enough at all.
"""

from __future__ import annotations

import math

import numpy as np

from elbowroom.model.geometry.envelopes import Floats, Rods
from elbowroom.model.geometry.freespace import FREE
from elbowroom.model.tubes.rules import End, Reason
from elbowroom.model.tubes.task import Task, leg_zones

DEPTHS = 14  # depths past the leg at which the room for a bend is looked at
AXIS_EPS = 1e-6  # mm: axes that pass nearer are one: rounding of posed ports is 1e-12
LEG_PLACES = 41  # places along a straight leg at which it is held against the other
NET = 1.5  # mm between the places looked at there; half its diagonal is granted to the tube as free


def reasons(task: Task) -> tuple[Reason, ...]:
    """Every proof found that there is no run; empty where there may be one."""
    out: list[Reason] = []
    for name, end, side in (("start", task.start, task.starts), ("end", task.end, task.ends)):
        each = [_leg(task, end, name, k) for k in range(len(end.candidates))]
        if all(each):
            out.append(max((r for r in each if r), key=lambda r: r.free))
            continue
        turns = [_turn(task, end, name, int(k)) for k in side[2]]
        if all(turns) and len(side[2]):
            out.append(max((r for r in turns if r), key=lambda r: r.free))
    if not out:
        out += [r for r in (_legs(task), _sealed(task)) if r]
    return tuple(out)


def _leg(task: Task, end: End, name: str, k: int) -> Reason | None:
    """Whether the straight leg of a candidate has no room: free length along its axis under the leg."""
    rules, c = task.rules, end.candidates[k]
    p, a = np.array(c.point), np.array(c.axis)
    free, what = 0.0, None
    for u, v, ignore in leg_zones(rules, end, task.end if name == "start" else task.start, k):
        more, what = task.space.free_length(p + u * a, a, rules.od / 2, v - u, rules.clearance, ignore)
        free = u + more
        if what is not None:
            break
    if what is None:
        return None
    label = f" ({c.label})" if c.label else ""
    return Reason(
        "leg", "start" if name == "start" else "end", free, rules.end_leg, (what,), c.point,
        f"{name}{label}: {free:.2f} mm free straight out of it before {what}, "
        f"the tube needs {rules.end_leg:g} mm straight",
    )  # fmt: skip


def _turn(task: Task, end: End, name: str, k: int) -> Reason | None:
    """Whether every way a tube can go on after its straight leg is blocked at some depth.

    A centre line nowhere more curved than 1/R that sets out along an axis crosses the plane x further on, for every x
    up to R, within R - sqrt(R^2 - x^2) of the axis, unless it ends before. If no place of that disc has room for the
    ball that the tube is about any place at least half its thickness from its mouths, none can pass.
    """
    rules, c = task.rules, end.candidates[k]
    p, a = np.array(c.point), np.array(c.axis)
    x = np.eye(3)[int(np.argmin(np.abs(a)))]
    u = np.cross(a, x)
    u /= np.linalg.norm(u)
    v = np.cross(a, u)
    granted = NET / math.sqrt(2)
    radius = rules.od / 2 - granted
    if radius <= 0 or rules.end_leg < rules.od / 2:
        return None
    other = task.end if name == "start" else task.start
    mouths = np.array([o.point for o in other.candidates]) - p
    ahead, aside = mouths @ a, np.linalg.norm(np.cross(mouths, a), axis=1)
    for depth in np.linspace(0, rules.radius, DEPTHS + 1)[1:]:
        t = rules.end_leg + float(depth)
        wide = rules.radius - math.sqrt(max(0.0, rules.radius**2 - float(depth) ** 2)) + granted
        ends_before = (ahead > 0) & (ahead < t + rules.end_leg) & (aside <= wide)
        if t < end.reach + rules.od / 2 or ends_before.any():
            continue
        n = math.ceil(wide / NET)
        s = np.arange(-n, n + 1) * NET
        i, j = (g.ravel() for g in np.meshgrid(s, s))
        disc = np.hypot(i, j) <= wide + granted
        at: Floats = p + t * a + i[disc][:, None] * u + j[disc][:, None] * v
        met = task.space.met(Rods(at, at, np.full(len(at), radius), True), rules.clearance, other.exempt)
        if (met != FREE).all():
            names, counts = np.unique([task.space.names[m] for m in met], return_counts=True)
            first = tuple(str(n) for n in names[np.argsort(-counts, kind="stable")])
            free = _axis_free(task, end, k, rules.end_leg + rules.radius + rules.od)
            label = f" ({c.label})" if c.label else ""
            return Reason(
                "turn", "start" if name == "start" else "end", free, t + rules.od / 2, first[:4], c.point,
                f"{name}{label}: {free:.2f} mm free straight out of it; after {rules.end_leg:g} mm of straight tube "
                f"even a bend of radius {rules.radius:g} is, {t:.1f} mm out, at most {wide - granted:.1f} mm aside, "
                f"and {', '.join(first[:3])} leave no room for the tube anywhere there",
            )  # fmt: skip
    return None


def _axis_free(task: Task, end: End, k: int, longest: float) -> float:
    rules, c = task.rules, end.candidates[k]
    p, a = np.array(c.point), np.array(c.axis)
    cut = min(end.reach, longest)
    more, _ = task.space.free_length(p + cut * a, a, rules.od / 2, longest - cut, rules.clearance)
    return cut + more


def _legs(task: Task) -> Reason | None:
    """Whether the straight legs of both ends meet, whichever candidates are chosen.

    Two places of a tube whose axes are d apart, d under its thickness, are one piece of it only where the line between
    them is no longer than the arc of the least radius over that chord; but it holds what is left of both legs.
    """
    rules, nearest = task.rules, -math.inf
    s = np.linspace(0.0, rules.end_leg, LEG_PLACES)
    for c in task.start.candidates:
        for e in task.end.candidates:
            p, a, q, b = (np.array(v) for v in (c.point, c.axis, e.point, e.axis))
            t = float((q - p) @ a)
            if t >= rules.end_leg and np.linalg.norm(q - p - t * a) < AXIS_EPS and np.dot(a, b) < -1 + AXIS_EPS:
                return None  # in line: one straight is both legs
            d = np.linalg.norm((p + s[:, None] * a)[:, None] - (q + s[:, None] * b)[None], axis=2)
            left = (rules.end_leg - s)[:, None] + (rules.end_leg - s)[None]
            apart = left > 2 * rules.radius * np.arcsin(np.clip(d / (2 * rules.radius), 0.0, 1.0)) + AXIS_EPS
            proven = np.where(apart, d, np.inf).min()
            if proven >= rules.od - AXIS_EPS:
                return None
            nearest = max(nearest, float(proven))
    return Reason(
        "legs", "both", nearest, rules.od, (), task.start.candidates[0].point,
        f"the tube needs {rules.end_leg:g} mm straight out of each end, and those come within {nearest:.2f} mm of each "
        f"other, middle to middle; the tube is {rules.od:g} mm thick",
    )  # fmt: skip


def _sealed(task: Task) -> Reason | None:
    """Whether the ends lie in parts of space that no passage as wide as the tube joins.

    A cell is closed where even its best place has no room; the map's figure is an upper bound, so a closed cell is
    closed indeed.
    """
    m = task.map
    f = m.field
    reach = f.cell * math.sqrt(3) / 2
    middles = f.middles()
    open_ = m.room(middles.astype(float)) + reach >= 0
    for end in (task.start, task.end):
        mine = np.array([i for i, n in enumerate(task.space.names) if n in end.exempt], dtype=np.int32)
        points = np.array([c.point for c in end.candidates])
        centre = points.mean(axis=0)
        far = float(np.linalg.norm(points - centre, axis=1).max()) + end.reach + reach
        # Within its reach an end does not count what is exempt, wherever the tube turns to there.
        open_ |= np.isin(f.owner, mine) & (np.linalg.norm(middles - centre.astype(np.float32), axis=-1) <= far)
    if task.within is None:
        # Without bounds the tube may go round outside the map.
        open_ = np.pad(open_, 1, constant_values=True)
        shift = 1
    else:
        shift = 0
    label = np.zeros(open_.shape, dtype=bool)
    goal = np.zeros(open_.shape, dtype=bool)
    for end, mask, skip in ((task.start, label, m.skip[0]), (task.end, goal, m.skip[1])):
        for c in end.candidates:
            for t in np.arange(0.0, max(skip, task.rules.end_leg) + f.cell, f.cell / 2):
                cell = np.floor((np.array(c.point) + t * np.array(c.axis) - f.lo) / f.cell).astype(int) + shift
                if (cell >= 0).all() and (cell < open_.shape).all():
                    mask[tuple(cell)] = True
                    if t <= skip:
                        open_[tuple(cell)] = True
    label &= open_
    _flood(label, open_)
    if (label & goal).any():
        return None
    edge = ~label & _beside(label)
    inner = edge if not shift else edge[1:-1, 1:-1, 1:-1]
    who = f.owner[inner]
    names, counts = np.unique(who[who >= 0], return_counts=True)
    first = tuple(task.space.names[i] for i in names[np.argsort(-counts)])
    volume = float(label.sum()) * f.cell**3 / 1000
    return Reason(
        "sealed", "both", volume, 0.0, first[:5], task.start.candidates[0].point,
        f"no gap on the way is wide enough for a tube of {task.rules.od:g} mm with the distances wanted round it: from "
        f"the start it gets about in {volume:.0f} cm3, shut in by {', '.join(first[:3]) or 'the case'} (looked at in "
        f"steps of {f.cell:.1f} mm)",
    )  # fmt: skip


def _beside(mask: np.ndarray) -> np.ndarray:
    """The mask and the six neighbours of its cells."""
    out = mask.copy()
    for k in range(3):
        ahead = tuple(slice(1, None) if i == k else slice(None) for i in range(3))
        behind = tuple(slice(None, -1) if i == k else slice(None) for i in range(3))
        out[ahead] |= mask[behind]
        out[behind] |= mask[ahead]
    return out


def _flood(label: np.ndarray, open_: np.ndarray) -> None:
    """Spread the labelled cells through open ones, face to face, in place, until nothing changes.

    Faces are enough: a line that goes from cell to cell over an edge or a corner touches the cells beside it too, and
    those are closed with their borders or not at all.
    """
    count = -1
    while (now := int(label.sum())) != count:
        count = now
        for axis in range(3):
            view, free = np.moveaxis(label, axis, 0), np.moveaxis(open_, axis, 0)
            for step, order in ((1, range(1, len(view))), (-1, range(len(view) - 2, -1, -1))):
                for i in order:
                    view[i] |= view[i - step] & free[i]
