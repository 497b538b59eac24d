"""Making a line better: shorter, fewer bends, and out of what it touches.

Owns two local searches over a line's free lengths (its outer corners slide along the ends' axes, the others go
anywhere). `improve` tries batches of small changes against the map; the changes are pseudo-random but fixed, so
the same line always comes out the same. `polish` takes a line that nearly holds and moves it by exact distances: each
place that is too near asks for its shortfall along its own normal, and the least move that gives all of them is made.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from elbowroom.model.geometry.envelopes import Floats
from elbowroom.model.tubes.bars import bars_of
from elbowroom.model.tubes.families import DRAW
from elbowroom.model.tubes.task import Task
from elbowroom.model.tubes.verify import cuts_of, zones
from elbowroom.parts.vocabulary.bends import Run

TRIES = 48  # changes a round
ROUNDS = 50
HOPE, HOPELESS = 15, 1_000.0  # rounds after which a line worth more than so many mm must be a fifth better than given
LOOKED_AT = 4  # of a round's changes, the best on a quick look, that are looked at closely
FIRST_STEP, LAST_STEP = 14.0, 0.2  # mm
ROOM_WORTH = 60.0  # mm of tube that a millimetre of missing room counts for: more than any way round it saves
LACK_WORTH = 60.0  # the same for a leg that is too short
EASE = 0.3  # mm of room more than none that repair aims for, since the map sees a little too much room
_WORTHWHILE = 0.05  # mm of cost: less is no gain worth a round
_TOO_SHORT = 2.0  # radii of lacking leg beyond which a line is not looked at on the map

NEARLY = 2.5  # mm of room a line may lack on the map for polishing to be tried
POLISHES = 14  # moves of one line
WATCHED = 2.0  # mm: places with less room to spare than this are kept from getting worse
MOUTH = 1e-3  # mm: nearest points nearer to a mouth than this are the mouth
SPARE = 2e-3  # mm more than asked: what chords and rounding take back, a hundredth of the tightest slot that matters
WORK = 150.0  # of settling one line (`task.BODY_WORK`)
_SWEEPS = 120  # of the least-move solver; with a few dozen places it settles in fewer


def improve(task: Task, corners: Floats, *, rounds: int = ROUNDS, ease: float = EASE) -> list[Floats]:
    """Better lines, the best last: each holds on the map as far as it could be brought to; the first is as given."""
    rng = np.random.default_rng(DRAW)
    best, value = corners.copy(), float(_value(task, corners[None], ease, tight=True)[0])
    trail, step, idle = [best], FIRST_STEP, 0
    for less in _dropped(best):
        shorter = float(_value(task, less[None], ease, tight=True)[0])
        if shorter < value:
            best, value = less, shorter
            trail.append(best)
    given = value
    for n in range(rounds if len(best) > 3 else 0):
        if n == HOPE and value > HOPELESS and value > 0.8 * given:
            break
        k = len(best) - 2
        trial = np.repeat(best[None], TRIES, axis=0)
        if task.rules.square:
            free = _freedom(best, square=True)
            count = free.shape[1]
            moves = rng.normal(size=(TRIES, count)) * step * np.where(rng.random((TRIES, count)) < 0.6, 1.0, 0.0)
            trial += (moves @ free.T).reshape(TRIES, -1, 3)
        else:
            trial[:, 1:-1] += (
                rng.normal(size=(TRIES, k, 3)) * step * np.where(rng.random((TRIES, k, 1)) < 0.6, 1.0, 0.0)
            )
            _on_axes(best, trial)
        quick = _value(task, trial, ease, tight=False, below=value - _WORTHWHILE)
        rows = np.argsort(quick, kind="stable")[:LOOKED_AT]
        rows = rows[quick[rows] < value - _WORTHWHILE]
        values = _value(task, trial[rows], ease, tight=True) if len(rows) else np.array([np.inf])
        i = int(np.argmin(values))
        if values[i] < value - _WORTHWHILE:
            best, value, idle = trial[rows[i]], float(values[i]), 0
            trail.append(best)
            continue
        idle += 1
        if idle >= 3:
            step, idle = step * 0.55, 0
            if step < LAST_STEP:
                break
    return trail


def _value(task: Task, points: Floats, ease: float, *, tight: bool, below: float = math.inf) -> Floats:
    """Cost of lines, with what they lack in room and legs counted dearly, mm. Above `below` it is only known to be."""
    lines = task.lines(points)
    lack = np.minimum(lines.lack, 1e3)
    out = lines.cost + LACK_WORTH * lack
    fine = lack < _TOO_SHORT * task.rules.radius
    if fine.any():
        some = lines.take(fine)
        floors = ease - np.maximum(below - out[fine], 0.0) / ROOM_WORTH if math.isfinite(below) else None
        room = task.map.least_room(some, task.rules.radius, tight=tight, floors=floors)
        if tight:
            task.note(some, room)
        out[fine] += ROOM_WORTH * np.maximum(ease - room, 0.0)
    out[~fine] += 1e6
    return out


def _on_axes(base: Floats, trial: Floats) -> None:
    """Put the outer corners of the trials back on the axes of the ends."""
    for end, corner in ((0, 1), (-1, -2)):
        axis = base[corner] - base[end]
        axis = axis / np.linalg.norm(axis)
        t = np.maximum((trial[:, corner] - base[end]) @ axis, 1e-3)
        trial[:, corner] = base[end] + t[:, None] * axis


def _dropped(corners: Floats) -> list[Floats]:
    """The line without one of its inner corners, each way: a bend less."""
    return [np.delete(corners, k, axis=0) for k in range(2, len(corners) - 2)]


def polish(task: Task, corners: Floats) -> Floats | None:
    """A line near this one that keeps every wanted distance by exact measure; None where none was reached."""
    line = corners.copy()
    if len(line) <= 3:
        return None
    for _ in range(POLISHES):
        run = task.run_of(line)
        if run is None:
            return None
        rows, asked = _asked(task, run, line)
        legs, missing = _leg_rows(task, line)
        if (not len(asked) or asked.max() <= 0) and (missing <= 0).all():
            return line
        free = _freedom(line, square=task.rules.square)
        if not free.shape[1]:
            return None
        a = np.vstack([rows.reshape(-1, 3 * len(line)), legs]) @ free
        move = _least_move(a, np.concatenate([np.where(asked > 0, asked + SPARE, asked), missing]))
        line = line + (free @ move).reshape(-1, 3)
    return None


def _freedom(line: Floats, *, square: bool) -> Floats:
    """Columns: the moves a line's corners have, as coordinates of all its points."""
    n = len(line)
    columns = []
    if square:
        # Corners joined by legs across an axis share their coordinate along it: each such level moves as one.
        along = np.argmax(np.abs(np.diff(line, axis=0)), axis=1)
        for axis in range(3):
            cuts = [0, *(np.nonzero(along == axis)[0] + 1).tolist(), n]
            for first, stop in pairwise(cuts):
                if first > 0 and stop < n:
                    c = np.zeros((n, 3))
                    c[first:stop, axis] = 1.0
                    columns.append(c.ravel())
        return np.array(columns).reshape(len(columns), 3 * n).T
    for end, corner in ((0, 1), (n - 1, n - 2)):
        c = np.zeros((n, 3))
        axis = line[corner] - line[end]
        c[corner] = axis / np.linalg.norm(axis)
        columns.append(c.ravel())
    for corner in range(2, n - 2):
        for k in range(3):
            c = np.zeros((n, 3))
            c[corner, k] = 1.0
            columns.append(c.ravel())
    return np.array(columns).T


def _asked(task: Task, run: Run, line: Floats) -> tuple[Floats, Floats]:
    """For every place nearer than wanted plus WATCHED: how its room changes with the points, and the room it lacks."""
    bars = bars_of(run, task.rules.od, cuts=cuts_of(run, task.start, task.end))
    wanted = task.space.margins(task.rules.clearance) + task.space.bounds
    rows, asked = [], []
    for ignore, mask in zones(bars, run.length, task.start, task.end):
        rods = bars.rods.take(mask)
        for i, k, d, on, at in task.space.distances(rods, wanted + WATCHED, task.space.ignored(ignore)):
            if min(math.dist(on, line[0]), math.dist(on, line[-1])) < MOUTH:
                continue  # a mouth stands where its port is
            away = on - at
            size = float(np.linalg.norm(away))
            if not size > 1e-9:  # the axis itself meets the obstacle: any way aside is as good as another
                on, axis = (rods.starts[i] + rods.ends[i]) / 2, line[1] - line[0]
                away, size = np.cross(axis, (1.0, 0.618, 0.382)), float(np.linalg.norm(axis))
            rows.append(_weights(line, on)[:, None] * away / size)
            asked.append(float(wanted[k]) - d)
    return np.array(rows).reshape(-1, len(line), 3), np.array(asked)


def _weights(line: Floats, point: Floats) -> Floats:
    """How far a place on the tube follows each of the line's points: by its foot on the nearest leg."""
    d = np.diff(line, axis=0)
    t = np.clip(np.einsum("kd,kd->k", point - line[:-1], d) / np.einsum("kd,kd->k", d, d), 0, 1)
    k = int(np.argmin(np.linalg.norm(line[:-1] + t[:, None] * d - point, axis=1)))
    out = np.zeros(len(line))
    out[k], out[k + 1] = 1 - t[k], t[k]
    return out


def _leg_rows(task: Task, line: Floats) -> tuple[Floats, Floats]:
    """How each straight changes with the points, and what it lacks (below 0: to spare), mm."""
    rules, h = task.rules, 1e-4
    n = len(line)
    shifted = np.repeat(line[None], 3 * n + 1, axis=0)
    for k in range(3 * n):
        shifted[k + 1, k // 3, k % 3] += h
    straights = task.lines(shifted).straights
    need = np.full(straights.shape[1], rules.between)
    need[[0, -1]] = rules.end_leg
    return ((straights[1:] - straights[0]) / h).T, need - straights[0]


def _least_move(a: Floats, asked: Floats) -> Floats:
    """The shortest x with a @ x >= asked, as near as it can be had (Hildreth's method)."""
    from elbowroom.model.tubes.stepping import least_move  # compiled: loaded only where a run is looked for

    x = np.zeros(a.shape[1])
    least_move(np.ascontiguousarray(a), np.ascontiguousarray(asked), _SWEEPS, x)
    length = float(np.linalg.norm(x))
    return x if length < 20.0 else x * (20.0 / length)


def settle(task: Task, corners: Floats, limit: float, *, rounds: int = ROUNDS) -> tuple[Run, Floats] | None:
    """Improve a line and return the best version that holds by the exact test and costs less than `limit`."""
    task.work += WORK
    trail = improve(task, corners, rounds=rounds)
    best = trail[-1]
    for line in reversed(trail[-5:]):
        m = task.lines(line[None])
        if m.lack[0] > 0 or m.cost[0] >= limit or task.map.least_room(m, task.rules.radius)[0] < 0:
            continue
        run = task.exact(line)
        if run is not None:
            return run, line
    if not task.spent:
        m = task.lines(best[None])
        if m.cost[0] < limit and task.map.least_room(m, task.rules.radius, tight=True)[0] >= -NEARLY:
            better = polish(task, best)
            if better is not None and task.lines(better[None]).cost[0] < limit:
                run = task.exact(better)
                if run is not None:
                    return run, better
    return None
