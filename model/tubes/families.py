"""Runs of up to three bends in closed form: every one of them is a few lengths along known directions.

Owns their enumeration. None: the axes fall in line. One: the axes meet. Two: any point on one axis joined to any point
on the other, so two lengths give every such run. Three: one more corner, on the grid that the two axes' corners span,
or anywhere free. Square: along the case's axes. Leaves choosing among them, and better lengths than those of the grids,
to the planner.
"""

from __future__ import annotations

import math
from itertools import permutations

import numpy as np

from elbowroom.model.geometry.envelopes import Floats
from elbowroom.model.tolerances import SQUARE_COS
from elbowroom.model.tubes.lines import Lines, measure
from elbowroom.model.tubes.task import Task, free_axis
from elbowroom.parts.vocabulary.pose import pose

MEET_EPS = 1e-6  # mm: axes that pass nearer meet: rounding of posed ports is 1e-12
TWO_BENDS = 250_000  # lines tried with two bends, over all pairs of candidates: a quarter of a second of arithmetic
THREE_BENDS = 120_000  # with three
SQUARES = 150_000  # with legs along the case's axes
PAIRS = 24  # pairs of candidates tried with three bends, cheapest first
DRAW = 20_032  # which pseudo-random free corners are tried; any number does, a fixed one keeps plans the same
_BLOCKED = 60.0  # mm of tube that a millimetre of missing room counts for when pairs are ranked
_TURN = 1.5  # radii beyond the free axis at which a corner may still lie, since its arc leaves the axis before it


def none_or_one(task: Task) -> list[Lines]:
    """Straight runs and runs of one bend, over all pairs of candidates."""
    (p, a, _), (q, b, _) = task.starts, task.ends
    i, j = np.divmod(np.arange(len(p) * len(q)), len(q))
    d = q[j] - p[i]
    out = []
    along = np.einsum("nd,nd->n", d, a[i])
    off = np.linalg.norm(d - along[:, None] * a[i], axis=1)
    opposed = np.linalg.norm(a[i] + b[j], axis=1)
    line = (off <= MEET_EPS) & (opposed * np.abs(along) <= MEET_EPS) & (along > 0)
    if line.any():
        out.append(measure(np.stack([p[i][line], q[j][line]], axis=1), task.rules))
    c = np.einsum("nd,nd->n", a[i], b[j])
    det = 1 - c * c
    crossing = det > 1e-9
    safe = np.where(crossing, det, 1.0)
    da, db = along, np.einsum("nd,nd->n", d, b[j])
    t, u = (da - c * db) / safe, (c * da - db) / safe
    meet = p[i] + t[:, None] * a[i]
    crossing &= np.linalg.norm(meet - (q[j] + u[:, None] * b[j]), axis=1) <= MEET_EPS
    crossing &= (t > MEET_EPS) & (u > MEET_EPS)
    if crossing.any():
        out.append(measure(np.stack([p[i], meet, q[j]], axis=1)[crossing], task.rules))
    return out


def two(task: Task, pairs: Floats | None = None, most: int = TWO_BENDS) -> Lines:
    """Runs of two bends over a grid of both lengths, for all pairs of candidates or for some (n, 2)."""
    (p, a, _), (q, b, _) = task.starts, task.ends
    if pairs is None:
        pairs = np.stack(np.divmod(np.arange(len(p) * len(q)), len(q)), axis=1)
    i, j = pairs[:, 0].astype(int), pairs[:, 1].astype(int)
    n = int(np.clip(math.isqrt(max(1, most // len(i))), 5, 72))
    t, u = _lengths(task, p, a, q, n), _lengths(task, q, b, p, n, at_end=True)
    d = q[j] - p[i]
    t_special = np.stack([np.einsum("nd,nd->n", d, a[i])], axis=1)
    u_special = np.stack([-np.einsum("nd,nd->n", d, b[j])], axis=1)
    tt = np.concatenate([t[i], np.maximum(t_special, task.rules.end_leg)], axis=1)
    uu = np.concatenate([u[j], np.maximum(u_special, task.rules.end_leg)], axis=1)
    k, m = tt.shape[1], uu.shape[1]
    v1 = p[i][:, None] + tt[..., None] * a[i][:, None]
    v2 = q[j][:, None] + uu[..., None] * b[j][:, None]
    points = np.empty((len(i), k, m, 4, 3))
    points[..., 0, :] = p[i][:, None, None]
    points[..., 1, :] = v1[:, :, None]
    points[..., 2, :] = v2[:, None, :]
    points[..., 3, :] = q[j][:, None, None]
    return measure(points.reshape(-1, 4, 3), task.rules)


def best_pairs(task: Task, lines: Lines, most: int) -> np.ndarray:
    """The pairs of candidates with the cheapest bendable lines among `lines`, what they lack in room counted dearly,
    and the best pair of every candidate: (n, 2), best first, at most `most` and as many as there are candidates.
    """
    (p, _, _), (q, _, _) = task.starts, task.ends
    if len(p) * len(q) <= most:
        return np.stack(np.divmod(np.arange(len(p) * len(q)), len(q)), axis=1)
    per = len(lines.cost) // (len(p) * len(q))
    cost = np.where(lines.lack == 0, lines.cost, np.inf).reshape(-1, per)
    best = np.argmin(cost, axis=1)
    value = cost[np.arange(len(cost)), best]
    room = task.map.least_room(lines.take(np.arange(len(cost)) * per + best), task.rules.radius)
    value = value + _BLOCKED * np.maximum(-room, 0.0)
    table = value.reshape(len(p), len(q))
    # The cheapest, and the best of every choice at either end: what looks dear here may have the only way.
    chosen = set(np.argsort(value, kind="stable")[:most].tolist())
    chosen |= {i * len(q) + int(np.argmin(table[i])) for i in range(len(p))}
    chosen |= {int(np.argmin(table[:, j])) * len(q) + j for j in range(len(q))}
    ranked = np.array(sorted(chosen, key=lambda k: (float(value[k]), k)))
    return np.stack(np.divmod(ranked, len(q)), axis=1)


def three(task: Task, pairs: np.ndarray) -> Lines:
    """Runs of three bends: the middle corner on the grid the outer two span, in case axes and in the start's own."""
    (p, a, _), (q, b, _) = task.starts, task.ends
    each = THREE_BENDS // max(1, len(pairs))
    n = int(np.clip(math.isqrt(each // 12), 4, 40))
    t, u = _lengths(task, p, a, q, n), _lengths(task, q, b, p, n, at_end=True)
    out = []
    for i, j in pairs:
        v1 = p[i] + t[i][:, None] * a[i]
        v3 = q[j] + u[j][:, None] * b[j]
        frames = [np.eye(3), pose(p[i], a[i])[:3, :3].T]
        if np.abs(frames[1]).max(axis=1).min() > 1 - 1e-9:
            frames.pop()
        for frame in frames:
            f1, f3 = v1 @ frame.T, v3 @ frame.T
            for mask in range(1, 7):
                take = np.array([(mask >> k) & 1 for k in range(3)], dtype=bool)
                v2 = np.where(take, f1[:, None], f3[None]) @ frame
                out.append(_joined(p[i], v1, v2, v3, q[j]))
    return measure(np.concatenate(out), task.rules)


def three_free(task: Task, pairs: np.ndarray) -> Lines:
    """Runs of three bends whose middle corner is one of many free places of the map."""
    (p, a, _), (q, b, _) = task.starts, task.ends
    rng = np.random.default_rng(DRAW)
    n = 6
    t, u = _lengths(task, p, a, q, n), _lengths(task, q, b, p, n, at_end=True)
    f = task.map.field
    places = f.lo + rng.random((6000, 3)) * (np.array(f.shape) * f.cell)
    places = places[task.map.room(places) >= 0]
    each = max(40, THREE_BENDS // (len(pairs) * n * n))
    out = []
    for k, (i, j) in enumerate(pairs):
        v1 = p[i] + t[i][:, None] * a[i]
        v3 = q[j] + u[j][:, None] * b[j]
        some = places[(k * each) % max(1, len(places)) :][:each]
        out += [_joined(p[i], v1, np.broadcast_to(v2, (n, n, 3)), v3, q[j]) for v2 in some]
    return measure(np.concatenate(out) if out else np.zeros((0, 5, 3)), task.rules)


def square(task: Task) -> list[Lines]:
    """Runs along the case's axes of up to four bends: out along one axis, over along up to three, in along another."""
    (p, a, _), (q, b, _) = task.starts, task.ends
    n = int(np.clip(math.isqrt(max(1, SQUARES // (12 * len(p) * len(q)))), 6, 40))
    t, u = _lengths(task, p, a, q, n), _lengths(task, q, b, p, n, at_end=True)
    made: dict[int, list[Floats]] = {}
    for i in range(len(p)):
        for j in range(len(q)):
            d = q[j] - p[i]
            level_t, level_u = float(d @ a[i]), float(-d @ b[j])
            tt, uu = (g.ravel() for g in np.meshgrid(_with(t[i], level_t), _with(u[j], level_u), indexing="ij"))
            along = float(a[i] @ b[j])
            if abs(along) > SQUARE_COS:  # the axes run alike: corners at one level, whatever it is
                level = _with(t[i], level_t)
                tt, uu = np.concatenate([tt, level]), np.concatenate([uu, (level - level_t) * along])
            v1, v2 = p[i] + tt[:, None] * a[i], q[j] + uu[:, None] * b[j]
            ahead = (tt > 0) & (uu > 0)
            for order in permutations(range(3)):
                one, other = v1.copy(), v1.copy()
                one[:, order[0]] = v2[:, order[0]]
                other[:, order[:2]] = v2[:, order[:2]]
                line = np.stack([np.broadcast_to(p[i], v1.shape), v1, one, other, v2, np.broadcast_to(q[j], v1.shape)])
                for corners in _without_repeats(line.transpose(1, 0, 2)[ahead]):
                    made.setdefault(corners.shape[1], []).append(corners)
    return [measure(np.concatenate(made[k]), task.rules) for k in sorted(made)]


def _with(lengths: Floats, more: float) -> Floats:
    return np.append(lengths, more)


def _without_repeats(lines: Floats) -> list[Floats]:
    """Lines (n, k, 3) without corners that are the same as the one before, by how many are left."""
    keep = np.ones(lines.shape[:2], dtype=bool)
    keep[:, 1:] = np.linalg.norm(np.diff(lines, axis=1), axis=2) > MEET_EPS
    count = keep.sum(axis=1)
    return [lines[count == k][keep[count == k]].reshape(-1, k, 3) for k in np.unique(count).tolist() if k >= 3]


def _joined(p: Floats, v1: Floats, v2: Floats, v3: Floats, q: Floats) -> Floats:
    out = np.empty((len(v1), len(v3), 5, 3))
    out[..., 0, :], out[..., 4, :] = p, q
    out[..., 1, :], out[..., 2, :], out[..., 3, :] = v1[:, None], v2, v3[None]
    return out.reshape(-1, 5, 3)


def _lengths(task: Task, p: Floats, a: Floats, other: Floats, n: int, *, at_end: bool = False) -> Floats:
    """n places along each axis where a corner may lie, mm (m, n): dense near the port, up to where the axis is free."""
    rules = task.rules
    span = float(np.linalg.norm(other[:, None] - p[None], axis=2).max()) + 4 * rules.radius + rules.end_leg
    most = free_axis(task.map, p, a, span, task.map.skip[1 if at_end else 0]) + _TURN * rules.radius
    first = rules.end_leg + 1e-3
    x = np.linspace(0.0, 1.0, n) ** 1.5
    out: Floats = first + np.maximum(most - first, 1.0)[:, None] * x
    return out
