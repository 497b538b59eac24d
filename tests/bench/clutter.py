"""Random cluttered cases with a tube run known to exist, for the planner's bench and tests.

Owns the making of cases: a hidden reference run first (random legs and turns inside a case), then obstacles at random
places and turns, crowded along the run, each thrown away where it comes nearer to the run than the wanted distance and
a little more. Whoever plans sees the ends and the obstacles only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Margins, Obstacle
from elbowroom.model.tubes.bars import bars_of, gaps, self_gap
from elbowroom.model.tubes.rules import Candidate, End, Rules
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import BendError, Run, bend_run

CASE = Box((0.0, 0.0, 0.0), (430.0, 236.0, 452.0))
HARD = Rules(14.0, 28.0, 18.0, 14.0, Margins(1.0))
HOSE = Rules(16.0, 43.0, 15.0, 0.0, Margins(1.0), soft=True)


@dataclass(frozen=True)
class Case:
    start: End
    end: End
    rules: Rules
    obstacles: tuple[Obstacle, ...]
    reference: Run
    spare: float  # mm that the reference run has beyond the wanted distance


def end_at(point: tuple[float, float, float], axis: tuple[float, float, float], *, exempt: tuple[str, ...] = (),
           reach: float = 0.0) -> End:  # fmt: skip
    """An end with one choice."""
    return End((Candidate(point, axis),), exempt, reach)


def box(name: str, lo: tuple[float, ...], hi: tuple[float, ...], bound: float = 0.0) -> Obstacle:
    """A box as a closed mesh."""
    corners = np.array([[x, y, z] for x in (lo[0], hi[0]) for y in (lo[1], hi[1]) for z in (lo[2], hi[2])], dtype=float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return Obstacle(
        name, corners, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))], np.int32), bound
    )


def cylinder(name: str, radius: float, height: float, sides: int = 32) -> Obstacle:
    """A cylinder about z from z = 0, its facets' error stated as its bound."""
    t = 2 * np.pi * np.arange(sides) / sides
    ring = np.stack([radius * np.cos(t), radius * np.sin(t)], axis=1)
    v = np.vstack([np.c_[ring, np.zeros(sides)], np.c_[ring, np.full(sides, height)], [[0, 0, 0], [0, 0, height]]])
    f = []
    for i in range(sides):
        j = (i + 1) % sides
        f += [(i, j, sides + j), (i, sides + j, sides + i), (2 * sides, j, i), (2 * sides + 1, sides + i, sides + j)]
    return Obstacle(name, v, np.array(f, dtype=np.int32), radius * (1 - math.cos(math.pi / sides)))


def torus(name: str, radius: float, tube: float, n: int = 40, m: int = 20) -> Obstacle:
    """A ring about z: many triangles and a hole, as fans and coils have."""
    u, w = (g.ravel() for g in np.meshgrid(np.arange(n), np.arange(m), indexing="ij"))
    a, b = 2 * np.pi * u / n, 2 * np.pi * w / m
    r = radius + tube * np.cos(b)
    v = np.stack([r * np.cos(a), r * np.sin(a), tube * np.sin(b)], axis=1)
    p, q = u * m + w, ((u + 1) % n) * m + w
    p2, q2 = u * m + (w + 1) % m, ((u + 1) % n) * m + (w + 1) % m
    f = np.concatenate([np.stack([p, q, q2], 1), np.stack([p, q2, p2], 1)])
    bound = (radius + tube) * (1 - math.cos(math.pi / n)) + tube * (1 - math.cos(math.pi / m))
    return Obstacle(name, v, f.astype(np.int32), bound)


def placed(o: Obstacle, turn: NDArray[np.float64], at: NDArray[np.float64]) -> Obstacle:
    return Obstacle(o.name, o.vertices @ turn.T + at, o.triangles, o.bound)


def random_turn(rng: np.random.Generator, square: bool) -> NDArray[np.float64]:
    """A rotation: one of the 24 of a cube, or any."""
    if square:
        m = np.eye(3)[rng.permutation(3)] * rng.choice([-1.0, 1.0], 3)[:, None]
    else:
        m = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    if np.linalg.det(m) < 0:
        m[0] = -m[0]
    return m


def reference(rng: np.random.Generator, rules: Rules) -> Run:
    """A random run inside the case: two to five bends, along the case's axes or aslant."""
    lo, hi = np.array(CASE.lo) + rules.od, np.array(CASE.hi) - rules.od
    bends = int(rng.integers(2, 6))
    while True:
        square = rng.random() < 0.6
        points = [rng.uniform(lo, hi)]
        d = random_turn(rng, square)[0]
        for _ in range(bends + 1):
            points.append(points[-1] + d * rng.uniform(1.3, 5.0) * rules.radius)
            while True:
                e = random_turn(rng, square)[0]
                if -0.5 < e @ d < 0.95:
                    break
            d = e
        p = np.array(points)
        if (p < lo).any() or (p > hi).any():
            continue
        try:
            run = bend_run(p, rules.radius)
        except BendError:
            continue
        ends_ok = min(run.straights[0], run.straights[-1]) >= rules.end_leg
        if (
            ends_ok
            and min(run.straights[1:-1]) >= rules.between
            and self_gap(bars_of(run, 1.0), rules.radius)[0] > rules.od
        ):
            return run


def distance(o: Obstacle, line: NDArray[np.float64], within: float) -> float:
    """Least distance between a sampled centre line and an obstacle, mm: to its planes, edges and corners."""
    near = np.all(line > o.vertices.min(axis=0) - within, axis=1) & np.all(
        line < o.vertices.max(axis=0) + within, axis=1
    )
    p = line[near]
    if not len(p):
        return within
    t = o.vertices[o.triangles]
    a, n = t[:, 0], np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    n = n / np.linalg.norm(n, axis=1)[:, None]
    h = np.einsum("pmd,md->pm", p[:, None] - a[None], n)
    foot = p[:, None] - h[..., None] * n
    inside = np.ones(h.shape, dtype=bool)
    for k in range(3):
        edge = t[:, (k + 1) % 3] - t[:, k]
        inside &= np.einsum("pmd,md->pm", np.cross(edge[None], foot - t[None, :, k]), n) >= 0
    plane = np.where(inside, np.abs(h), np.inf).min()
    q = p[:, None]
    edges = min(float(gaps(q, q, t[None, :, k], t[None, :, (k + 1) % 3]).min()) for k in range(3))
    return float(min(plane, edges))


def make(number: int, *, bodies: int = 150, soft: bool = False) -> Case:
    """Case number `number`."""
    rng = np.random.default_rng(number)
    rules = HOSE if soft else HARD
    run = reference(rng, rules)
    spare = float(rng.uniform(0.3, 2.0))
    line = _line(run)
    keep = rules.od / 2 + rules.clearance.default + spare
    obstacles: list[Obstacle] = []
    tries = 0
    while len(obstacles) < bodies and tries < 60 * bodies:
        tries += 1
        shape = _body(rng, f"body {len(obstacles) + 1}", line)
        need = keep + shape.bound + 0.1  # the line's points lie 1.5 mm apart: 0.04 at this distance
        if distance(shape, line, need + 1) >= need and not _holds_line(shape, line):
            obstacles.append(shape)
    return Case(end_at(run.points[0], run.direction_start), end_at(run.points[-1], _back(run)), rules,
                tuple(obstacles), run, spare)  # fmt: skip


def _back(run: Run) -> tuple[float, float, float]:
    """The axis of the port a run ends in."""
    d = run.direction_end
    return (-d[0], -d[1], -d[2])


def _line(run: Run) -> NDArray[np.float64]:
    """Points along a run's centre line, at most about 1.5 mm apart."""
    rods = bars_of(run, 1.0, 2.0).rods
    parts = [
        np.linspace(a, b, max(2, int(np.linalg.norm(b - a) / 1.5))) for a, b in zip(rods.starts, rods.ends, strict=True)
    ]
    return np.vstack(parts)


def _body(rng: np.random.Generator, name: str, line: NDArray[np.float64]) -> Obstacle:
    """A box, cylinder or ring of some size, seven in ten of them near the line."""
    size = rng.uniform(8, 70, 3)
    kind = rng.integers(0, 8)
    if kind < 5:
        a, b, c = size / 2
        shape = box(name, (-a, -b, -c), (a, b, c))
    elif kind < 7:
        shape = cylinder(name, size[0] / 2, size[1])
    else:
        shape = torus(name, 14 + size[0] / 3, 4 + size[1] / 14)
    near = rng.random() < 0.7
    at = line[rng.integers(len(line))] + rng.normal(size=3) * 32 if near else rng.uniform(CASE.lo, CASE.hi)
    return placed(shape, random_turn(rng, bool(rng.random() < 0.7)), at)


def _holds_line(o: Obstacle, line: NDArray[np.float64]) -> bool:
    """Whether the line, which meets no surface, lies inside the obstacle."""
    r = o.vertices[o.triangles] - line[0]
    a, b, c = r[:, 0], r[:, 1], r[:, 2]
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    bottom = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
    return abs(float(np.arctan2((a * np.cross(b, c)).sum(1), bottom).sum())) > math.pi


@dataclass(frozen=True)
class Loop:
    """A scene as a build has it: several runs that are known to fit together, among bodies."""

    ends: tuple[tuple[End, End], ...]
    rules: Rules
    obstacles: tuple[Obstacle, ...]
    references: tuple[Run, ...]


def loop(number: int, *, runs: int = 10, bodies: int = 120) -> Loop:
    """A case with several hidden runs that keep clear of each other, and bodies that keep clear of all of them."""
    rng = np.random.default_rng(number)
    references: list[Run] = []
    while len(references) < runs:
        run = reference(rng, HARD)
        mine = bars_of(run, HARD.od).rods
        clear = True
        for other in references:
            theirs = bars_of(other, HARD.od).rods
            d = gaps(mine.starts[:, None], mine.ends[:, None], theirs.starts[None], theirs.ends[None])
            clear &= bool(d.min() > HARD.od + HARD.clearance.default + 1.0)
        if clear:
            references.append(run)
    lines = [_line(run) for run in references]
    keep = HARD.od / 2 + HARD.clearance.default + 1.0
    obstacles: list[Obstacle] = []
    while len(obstacles) < bodies:
        shape = _body(rng, f"body {len(obstacles) + 1}", np.vstack(lines))
        need = keep + shape.bound + 0.1
        if all(distance(shape, line, need + 1) >= need and not _holds_line(shape, line) for line in lines):
            obstacles.append(shape)
    ends = tuple((end_at(r.points[0], r.direction_start), end_at(r.points[-1], _back(r))) for r in references)
    return Loop(ends, HARD, tuple(obstacles), tuple(references))
